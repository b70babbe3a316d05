"""Pictures of the place: efficiency over the sun's angles, lens height against the energy of days; and all of them."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from raytrace.arrays import Floats
from raytrace.response import ResponseTable
from raytrace.scene import Scene
from raytrace.trace import prepare, trace_prepared
from tracking.mount import MIN_ELEVATION
from tracking.paper import style
from tracking.paper.reach_figure import LINES, MONTHS, four_dates, sun_and_reach
from tracking.paper.style import Picture, drawing, new_figure
from tracking.plans.day import Day, aperture_power
from tracking.plans.instant import Instant, instants_at
from tracking.plans.moves import MovesPlan
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import day_instants, sun_path

MM = 1e3
Progress = Callable[[float], None]

RAYS_AT_HEIGHTS = 1 << 13
ANGLE_NODES = (61, 41)
"""Points of the map over the transversal and the longitudinal angle."""
SHOWN_FROM = 0.05
"""Share of the best efficiency from which on angles are shown."""
ANGLE_MARGIN = 1.0
"""Shown beyond the angles at which something reaches the row [deg]."""

HEIGHTS_TRIED = 13
BAND = 0.99
"""Heights count as best where the day's energy is at least this share of the most that was found."""

HEIGHT_RANGE = (0.72, 1.12)
"""Lens heights tried, over the focal length."""


def sky_pictures(
    scene_file: SceneFile,
    plan: Day,
    moves: MovesPlan | None,
    table: ResponseTable,
    *,
    seed: int = 0,
    progress: Progress | None = None,
) -> tuple[Picture, ...]:
    """All pictures of the place and its days; `moves` is None on a day without a plan of moves."""
    with drawing():
        return (
            sun_and_reach(scene_file, plan, moves),
            efficiency(table),
            heights(scene_file, four_dates(plan.date), seed=seed, progress=progress),
        )


def efficiency(table: ResponseTable) -> Picture:
    """Optical efficiency over the transversal and longitudinal incidence angle, the row as at tilt 0."""
    ends = [max(abs(end) for end in of) for of in (table.domain.transversal, table.domain.longitudinal)]
    first = [np.linspace(-end, end, 2 * count - 1) for end, count in zip(ends, ANGLE_NODES, strict=True)]
    wide = _absorbed(table, first[0], first[1])
    lit = wide >= SHOWN_FROM * wide.max()
    # What is next to nothing far out would leave the map small in a dark frame.
    parts = [np.abs(np.flatnonzero(lit.any(axis=k)) / (2 * n - 2) * 2.0 - 1.0).max() for k, n in enumerate(ANGLE_NODES)]
    across, along = (
        np.linspace(-1.0, 1.0, count) * (part * end + ANGLE_MARGIN)
        for part, end, count in zip(parts, ends, ANGLE_NODES, strict=True)
    )
    values = _absorbed(table, across, along)
    figure = new_figure(4.2)
    axes = figure.subplots()
    filled = axes.contourf(across, along, 100.0 * values, levels=np.arange(0.0, 101.0, 10.0), cmap=style.MAP)
    lines = axes.contour(across, along, 100.0 * values, levels=[10, 30, 50, 70, 90], colors="white", linewidths=0.8)
    lines.set_path_effects([style.dark_rim(1.8)])
    figure.colorbar(filled, ax=axes, label="absorbed over aperture power [%]", pad=0.01)
    axes.set_xlabel("transversal angle, across the grooves [deg]")
    axes.set_ylabel("longitudinal angle, along them [deg]")
    axes.set_title("Optical efficiency, the row as at tilt 0; lines, outermost first: 10, 30, 50, 70, 90 %", fontsize=9)
    best = np.unravel_index(int(values.argmax()), values.shape)
    middle = values[:, len(across) // 2]
    good = _half_width(along, middle)
    return Picture(
        name="efficiency",
        title="Optical efficiency over the sun's angles",
        alt=(
            f"Contours of optical efficiency: the best of the grid is {100 * values.max():.0f} % with the sun "
            f"{across[best[1]]:.1f} deg across and {along[best[0]]:.0f} deg along the grooves; aimed across the "
            f"grooves, it stays above half of its best up to {good:.0f} deg off that angle along them."
        ),
        figure=figure,
        numbers={
            "transversal_angle_deg": across.tolist(),
            "longitudinal_angle_deg": along.tolist(),
            "absorbed_fraction": values.tolist(),
            "error": table.error.where_lit,
        },
    )


def _half_width(along: Floats, values: Floats) -> float:
    """How far from the best angle [deg] all values stay above half of the best, on the side that falls sooner."""
    best = int(values.argmax())
    low = np.flatnonzero(values < 0.5 * values[best])
    if not len(low):
        return float(min(along[-1] - along[best], along[best] - along[0]))
    place = low[np.abs(along[low] - along[best]).argmin()]
    return float(abs(along[place + (1 if place < best else -1)] - along[best]))


def _absorbed(table: ResponseTable, across: Floats, along: Floats) -> Floats:
    """Absorbed over aperture power at each pair of angles (along, across) [deg], the row as at tilt 0 or next to it."""
    t, g = np.meshgrid(across, along)
    tilt = np.clip(np.zeros(t.size), table.tilt.min(initial=0.0), table.tilt.max(initial=0.0))
    return np.asarray(table.at(t.ravel(), g.ravel(), tilt).absorbed.sum(axis=1).reshape(t.shape))


def heights(
    scene_file: SceneFile, dates: Sequence[dt.date], *, seed: int = 0, progress: Progress | None = None
) -> Picture:
    """Energy absorbed on several days over the lens height, from traces each full hour."""
    scene = scene_file.scene
    tried = scene.lens.focal_length * np.linspace(HEIGHT_RANGE[0], HEIGHT_RANGE[1], HEIGHTS_TRIED)
    tried = np.unique(np.append(tried, scene.lens_height))
    first = prepare(scene)
    days = [_aimed_hours(scene_file, date) for date in dates]
    spans = [_spans(scene_file, date, day) for date, day in zip(dates, days, strict=True)]
    energy = np.zeros((len(dates), len(tried)))
    done, all_traces = 0, max(1, len(tried) * sum(len(day) for day in days))
    for h, height in enumerate(tried.tolist()):
        prepared = replace(first, scene=_at_height(scene, height))
        for d, day in enumerate(days):
            watts = []
            for instant in day:
                assert instant.aim is not None  # noqa: S101  chosen so
                angles = instant.aim.angles
                result = trace_prepared(
                    prepared, transversal_angle=angles.transversal, longitudinal_angle=angles.longitudinal,
                    rays=RAYS_AT_HEIGHTS, seed=seed, row=instant.aim.row,
                )  # fmt: skip
                watts.append(aperture_power(scene_file, instant) * result.absorbed_fraction.value)
                done += 1
            energy[d, h] = float(np.dot(watts, spans[d])) / 1e3
            if progress is not None:
                progress(done / all_traces)
    bands = [tried[day >= BAND * day.max()][[0, -1]] if day.max() > 0.0 else None for day in energy]
    figure = new_figure(4.2)
    axes = figure.subplots()
    for d, date in enumerate(dates):
        colour, dashes, marker = LINES[d % len(LINES)]
        axes.plot(tried * MM, energy[d], color=colour, ls=dashes, marker=marker, ms=4, lw=1.3,
                  label=f"{date.day} {MONTHS[date.month - 1]}: {band_words(bands[d], tried)}")  # fmt: skip
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
    axes.set_ylim(top=1.06 * axes.get_ylim()[1])
    axes.set_title("Lens height against the day's energy")
    figure.legend(loc="outside lower center", ncols=2)
    here = int(np.argmin(np.abs(tried - scene.lens_height)))
    told = "; ".join(
        f"{date.isoformat()}: {energy[d, here]:.2f} kWh at the scene's height, at most {energy[d].max():.2f} kWh, "
        f"{band_words(bands[d], tried)}"
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
            "best_lens_height_m": [
                None if band is None else float(tried[day.argmax()]) for band, day in zip(bands, energy, strict=True)
            ],
            "band_m": [None if band is None else band.tolist() for band in bands],
            "rays_each": RAYS_AT_HEIGHTS,
        },
    )


def band_words(band: Sequence[float] | Floats | None, tried: Sequence[float] | Floats) -> str:
    """Heights that are about the best; those at an end of what was tried may go on beyond it."""
    if band is None:
        return "no light"
    low, high = (f"{end * MM:.0f}" for end in band)
    if band[0] == tried[0] and band[1] == tried[-1]:
        return f"best anywhere from {low} to {high} mm"
    if band[0] == tried[0]:
        return f"best {high} mm or lower"
    if band[1] == tried[-1]:
        return f"best {low} mm or higher"
    return f"best at {low} mm" if low == high else f"best from {low} to {high} mm"


def _at_height(scene: Scene, height: float) -> Scene:
    return replace(scene, lens_height=height)


def _aimed_hours(scene_file: SceneFile, date: dt.date) -> list[Instant]:
    times = day_instants(scene_file.site, date, dt.timedelta(hours=1))
    instants = instants_at(scene_file, [time.astimezone(dt.UTC) for time in times]) if times else ()
    return [i for i in instants if i.aim is not None and i.aim.angles.incidence < 89.0]


def _spans(scene_file: SceneFile, date: dt.date, day: Sequence[Instant]) -> Floats:
    """Time [h] that each traced instant stands for: the minutes with the sun high enough that are nearest to it."""
    minutes = [time.astimezone(dt.UTC) for time in day_instants(scene_file.site, date, dt.timedelta(minutes=1))]
    if not day or not minutes:
        return np.zeros(len(day))
    high = sun_path(scene_file.site, minutes).elevation >= MIN_ELEVATION
    times = np.array([minute.timestamp() for minute in minutes])[high]
    own = np.array([instant.time_utc.timestamp() for instant in day])
    nearest = np.abs(times[:, np.newaxis] - own).argmin(axis=1)
    return np.bincount(nearest, minlength=len(day)) / 60.0
