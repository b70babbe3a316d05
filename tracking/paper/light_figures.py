"""Pictures of one trace: the section with its rays, the focal line and the caustic, flux on the tubes, the ledger."""

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import PowerNorm
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.projections.polar import PolarAxes

from raytrace.arrays import Floats
from raytrace.maps import FluxMaps, Profiles, flux_maps, profiles
from raytrace.paths import RayPath, ray_paths
from raytrace.result import LEDGER_ENTRIES, TraceResult
from raytrace.scene import RowPose, Scene
from tracking.paper import style
from tracking.paper.style import Picture, drawing, new_figure

MM = 1e3
RAYS_DRAWN = 64
RAYS_A_HEIGHT = 1 << 16
HEIGHTS = 61
HEIGHT_SPAN = 0.2
"""The caustic is shown from this share above to this share below the plane of the tubes."""

MOST_TUBES_DRAWN = 12

ENTRY_WORDS = {
    "reflected_lens": "reflected by the lens",
    "absorbed_lens": "absorbed in the lens",
    "upward_lens": "sent upward by the lens",
    "edge_lens": "out through the lens's edge",
    "trapped_lens": "trapped in the lens",
    "missed": "missed the tubes",
    "envelope": "lost in the envelope",
    "reflected_absorber": "reflected by the absorber",
    "absorbed": "absorbed",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class LightView:
    """What the pictures of one trace are about: scene, its trace, the sun's angles [deg], the row, DNI [W/m2]."""

    scene: Scene
    trace: TraceResult
    row: RowPose
    dni: float

    @property
    def angles(self) -> dict[str, float]:
        """The sun's angles as arguments of a trace [deg]."""
        return {
            "transversal_angle": self.trace.transversal_angle,
            "longitudinal_angle": self.trace.longitudinal_angle,
        }

    @property
    def words(self) -> str:
        """The sun's angles and DNI in words."""
        return (
            f"sun {self.trace.transversal_angle:.1f} deg across and {self.trace.longitudinal_angle:.1f} deg along the "
            f"grooves, DNI {self.dni:.0f} W/m$^2$"
        )


def light_pictures(view: LightView) -> tuple[Picture, ...]:
    """All pictures of one trace."""
    with drawing():
        return (section(view), focal_line(view), *flux(view), ledger(view))


def section(view: LightView) -> Picture:
    """The section across the grooves, to scale, with traced rays: whole by fate, near the row by wavelength."""
    scene, lens = view.scene, view.scene.lens
    rays = ray_paths(
        scene, rays=RAYS_DRAWN, seed=view.trace.seed, row=view.row, before=0.12, beyond=0.12, **view.angles
    )
    figure = new_figure(4.9)
    whole, near = figure.subplots(1, 2)
    reach = 0.5 * lens.width + 0.06
    shift = -scene.lens_height * math.tan(math.radians(view.trace.transversal_angle))
    for axes in (whole, near):
        _draw_tubes(axes, scene, view.row)
        sheet = Rectangle((-0.5 * lens.width * MM, 0.0), lens.width * MM, lens.thickness * MM)
        sheet.set(facecolor=style.SKY, edgecolor="black", linewidth=0.6)
        axes.add_patch(sheet)
        axes.set_aspect("equal")
        axes.set_xlabel("x across the grooves [mm]")
    whole.set_ylabel("z along the lens normal [mm]")
    whole.set_title(f"To scale; grooves toward the {lens.grooves_toward}")
    for ray in rays:
        colour, dashes = _FATES.get(ray.fate, (style.PURPLE, ":"))
        whole.plot(ray.points[:, 0] * MM, ray.points[:, 2] * MM, color=colour, ls=dashes, lw=0.6, zorder=1)
    shares = {fate: sum(ray.fate == fate for ray in rays) for fate in ("reached", "missed")}
    other = len(rays) - sum(shares.values())
    handles = [
        Line2D([], [], color=style.RED, ls="-", label=f"reaches an absorber ({shares['reached']} of {len(rays)})"),
        Line2D([], [], color=style.BLUE, ls="--", label=f"misses the tubes ({shares['missed']})"),
        Line2D([], [], color=style.PURPLE, ls=":", label=f"ends in lens or glass ({other})"),
    ]
    low = min(-reach, shift - 0.1) * MM
    high = max(reach, shift + 0.1) * MM
    whole.set_xlim(low, high)
    whole.set_ylim(-(scene.lens_height + 0.12) * MM, 0.12 * MM)
    figure.legend(handles=handles, loc="outside lower left", ncols=1)
    colours = _draw_near(near, view, rays, shift)
    if colours:
        figure.legend(handles=colours, loc="outside lower right", ncols=1)
    return Picture(
        name="section",
        title="Section across the grooves with traced rays",
        alt=(
            f"Section across the grooves, to scale: of {len(rays)} traced rays {shares['reached']} reach an absorber "
            f"{scene.lens_height * MM:.0f} mm below the lens, {shares['missed']} miss the tubes, {other} end in lens "
            f"or glass. The trace of {view.trace.rays} rays finds {100 * view.trace.intercepted_fraction.value:.1f} % "
            "of the aperture power on the absorbers."
        ),
        figure=figure,
        numbers={
            "rays_drawn": len(rays),
            "rays_reaching_an_absorber": shares["reached"],
            "rays_missing": shares["missed"],
            "intercepted_fraction": view.trace.intercepted_fraction.value,
            "lens_height_m": scene.lens_height,
        },
    )


_FATES = {"reached": (style.RED, "-"), "missed": (style.BLUE, "--")}

_COLOURS = (
    ("below 500 nm (blue)", 500.0, style.BLUE, "-"),
    ("500 to 750 nm", 750.0, style.GREEN, "--"),
    ("above 750 nm (infrared)", math.inf, style.RED, ":"),
)
"""Three bands of the spectrum with about a quarter, a third and the rest of the direct light."""


def _draw_near(axes: Axes, view: LightView, rays: tuple[RayPath, ...], shift: float) -> list[Line2D]:
    scene = view.scene
    one_colour = scene.sun.wavelength is not None
    for ray in rays:
        _, _, colour, dashes = next(band for band in _COLOURS if ray.wavelength <= band[1])
        if one_colour:
            colour, dashes = _FATES.get(ray.fate, (style.PURPLE, ":"))
        axes.plot(ray.points[:, 0] * MM, ray.points[:, 2] * MM, color=colour, ls=dashes, lw=0.8, zorder=1)
    span = max(0.09, 2.0 * scene.tubes.outer_diameter, 0.75 * (view.trace.focal_line.w90 or 0.0))
    axes.plot([shift * MM], [-scene.lens_height * MM], marker="+", ms=12, mew=1.6, color="black", zorder=5)
    axes.set_xlim((shift - span) * MM, (shift + span) * MM)
    axes.set_ylim(-(scene.lens_height + span) * MM, -(scene.lens_height - span) * MM)
    axes.set_title("Near the focal line (+)")
    return [] if one_colour else [Line2D([], [], color=c, ls=ls, label=words) for words, _, c, ls in _COLOURS]


def _draw_tubes(axes: Axes, scene: Scene, row: RowPose) -> None:
    """Each tube as the shadow that it throws along y: circles where it runs along the grooves, else bars."""
    tubes = scene.tubes
    u, v = np.array(row.row)[[0, 2]], np.array(row.tube)[[0, 2]]
    sizes = [(0.5 * tubes.absorber_diameter, "#9a9a9a", 0.85)]
    if tubes.envelope is not None:
        sizes.insert(0, (0.5 * tubes.envelope.outer_diameter, "#dcecf2", 0.6))
    along = float(np.linalg.norm(v))
    seen: set[tuple[float, ...]] = set()
    for k in range(tubes.count):
        centre = np.array([0.0, -scene.lens_height]) + (k - 0.5 * (tubes.count - 1)) * tubes.spacing * u
        place = tuple(np.round(centre, 6).tolist())
        if place in seen:
            continue
        seen.add(place)
        for radius, colour, opacity in sizes:
            if along * tubes.length < 2.0 * radius:
                axes.add_patch(
                    Circle(tuple(centre * MM), radius * MM, fc=colour, ec="black", lw=0.6, alpha=opacity, zorder=2)
                )
            else:
                way = v / along
                aside = np.array([-way[1], way[0]]) * radius
                end = 0.5 * tubes.length * v
                corners = np.array(
                    [centre - end - aside, centre + end - aside, centre + end + aside, centre - end + aside]
                )
                axes.add_patch(
                    Polygon(corners * MM, closed=True, fc=colour, ec="black", lw=0.6, alpha=opacity, zorder=2)
                )


def focal_line(view: LightView) -> Picture:
    """The profile of flux on the plane of the tubes with its widths, and the caustic: flux over x and height."""
    scene, line = view.scene, view.trace.focal_line
    low = max(
        0.5 * scene.tubes.outer_diameter + max(0.0, scene.lens.sag) + 0.005, (1.0 - HEIGHT_SPAN) * scene.lens_height
    )
    heights = np.linspace(low, (1.0 + HEIGHT_SPAN) * scene.lens_height, HEIGHTS)
    found = profiles(scene, heights, rays=RAYS_A_HEIGHT, seed=view.trace.seed, **view.angles)
    here = profiles(scene, [scene.lens_height], rays=view.trace.rays, seed=view.trace.seed, **view.angles)
    figure = new_figure(6.4)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.35))
    centre = line.centroid or 0.0
    half = max(1.2 * scene.tubes.outer_diameter, min(1.3 * (line.w95 or 0.0), 0.6 * scene.lens.width))
    _draw_profile(top, view, here, centre)
    figure.legend(handles=top.get_legend_handles_labels()[0], loc="outside upper left", ncols=4)
    image = bottom.pcolormesh(
        found.edges * MM,
        _edges_about(heights) * MM,
        found.ratio,
        cmap=style.MAP,
        norm=PowerNorm(0.5, vmin=0.0),
        rasterized=True,
    )
    rim = [style.dark_rim(2.0)]
    bottom.axhline(scene.lens_height * MM, color="white", lw=1.2, ls="--", path_effects=rim)
    bottom.annotate(
        "plane of the tubes", ((centre - 0.98 * half) * MM, scene.lens_height * MM), xytext=(0, 4),
        textcoords="offset points", color="white", fontsize=8.5, path_effects=rim,
    )  # fmt: skip
    best = int(np.argmin(found.w90))
    bottom.plot((found.centroid - 0.5 * found.w90) * MM, heights * MM, color="white", lw=0.8, path_effects=rim)
    bottom.plot((found.centroid + 0.5 * found.w90) * MM, heights * MM, color="white", lw=0.8, path_effects=rim)
    bottom.set_ylim(heights[-1] * MM, heights[0] * MM)
    bottom.set_xlim((centre - half) * MM, (centre + half) * MM)
    bottom.set_xlabel("x across the grooves [mm]")
    bottom.set_ylabel("distance below the lens [mm]")
    bottom.set_title("Caustic; white lines: central 90 % of the light")
    figure.colorbar(image, ax=bottom, label="flux over DNI, square-root scale", pad=0.01)
    peak = float(here.ratio[0].max())
    return Picture(
        name="focal-line",
        title="Focal line and caustic",
        alt=(
            f"Flux across the focal line, {scene.lens_height * MM:.0f} mm below the lens: half of the light "
            f"lies within {_mm(line.w50)}, 90 % within {_mm(line.w90)}, 95 % within {_mm(line.w95)}; the highest mean "
            f"along the line is {peak:.1f} times the DNI. The map below shows the line narrowest, 90 % within "
            f"{_mm(float(found.w90[best]))}, at {heights[best] * MM:.0f} mm below the lens; the absorber is "
            f"{scene.tubes.absorber_diameter * MM:.0f} mm across."
        ),
        figure=figure,
        numbers={
            "w50_m": line.w50,
            "w90_m": line.w90,
            "w95_m": line.w95,
            "centroid_m": line.centroid,
            "highest_flux_ratio": peak,
            "narrowest_height_m": float(heights[best]),
            "narrowest_w90_m": float(found.w90[best]),
        },
    )


def _mm(length: float | None) -> str:
    return "no width" if length is None else f"{length * MM:.1f} mm"


def _edges_about(centres: Floats) -> Floats:
    middle = 0.5 * (centres[1:] + centres[:-1])
    return np.concatenate([[2 * centres[0] - middle[0]], middle, [2 * centres[-1] - middle[-1]]])


def _draw_profile(axes: Axes, view: LightView, here: Profiles, centre: float) -> None:
    line, tubes = view.trace.focal_line, view.scene.tubes
    axes.stairs(here.ratio[0], here.edges * MM, color="black", lw=1.0, fill=False)
    top = float(here.ratio[0].max())
    for k, (name, width, colour) in enumerate(
        (("w50", line.w50, style.RED), ("w90", line.w90, style.BLUE), ("w95", line.w95, style.GREEN))
    ):
        if width is not None:
            height = top * (1.08 + 0.11 * k)
            axes.plot([(centre - 0.5 * width) * MM, (centre + 0.5 * width) * MM], [height] * 2, color=colour, lw=2.2,
                      marker="|", ms=7, label=f"{name} = {width * MM:.1f} mm")  # fmt: skip
            axes.annotate(name, ((centre + 0.5 * width) * MM, height), xytext=(5, 0), textcoords="offset points",
                          va="center", fontsize=8.5)  # fmt: skip
    axes.axvspan(-0.5 * tubes.absorber_diameter * MM + centre * MM, 0.5 * tubes.absorber_diameter * MM + centre * MM,
                 color="#dddddd", zorder=0,
                 label=f"absorber's width, {tubes.absorber_diameter * MM:.0f} mm")  # fmt: skip
    axes.set_ylim(0.0, 1.42 * top)
    axes.set_ylabel("flux over DNI")
    axes.set_title(f"On the plane of the tubes; {view.words}", fontsize=8.5)


def flux(view: LightView) -> tuple[Picture, Picture]:
    """Flux around and along each tube: unrolled maps, and rings of the mean along the tube."""
    maps = flux_maps(view.scene, rays=view.trace.rays, seed=view.trace.seed, row=view.row, **view.angles)
    kilowatts = maps.ratio * view.dni / 1e3
    power = np.array([tube.intercepted_fraction.value for tube in view.trace.tubes])
    shown = sorted(np.argsort(-power, kind="stable")[:MOST_TUBES_DRAWN].tolist())
    hottest = int(power.argmax())
    peaks = [tube.peak_flux_ratio * view.dni for tube in view.trace.tubes]
    only = "" if len(shown) == len(power) else f" Shown: the {len(shown)} tubes with the most light of {len(power)}."
    ring_mean = kilowatts.mean(axis=1)
    side = int(ring_mean[hottest].argmax()) * 360.0 / ring_mean.shape[1]
    numbers = {
        "tubes_shown": [k + 1 for k in shown],
        "intercepted_fraction": power.tolist(),
        "peak_flux_w_m2": peaks,
        "hottest_tube": hottest + 1,
    }
    alt = (
        f"Tube {hottest + 1} of {len(power)} takes the most light, {100 * power[hottest]:.1f} % of the aperture power, "
        f"with a peak of {peaks[hottest] / 1e3:.1f} kW/m2"
    )
    return (
        Picture(
            name="flux-maps",
            title="Flux on the tubes, unrolled",
            alt=f"Maps of flux along and around each absorber, unrolled: {alt}, the light on the lens's side.{only}",
            figure=_unrolled(maps, kilowatts, shown, view),
            numbers=numbers,
        ),
        Picture(
            name="flux-rings",
            title="Flux around the tubes",
            alt=(
                f"Rings of flux around each absorber, mean along the tube: {alt}; its ring is brightest "
                f"{_off_lens(side)} deg off the side of the lens.{only}"
            ),
            figure=_rings(maps, ring_mean, shown),
            numbers=numbers | {"mean_along_tube_w_m2": (1e3 * ring_mean).tolist()},
        ),
    )


def _off_lens(side: float) -> int:
    return round(min(side, 360.0 - side))


def _unrolled(maps: FluxMaps, kilowatts: Floats, shown: list[int], view: LightView) -> Figure:
    columns = 1 if len(shown) == 1 else 2
    rows = -(-len(shown) // columns)
    figure = new_figure(1.1 + (2.4 if rows == 1 else 1.45 * rows))
    grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    half = kilowatts.shape[2] // 2
    top = max(float(kilowatts[shown].max()), 1e-9)
    for axes, k in zip(grid.flat, shown, strict=False):
        axes.pcolormesh(
            maps.along * MM, maps.around - 180.0, np.roll(kilowatts[k], half, axis=1).T, cmap=style.MAP, vmin=0.0,
            vmax=top, rasterized=True,
        )  # fmt: skip
        axes.set_title(f"Tube {k + 1}", fontsize=9)
        axes.set_yticks([-180, -90, 0, 90, 180])
    for axes in grid.flat[len(shown) :]:
        axes.set_visible(False)
    figure.supxlabel("along the tube, from its middle [mm]", fontsize=9)
    figure.supylabel("around the tube [deg]; 0: lens's side, 90: next tube", fontsize=9)
    figure.colorbar(
        grid.flat[0].collections[0],
        ax=grid,
        label=f"flux [kW/m$^2$] at a DNI of {view.dni:.0f} W/m$^2$",
        pad=0.01,
        aspect=40,
    )
    return figure


def _rings(maps: FluxMaps, ring_mean: Floats, shown: list[int]) -> Figure:
    columns = min(4, len(shown))
    rows = -(-len(shown) // columns)
    figure = new_figure(3.6 if columns == 1 else 0.5 + max(2.4, 7.0 / columns + 0.5) * rows)
    grid = figure.subplots(rows, columns, squeeze=False, subplot_kw={"projection": "polar"})
    top = max(float(ring_mean[shown].max()), 1e-9)
    turn = np.radians(np.append(0.5 * (maps.around[1:] + maps.around[:-1]), 0.5 * maps.around[1] + 360.0))
    for axes, k in zip(grid.flat, shown, strict=False):
        assert isinstance(axes, PolarAxes)  # noqa: S101  as asked for above
        axes.set_theta_zero_location("N")
        axes.set_theta_direction(-1)
        values = np.append(ring_mean[k], ring_mean[k, 0])
        axes.fill(turn, values, color=style.ORANGE, alpha=0.5)
        axes.plot(turn, values, color="black", lw=0.9)
        axes.set_ylim(0.0, 1.05 * top)
        axes.set_yticks(_nice_ticks(top))
        axes.set_rlabel_position(200.0)
        axes.tick_params(labelsize=7.5, pad=1)
        axes.set_xticks(np.radians([0, 90, 180, 270]), ["lens", "", "", ""])
        axes.set_title(f"Tube {k + 1}", fontsize=9, loc="center")
    for axes in grid.flat[len(shown) :]:
        axes.set_visible(False)
    figure.supxlabel("flux, mean along the tube [kW/m$^2$]; top: lens's side, right: next tube", fontsize=9)
    return figure


def _nice_ticks(top: float) -> list[float]:
    step = 10.0 ** math.floor(math.log10(top))
    for factor in (0.5, 1.0, 2.0, 5.0):
        if top / (step * factor) <= 3.0:
            return [step * factor * k for k in range(1, int(top / (step * factor)) + 1)]
    return [step]


def ledger(view: LightView) -> Picture:
    """Where the aperture power goes, as steps down from 100 %."""
    entries = [(name, 100.0 * getattr(view.trace.ledger, name)) for name in LEDGER_ENTRIES]
    figure = new_figure(3.7)
    axes = figure.subplots()
    left = 100.0
    labels = ["aperture power"]
    axes.barh(0, 100.0, color="#bbbbbb", edgecolor="black", lw=0.6)
    axes.text(101.0, 0, "100 %", va="center", fontsize=8.5)
    for place, (name, share) in enumerate(entries, start=1):
        taken = name == "absorbed"
        start = 0.0 if taken else left - share
        axes.barh(place, share, left=start, color=style.ORANGE if taken else style.BLUE, edgecolor="black", lw=0.6,
                  hatch="" if taken else "///")  # fmt: skip
        axes.text(start + share + 1.0, place, f"{share:.2f} %", va="center", fontsize=8.5)
        if not taken:
            axes.plot([left - share] * 2, [place - 0.4, place + 1.4], color="black", lw=0.6, ls=":")
            left -= share
        labels.append(ENTRY_WORDS[name])
    axes.set_yticks(range(len(labels)), labels)
    axes.invert_yaxis()
    axes.set_xlim(0.0, 112.0)
    axes.set_xticks(range(0, 101, 20))
    axes.set_xlabel("share of the aperture power [%]; hatched: lost, plain: absorbed")
    axes.set_title(view.words[0].upper() + view.words[1:], fontsize=8.5)
    lost = sorted(entries[:-1], key=lambda entry: -entry[1])
    return Picture(
        name="ledger",
        title="Where the light goes",
        alt=(
            f"Steps down from 100 % of the aperture power: {entries[-1][1]:.1f} % is absorbed; the largest losses are "
            f"{lost[0][1]:.1f} % {ENTRY_WORDS[lost[0][0]]} and {lost[1][1]:.1f} % {ENTRY_WORDS[lost[1][0]]}."
        ),
        figure=figure,
        numbers={name: share / 100.0 for name, share in entries},
    )
