"""Pictures of one trace: the focal line and the caustic, the ledger; and all of them."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import PowerNorm

from raytrace.arrays import Floats
from raytrace.maps import Profiles, profiles
from raytrace.result import LEDGER_ENTRIES
from tracking.paper import style
from tracking.paper.light_view import LightView
from tracking.paper.section_figure import section
from tracking.paper.style import Picture, drawing, new_figure
from tracking.paper.tube_figures import flux

MM = 1e3
RAYS_A_HEIGHT = 1 << 16
HEIGHTS = 61
HEIGHT_SPAN = 0.2
"""The caustic is shown from this share above to this share below the plane of the tubes."""


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


def light_pictures(view: LightView) -> tuple[Picture, ...]:
    """All pictures of one trace."""
    with drawing():
        return (section(view), focal_line(view), *flux(view), ledger(view))


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
    _draw_profile(top, view, here, centre, half)
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
            f"{_mm(float(found.w90[best]))}, at {heights[best] * MM:.0f} mm below the lens; {_absorbers(view)}."
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


def _absorbers(view: LightView) -> str:
    tubes = view.scene.tubes
    across = f"{tubes.absorber_diameter * MM:.0f} mm across"
    if tubes.count == 1:
        return f"the absorber is {across}" if view.along_grooves else f"it crosses the absorber, {across}"
    apart = f"{across}, {tubes.spacing * MM:.0f} mm from axis to axis"
    return f"the {tubes.count} absorbers are {apart}" if view.along_grooves else f"it crosses absorbers {apart}"


def _mm(length: float | None) -> str:
    return "no width" if length is None else f"{length * MM:.1f} mm"


def _edges_about(centres: Floats) -> Floats:
    middle = 0.5 * (centres[1:] + centres[:-1])
    return np.concatenate([[2 * centres[0] - middle[0]], middle, [2 * centres[-1] - middle[-1]]])


def _draw_profile(axes: Axes, view: LightView, here: Profiles, centre: float, half: float) -> None:
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
    label = f"{'absorbers' if tubes.count > 1 else 'absorber'}, {tubes.absorber_diameter * MM:.0f} mm across"
    radius = 0.5 * tubes.absorber_diameter
    for k in range(tubes.count) if view.along_grooves else ():
        middle = view.row.offset[0] + (k - 0.5 * (tubes.count - 1)) * tubes.spacing * view.row.row[0]
        if abs(middle - centre) < half + radius:  # else it lies beside what is shown
            axes.axvspan((middle - radius) * MM, (middle + radius) * MM, color="#dddddd", zorder=0, label=label)
            label = "_one is named"
    axes.set_ylim(0.0, 1.42 * top)
    axes.set_ylabel("flux over DNI")
    axes.set_title(f"On the plane of the tubes; {view.words}", fontsize=8.5)


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
