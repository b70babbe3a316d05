"""Pictures of an idle lens: the highest flux on each surface, and the track of the focus with clock times."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.image import AxesImage
from matplotlib.patheffects import withStroke

from raytrace.arrays import Floats
from tracking.paper import style
from tracking.paper.style import Picture, drawing, new_figure
from tracking.stray.idle import FacePath, IdlePath

MOST_FACES = 4
"""Surfaces in one picture, the brightest first."""
FAINTEST = 300.0
"""Flux at which the colours begin [W/m2]: a third of the sun."""
PANEL_HEIGHT, LEAST_HEIGHT, PICTURE_WIDTH, WORDS_HEIGHT = 3.3, 0.9, 5.4, 0.8
"""Greatest and least height of a surface's map, its width, and the room for title and axis [in]."""
CAPTION = (
    "white: middle of the light; lines: 2 kW/m2 pain on skin, 4.3 wood can ignite, 12.5 with a flame near\n"
    "below 2 kW/m2 reads lower risk, never no risk: cover the lens"
)


def idle_figures(found: IdlePath, days: str) -> tuple[Picture, ...]:
    """Maps of the highest flux on the brightest surfaces, with the track of the focus on a single day; none if dark."""
    lit = sorted(
        (each for each in found.faces if each.worst is not None and each.worst.flux >= FAINTEST),
        key=lambda each: -(each.worst.flux if each.worst is not None else 0.0),
    )[:MOST_FACES]
    if not lit:
        return ()
    with drawing():
        heights = [_panel_height(each) for each in lit]
        figure = new_figure(0.9 + sum(heights))
        axes = figure.subplots(len(lit), 1, squeeze=False, height_ratios=heights)[:, 0]
        brightest = max(float(each.highest.max()) for each in lit) / 1e3
        norm = LogNorm(vmin=FAINTEST / 1e3, vmax=max(brightest, 2.0))
        one_day = len({time.date() for time in found.times}) == 1
        ticks = [0.3, 1.0, *(flux / 1e3 for flux in MARKED if flux / 1e3 <= brightest)]
        for ax, each in zip(axes, lit, strict=True):
            image = _map(ax, each, norm, track=one_day)
            bar = figure.colorbar(image, ax=ax, shrink=0.9, label="highest flux [kW/m2]", extend="min")
            bar.set_ticks(ticks, labels=[f"{tick:g}" for tick in ticks])
            bar.minorticks_off()
        title = (
            f"Highest flux of an idle lens, tilt {found.setting.tilt:.1f} deg, swivel {found.setting.swivel:.1f} deg, "
            f"{days}"
        )
        figure.suptitle(f"{title}\n{CAPTION}", fontsize=9, x=0.01, ha="left")
    worst = lit[0].worst
    peak = 0.0 if worst is None else worst.flux / 1e3
    return (
        Picture(
            name="stray_flux",
            title=title,
            alt=f"The focus is strongest on {lit[0].face.name}: {peak:.1f} kW/m2.",
            figure=figure,
            numbers={each.face.name: {"peak_kw_m2": float(each.highest.max()) / 1e3} for each in lit},
        ),
    )


def _lit_size(found: FacePath) -> tuple[float, float]:
    """Lengths of the lit part along side a and side b [m]."""
    lit = found.highest >= FAINTEST
    spans = [float(np.ptp(np.flatnonzero(lit.any(axis=axis)))) + 1.0 for axis in (1, 0)]
    return (
        spans[0] * found.face.face.length_a / lit.shape[0], spans[1] * found.face.face.length_b / lit.shape[1],
    )  # fmt: skip


def _panel_height(found: FacePath) -> float:
    """Height of a surface's panel [in]: by the shape of its lit part, with room for the words."""
    a, b = (length + MARGIN for length in _lit_size(found))
    return WORDS_HEIGHT + min(PANEL_HEIGHT, max(LEAST_HEIGHT, PICTURE_WIDTH * min(a, b) / max(a, b)))


def _map(ax: Axes, found: FacePath, norm: LogNorm, *, track: bool) -> AxesImage:
    """One surface; the longer side of its lit part lies level, to fill the page."""
    half_a, half_b = 0.5 * found.face.face.length_a, 0.5 * found.face.face.length_b
    flux = found.highest / 1e3
    lit_a, lit_b = _lit_size(found)
    lying = lit_a > lit_b
    image = flux.T if lying else flux
    across, up = (half_a, half_b) if lying else (half_b, half_a)
    shown = ax.imshow(
        np.maximum(image, 1e-9), origin="lower", extent=(-across, across, -up, up), norm=norm, cmap=style.MAP,
        interpolation="nearest", aspect="equal",
    )  # fmt: skip
    if min(image.shape) > 2:
        x = ((np.arange(image.shape[1]) + 0.5) / image.shape[1] * 2.0 - 1.0) * across
        y = ((np.arange(image.shape[0]) + 0.5) / image.shape[0] * 2.0 - 1.0) * up
        smooth = _smoothed(image)
        levels = [flux / 1e3 for flux in SHOWN if flux / 1e3 < float(smooth.max())]
        if levels:
            lines = ax.contour(x, y, smooth, levels=levels, colors=style.RED, linewidths=0.8)
            ax.clabel(lines, fmt="%g kW/m2", fontsize=7)
    if track:
        spots = [spot for spot in found.spots if spot.flux >= FAINTEST]
        place = np.array([spot.centre if lying else spot.centre[::-1] for spot in spots]).reshape(-1, 2)
        ax.plot(place[:, 0], place[:, 1], color="white", linewidth=0.9, marker=".", markersize=2.5)
        last = None
        for spot, at in zip(spots, place, strict=True):
            if spot.time_local.minute != 0 or spot.time_local.hour == last:
                continue
            last = spot.time_local.hour
            text = ax.annotate(
                f"{spot.time_local:%H:%M}", tuple(at), xytext=(4, 4), textcoords="offset points", fontsize=8,
                color="white",
            )  # fmt: skip
            text.set_path_effects([withStroke(linewidth=2.0, foreground="black")])
    names = _side_names(found)
    first, second = names if lying else names[::-1]
    ax.set_xlabel(f"from the middle, {first} [m]")
    ax.set_ylabel(f"{second} [m]")
    ax.set_title(f"{found.face.name}, {found.face.surrounding.material}")
    lit = image >= FAINTEST / 1e3
    columns, rows = np.flatnonzero(lit.any(axis=0)), np.flatnonzero(lit.any(axis=1))
    for limit, where, half, count in (
        (ax.set_xlim, columns, across, image.shape[1]), (ax.set_ylim, rows, up, image.shape[0]),
    ):  # fmt: skip
        low, high = (where[0] / count * 2.0 - 1.0) * half, ((where[-1] + 1) / count * 2.0 - 1.0) * half
        limit(max(-half, low - MARGIN), min(half, high + MARGIN))
    return shown


def _smoothed(image: Floats) -> Floats:
    """Mean over three by three patches, the outermost repeated: lines through it are not torn by noise."""
    wide = np.pad(image, 1, mode="edge")
    rows, columns = image.shape
    return np.asarray(sum(wide[i : i + rows, j : j + columns] for i in range(3) for j in range(3)) / 9.0)


def _side_names(found: FacePath) -> tuple[str, str]:
    """What the sides of a surface run along, where that is easily said."""
    surrounding = found.face.surrounding
    if surrounding.shape == "plane" and not any(surrounding.turn):
        if surrounding.fixed_to == "ground":
            return ("to the east", "to the north")
        return ("across the grooves", "along the grooves")
    return ("along side a", "along side b")


MARGIN = 0.1
"""Dark rim that is shown around the lit part of a surface [m]."""


MARKED = (2000.0, 4300.0, 6000.0, 8000.0, 12500.0, 28000.0)
"""Thresholds beside the colours [W/m2]; two of them are so near to each other that one stands for both."""

SHOWN = (2000.0, 4300.0, 12500.0)
"""Thresholds drawn as lines [W/m2]: pain on skin, the least flux that ignites wood, ignition with a flame near."""
