"""Pictures of the place: the sun's path with the mount's reach, efficiency over the angles, height against energy."""

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes

from raytrace.arrays import Floats
from raytrace.scene import Scene
from raytrace.trace import prepare, trace_prepared
from tracking.mount import MIN_ELEVATION, aim, lens_angles, row_pose
from tracking.paper import style
from tracking.paper.style import Picture, drawing, new_figure
from tracking.plans.day import Day, aperture_power
from tracking.plans.instant import Instant, instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path

MM = 1e3
Progress = Callable[[float], None]

REACH_STEP = 6.0  # [deg], of the grid over the sky on which the reach is looked at
REACHED_TRANSVERSAL = 0.5
"""Sun's angle across the grooves [deg] within which the lens counts as aimed: the line is off by 7 mm at 0.8 m."""

RAYS_AT_ANGLES = 1 << 12
RAYS_AT_HEIGHTS = 1 << 13
LONGITUDINAL_END = 60.0  # [deg]
ANGLE_NODES = (31, 21)
HEIGHTS_TRIED = 13
BAND = 0.99
"""Heights count as best where the day's energy is at least this share of the most that was found."""

HEIGHT_RANGE = (0.72, 1.12)
"""Lens heights tried, over the focal length."""


def sky_pictures(
    scene_file: SceneFile, plan: Day, *, seed: int = 0, progress: Progress | None = None
) -> tuple[Picture, ...]:
    """All pictures of the place and its days."""
    with drawing():
        return (
            sun_and_reach(scene_file, plan),
            efficiency(scene_file, seed=seed),
            heights(scene_file, four_dates(plan.date), seed=seed, progress=progress),
        )


def four_dates(date: dt.date) -> tuple[dt.date, ...]:
    """The year's solstices, an equinox, and the date itself, each once, in order."""
    fixed = [dt.date(date.year, 3, 20), dt.date(date.year, 6, 21), dt.date(date.year, 12, 21)]
    return tuple(sorted({*fixed, date}))


_LINES = ((style.BLUE, "-", "o"), (style.RED, "--", "s"), (style.GREEN, "-.", "^"), (style.PURPLE, ":", "D"))


def sun_and_reach(scene_file: SceneFile, plan: Day) -> Picture:
    """The sun's path on several days over the sky that the mount reaches, and the day's settings below."""
    azimuth = np.arange(0.0, 360.0 + REACH_STEP, REACH_STEP)
    elevation = np.arange(MIN_ELEVATION, 90.0 + 0.5 * REACH_STEP, REACH_STEP)
    off, skew = _reach(scene_file, azimuth, elevation)
    figure = new_figure(6.6)
    sky, settings = figure.subplots(2, 1, height_ratios=(1.6, 1.0))
    sky.contourf(azimuth, elevation, (off > REACHED_TRANSVERSAL).astype(float), levels=[0.5, 1.5], colors=["#d9d9d9"],
                 hatches=["xx"])  # fmt: skip
    shown = np.where(off > REACHED_TRANSVERSAL, np.nan, skew)
    if np.isfinite(shown).any() and np.nanmax(shown) > 1.0:
        lines = sky.contour(azimuth, elevation, np.ma.masked_invalid(shown), levels=[10, 20, 30, 45, 60],
                            colors="#777777", linewidths=0.7)  # fmt: skip
        sky.clabel(lines, fmt="%d deg", fontsize=7.5)
    for k, date in enumerate(four_dates(plan.date)):
        _draw_sun(sky, scene_file, date, *_LINES[k % len(_LINES)])
    sky.set_xlim(0.0, 360.0)
    sky.set_ylim(0.0, 103.0)
    sky.set_yticks(range(0, 91, 15))
    sky.set_xticks(range(0, 361, 45), ["N", "45", "E", "135", "S", "225", "W", "315", "N"])
    sky.set_xlabel("azimuth, clockwise from true north [deg]")
    sky.set_ylabel("elevation [deg]")
    sky.set_title(
        "Dots: full hours. Grey, crossed: out of the mount's reach. Thin lines: skew along the grooves", fontsize=8.5
    )
    sky.legend(loc="upper right", ncols=4, fontsize=7.5)
    aimed = [entry.instant for entry in plan.instants if entry.instant.aim is not None]
    reached = [i for i in aimed if i.aim is not None and abs(i.aim.angles.transversal) <= REACHED_TRANSVERSAL]
    _draw_settings(settings, scene_file, plan, aimed)
    tilts = [i.aim.setting.tilt for i in aimed if i.aim is not None]
    worst = max((abs(i.aim.angles.longitudinal) for i in aimed if i.aim is not None), default=0.0)
    span = f"from {min(tilts):.0f} to {max(tilts):.0f} deg" if tilts else "not used"
    return Picture(
        name="sun-and-reach",
        title="The sun's path and the mount's reach",
        alt=(
            f"The sun's path at {scene_file.site.name} on {len(four_dates(plan.date))} days over the mount's reach. On "
            f"{plan.date.isoformat()} the lens can be aimed at {len(reached)} of {len(aimed)} instants with the sun "
            f"at {MIN_ELEVATION:g} deg or above; its tilt runs {span} and the skew along the grooves goes up to "
            f"{worst:.0f} deg."
        ),
        figure=figure,
        numbers={
            "date": plan.date.isoformat(),
            "instants_aimed": len(aimed),
            "instants_within_reach": len(reached),
            "largest_longitudinal_angle_deg": worst,
            "tilt_deg": tilts,
        },
    )


def _reach(scene_file: SceneFile, azimuth: Floats, elevation: Floats) -> tuple[Floats, Floats]:
    """|transversal| and |longitudinal| angle [deg] at the best setting, (elevations, azimuths)."""
    mount = scene_file.mount
    off, skew = (np.full((len(elevation), len(azimuth)), 90.0) for _ in range(2))
    for i, e in enumerate(elevation.tolist()):
        for j, a in enumerate(azimuth.tolist()):
            setting = aim(mount, a, e)
            if setting is not None:
                angles = lens_angles(mount, setting.tilt, setting.swivel, a, e)
                if float(angles.incidence) < 89.0:
                    off[i, j], skew[i, j] = abs(float(angles.transversal)), abs(float(angles.longitudinal))
    return off, skew


def _draw_sun(axes: Axes, scene_file: SceneFile, date: dt.date, colour: str, dashes: str, marker: str) -> None:
    site = scene_file.site
    times = day_instants(site, date, dt.timedelta(minutes=5))
    if not times:
        return
    path = sun_path(site, [time.astimezone(dt.UTC) for time in times])
    azimuth, elevation = np.array(path.azimuth), np.array(path.elevation)
    jump = np.abs(np.diff(azimuth)) > 180.0
    label = f"{date.day} {_MONTHS[date.month - 1]}"
    gaps = np.flatnonzero(jump) + 1
    axes.plot(np.insert(azimuth, gaps, np.nan), np.insert(elevation, gaps, np.nan),
              color=colour, ls=dashes, lw=1.3, marker=marker, ms=4, markevery=[], label=label)  # fmt: skip
    hours = [k for k, time in enumerate(times) if time.minute == 0]
    axes.plot(azimuth[hours], elevation[hours], ls="", marker=marker, ms=3.6, color=colour)
    for k in hours:
        if date.month == 6 and times[k].hour % 3 == 0:
            axes.annotate(f"{times[k].hour} h", (azimuth[k], elevation[k]), xytext=(3, 4), textcoords="offset points",
                          fontsize=7.5)  # fmt: skip


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _draw_settings(axes: Axes, scene_file: SceneFile, plan: Day, aimed: Sequence[Instant]) -> None:
    polar = scene_file.mount.kind == "polar"
    hours = [i.time_local.hour + i.time_local.minute / 60.0 for i in aimed]
    tilts = [i.aim.setting.tilt for i in aimed if i.aim is not None]
    swivels = [i.aim.setting.swivel for i in aimed if i.aim is not None]
    axes.step(hours, tilts, where="mid", color=style.BLUE, lw=1.4, label="declination setting" if polar else "tilt")
    axes.set_xlabel(f"local clock time on {plan.date.isoformat()} [h]")
    axes.set_ylabel(("declination" if polar else "tilt") + " [deg], solid")
    if scene_file.mount.kind in ("swivel-tilt", "polar"):
        other = axes.twinx()
        other.spines["right"].set_visible(True)
        other.step(hours, swivels, where="mid", color=style.RED, lw=1.4, ls="--")
        other.set_ylabel(("hour angle" if polar else "swivel") + " [deg], dashed")
    axes.set_title("Settings of the lens through the day", fontsize=9)


def efficiency(scene_file: SceneFile, *, seed: int = 0) -> Picture:
    """Optical efficiency over the transversal and longitudinal incidence angle, the row as at tilt 0."""
    scene = scene_file.scene
    row = row_pose(scene_file.mount, 0.0, scene.tubes.angle_to_grooves)
    tubes = scene.tubes
    half_row = 0.5 * abs(row.row[0]) * (tubes.count - 1) * tubes.spacing + 0.5 * abs(row.tube[0]) * tubes.length
    end = math.degrees(math.atan((half_row + tubes.outer_diameter + 0.05) / scene.lens_height)) + 1.5
    across = np.linspace(-end, end, ANGLE_NODES[0])
    along = np.linspace(-LONGITUDINAL_END, LONGITUDINAL_END, ANGLE_NODES[1])
    prepared = prepare(scene)
    values = np.array([
        [
            trace_prepared(
                prepared, transversal_angle=float(t), longitudinal_angle=float(g), rays=RAYS_AT_ANGLES, seed=seed,
                row=row,
            ).absorbed_fraction.value
            for t in across
        ]
        for g in along
    ])  # fmt: skip
    figure = new_figure(4.2)
    axes = figure.subplots()
    filled = axes.contourf(across, along, 100.0 * values, levels=np.arange(0.0, 101.0, 10.0), cmap=style.MAP)
    lines = axes.contour(across, along, 100.0 * values, levels=[10, 30, 50, 70, 90], colors="white", linewidths=0.8)
    axes.clabel(lines, fmt="%d %%", fontsize=8)
    figure.colorbar(filled, ax=axes, label="absorbed over aperture power [%]", pad=0.01)
    axes.set_xlabel("transversal angle, across the grooves [deg]")
    axes.set_ylabel("longitudinal angle, along them [deg]")
    axes.set_title("Optical efficiency; the row as at tilt 0")
    best = np.unravel_index(int(values.argmax()), values.shape)
    middle = values[:, len(across) // 2]
    good = np.abs(along[middle >= 0.5 * middle.max()]).max()
    return Picture(
        name="efficiency",
        title="Optical efficiency over the sun's angles",
        alt=(
            f"Contours of optical efficiency: the best of the grid is {100 * values.max():.0f} % with the sun "
            f"{across[best[1]]:.1f} deg across and {along[best[0]]:.0f} deg along the grooves; aimed across the "
            f"grooves, it stays above half of its best up to {good:.0f} deg along them."
        ),
        figure=figure,
        numbers={
            "transversal_angle_deg": across.tolist(),
            "longitudinal_angle_deg": along.tolist(),
            "absorbed_fraction": values.tolist(),
            "rays_each": RAYS_AT_ANGLES,
        },
    )


def heights(
    scene_file: SceneFile, dates: Sequence[dt.date], *, seed: int = 0, progress: Progress | None = None
) -> Picture:
    """Energy absorbed on several days over the lens height, from traces each full hour."""
    scene = scene_file.scene
    tried = scene.lens.focal_length * np.linspace(HEIGHT_RANGE[0], HEIGHT_RANGE[1], HEIGHTS_TRIED)
    tried = np.unique(np.append(tried, scene.lens_height))
    first = prepare(scene)
    days = [_aimed_hours(scene_file, date) for date in dates]
    energy = np.zeros((len(dates), len(tried)))
    done, all_traces = 0, max(1, len(tried) * sum(len(day) for day in days))
    for h, height in enumerate(tried.tolist()):
        prepared = replace(first, scene=_at_height(scene, height))
        for d, day in enumerate(days):
            watts, hours = [], []
            for instant in day:
                assert instant.aim is not None  # noqa: S101  chosen so
                angles = instant.aim.angles
                result = trace_prepared(
                    prepared, transversal_angle=angles.transversal, longitudinal_angle=angles.longitudinal,
                    rays=RAYS_AT_HEIGHTS, seed=seed, row=instant.aim.row,
                )  # fmt: skip
                watts.append(aperture_power(scene_file, instant) * result.absorbed_fraction.value)
                hours.append(instant.time_utc.timestamp() / 3600.0)
                done += 1
            energy[d, h] = float(np.trapezoid(watts, hours)) / 1e3 if watts else 0.0
            if progress is not None:
                progress(done / all_traces)
    best = tried[energy.argmax(axis=1)]
    bands = [tried[day >= BAND * day.max()][[0, -1]] for day in energy]
    figure = new_figure(3.9)
    axes = figure.subplots()
    for d, date in enumerate(dates):
        colour, dashes, marker = _LINES[d % len(_LINES)]
        axes.plot(tried * MM, energy[d], color=colour, ls=dashes, marker=marker, ms=4, lw=1.3,
                  label=f"{date.day} {_MONTHS[date.month - 1]}: best {_band(bands[d])}")  # fmt: skip
    axes.axvline(
        scene.lens_height * MM,
        color="black",
        lw=1.0,
        ls=(0, (1, 1)),
        label=f"the scene, {scene.lens_height * MM:.0f} mm",
    )
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("lens height above the tubes' axes [mm]")
    axes.set_ylabel("absorbed in the day [kWh]")
    axes.set_title("Lens height against the day's energy")
    axes.legend(loc="best")
    here = int(np.argmin(np.abs(tried - scene.lens_height)))
    told = "; ".join(
        f"{date.isoformat()}: {energy[d, here]:.2f} kWh at the scene's height, at most {energy[d].max():.2f} kWh "
        f"{_band(bands[d])}"
        for d, date in enumerate(dates)
    )
    return Picture(
        name="heights",
        title="Lens height against the day's energy",
        alt=f"Energy absorbed over lens height on {len(dates)} days. {told}.",
        figure=figure,
        numbers={
            "lens_height_m": tried.tolist(),
            "dates": [date.isoformat() for date in dates],
            "absorbed_kwh": energy.tolist(),
            "best_lens_height_m": best.tolist(),
            "band_m": [band.tolist() for band in bands],
            "rays_each": RAYS_AT_HEIGHTS,
        },
    )


def _band(band: Floats) -> str:
    return f"at {band[0] * MM:.0f} mm" if band[0] == band[1] else f"from {band[0] * MM:.0f} to {band[1] * MM:.0f} mm"


def _at_height(scene: Scene, height: float) -> Scene:
    return replace(scene, lens_height=height)


def _aimed_hours(scene_file: SceneFile, date: dt.date) -> list[Instant]:
    times = day_instants(scene_file.site, date, dt.timedelta(hours=1))
    instants = instants_at(scene_file, [time.astimezone(dt.UTC) for time in times]) if times else ()
    return [i for i in instants if i.aim is not None and i.aim.angles.incidence < 89.0]
