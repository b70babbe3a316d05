"""The keep-out drawing: where the light around the focal line is 1, 5 and 10 times the sun, to scale."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.ticker import MaxNLocator

from raytrace.scene import Scene
from tracking.paper import style
from tracking.paper.style import PAGE_WIDTH, Picture, drawing, new_figure
from tracking.stray.keepout import KeepOut

SECTIONS_WIDTH, SECTIONS_HEIGHT = 5.9, 5.0
"""Room for the two sections together [in]; both have one scale."""
LEFT, BETWEEN, ABOVE, BELOW = 0.75, 0.25, 0.8, 1.75
"""Room beside, between, above and below the sections, for words [in]."""
LEAST_WIDTH = 1.3
"""Least width of a section, for the words of its axis [in]."""
MARGIN = 1.15
"""Width of a section over that of what it shows."""
TICK_WIDTH = 0.55
"""Room for a number of the level axis [in]."""
FILLS = ("#d9d9d9", style.SKY, style.ORANGE)
"""From the faintest region to the brightest, darker on a grey printer too."""
HATCHES = ("", "//", "xx")


def keep_out_figure(scene: Scene, found: tuple[KeepOut, ...]) -> Picture:
    """Sections across and along the grooves through the regions, with their distances from the focal line."""
    with drawing():
        halves = [_half_width(scene, found, along=along) for along in (False, True)]
        bottom = min((place[0] for region in found for place in region.outline), default=0.0) - 0.05
        top = 1.05 * scene.lens_height
        inches = min(0.5 * SECTIONS_WIDTH / sum(halves), SECTIONS_HEIGHT / (top - bottom))  # for each [m]
        tall = inches * (top - bottom)
        widths = [max(LEAST_WIDTH, 2.0 * half * inches) for half in halves]
        figure = new_figure(BELOW + tall + ABOVE)
        figure.set_layout_engine("none")
        whole = figure.get_figheight()
        axes = [
            figure.add_axes((left / PAGE_WIDTH, BELOW / whole, width / PAGE_WIDTH, tall / whole))
            for left, width in zip((LEFT, LEFT + widths[0] + BETWEEN), widths, strict=True)
        ]
        for ax, along, width in zip(axes, (False, True), widths, strict=True):
            _section(ax, scene, found, along=along)
            ax.xaxis.set_major_locator(MaxNLocator(max(2, int(width / TICK_WIDTH))))
            ax.set_xlim(-0.5 * width / inches, 0.5 * width / inches)
            ax.set_ylim(bottom, top)
        axes[1].tick_params(labelleft=False)
        axes[0].set_ylabel("height above the tubes' axes [m]")
        figure.suptitle(
            "Keep-out region around the focal line, lens aimed, all suns of the year, tubes taken away, to scale\n"
            "no hand, hair, hose or cable inside; an eye needs far more distance. Cover the lens before any work",
            fontsize=9, x=0.01, y=0.99, ha="left", va="top",
        )  # fmt: skip
        handles, labels = axes[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="lower left", ncols=2, fontsize=8.5, frameon=False)
    first = found[0]
    reach = f"{first.across:.2f} m across and {first.along:.2f} m along" if first.across and first.along else "nowhere"
    return Picture(
        name="stray_keep_out",
        title="Keep-out region around the focal line",
        alt=f"The light is at least as strong as the sun up to {reach} from the middle.",
        figure=figure,
        numbers={
            f"{k.suns:g} suns": {"above_m": k.above, "below_m": k.below, "across_m": k.across, "along_m": k.along}
            for k in found
        },
    )


def _section(ax: Axes, scene: Scene, found: tuple[KeepOut, ...], *, along: bool) -> None:
    half = 0.5 * (scene.lens.length if along else scene.lens.width)
    for region, fill, hatch in zip(found, FILLS, HATCHES, strict=True):
        if not region.outline:
            continue
        height = np.array([place[0] for place in region.outline])
        reach = np.array([place[2 if along else 1] for place in region.outline])
        edge = np.concatenate([np.stack([reach, height], axis=1), np.stack([-reach, height], axis=1)[::-1]])
        ax.add_patch(
            Polygon(
                edge, facecolor=fill, edgecolor=style.BLACK, linewidth=0.7, hatch=hatch,
                label=f"{region.suns:g} x direct sun or more: {_words(region)}",
            )
        )  # fmt: skip
    ax.add_patch(
        Rectangle(
            (-half, scene.lens_height), 2.0 * half, scene.lens.thickness, color=style.BLUE, label="lens",
            linewidth=2.0,
        )
    )  # fmt: skip
    radius = 0.5 * scene.tubes.absorber_diameter
    ax.add_patch(Circle((0.0, 0.0), radius, fill=False, edgecolor=style.RED, label="absorber's size, at the axes"))
    ax.set_aspect("equal")
    ax.axhline(0.0, color=style.BLACK, linewidth=0.5, linestyle=":")
    ax.set_xlabel("from the middle [m]")
    ax.set_title("along the grooves" if along else "across")


def _half_width(scene: Scene, found: tuple[KeepOut, ...], *, along: bool) -> float:
    """Half the width of a section [m]."""
    lens = 0.5 * (scene.lens.length if along else scene.lens.width)
    reach = (place[2 if along else 1] for region in found for place in region.outline)
    return MARGIN * max(lens, *reach, 0.0)


def _words(region: KeepOut) -> str:
    if region.above is None or region.below is None or region.across is None or region.along is None:
        return "nowhere"
    return (
        f"{region.above:.2f} m up, {region.below:.2f} m down,\n{region.across:.2f} m across, {region.along:.2f} m along"
    )
