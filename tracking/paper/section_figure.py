"""The picture of the section across the grooves with traced rays."""

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle

from raytrace.paths import RayPath, ray_paths
from raytrace.scene import RowPose, Scene
from tracking.paper import style
from tracking.paper.light_view import LightView
from tracking.paper.style import Picture, new_figure

MM = 1e3
RAYS_DRAWN = 64


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
    # Seen from the end of the grooves, a row that lies across them hides its gaps.
    between = "" if view.along_grooves else " or passes between them"
    handles = [
        Line2D([], [], color=style.RED, ls="-", label=f"reaches an absorber ({shares['reached']} of {len(rays)})"),
        Line2D([], [], color=style.BLUE, ls="--", label=f"misses the tubes{between} ({shares['missed']})"),
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
            f"{scene.lens_height * MM:.0f} mm below the lens, {shares['missed']} miss the tubes"
            f"{between.replace('passes', 'pass')}, {other} end in lens or glass. The trace of {view.trace.rays} rays "
            f"finds {100 * view.trace.intercepted_fraction.value:.1f} % of the aperture power on the absorbers."
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
    least = max(0.09, 2.0 * scene.tubes.outer_diameter)
    # Light that is not brought together at all would show everything small.
    span = max(least, min(0.75 * (view.trace.focal_line.w90 or 0.0), 0.5 * scene.lens.width))
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
    middle = np.array(row.offset)[[0, 2]] - np.array([0.0, scene.lens_height])
    seen: set[tuple[float, ...]] = set()
    for k in range(tubes.count):
        centre = middle + (k - 0.5 * (tubes.count - 1)) * tubes.spacing * u
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
