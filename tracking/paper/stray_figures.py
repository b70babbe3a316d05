"""Pictures of an idle lens: bands of the highest flux on each surface, the track of the focus, and its minutes."""

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap, to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from raytrace.arrays import Floats
from tracking.paper.style import Picture, drawing, new_figure
from tracking.stray.idle import FacePath, IdlePath, Spot
from tracking.stray.thresholds import BANDS, DEFAULT_THRESHOLD, THRESHOLDS, Band

MOST_FACES = 4
"""Surfaces in one picture, the brightest first."""
FAINTEST = 300.0
"""Flux at which the light is shown [W/m2]: a third of the sun."""
SUN = 1000.0
"""Surfaces whose peak is fainter than about the sun itself are left out where there are brighter ones [W/m2]."""
PANEL_HEIGHT, LEAST_HEIGHT, PICTURE_WIDTH, WORDS_HEIGHT = 2.4, 0.4, 6.0, 0.7
"""Greatest and least height of a surface's map, its width, and the room for title and axis [in]."""
TITLE_HEIGHT, LEGEND_ROW = 0.7, 0.2
"""Room for the picture's title and for a line of its legend [in]."""
TALLEST = 8.2
"""Height of a picture [in]: a taller one would be shrunk in print, its letters with it."""
LETTERS = 8.5
"""Size of the legend and of clock times [pt]."""
BAND_COLOURS = "inferno"
"""Colours of the bands: even steps of lightness as those of the other maps, and more hues to tell bands apart by."""
MERGED = 8000.0
"""A band that begins here is shown together with the one below it, which is too narrow to see [W/m2]."""
MARGIN = 0.1
"""Dark rim that is shown around the lit part of a surface [m]."""
LABEL_WIDTH, LABEL_HEIGHT = 0.46, 0.16
"""Room of a clock time [in]."""
LABEL_MARGIN = 0.12
"""Share of a map's width or height at its end where a clock time stands on the other side of its spot."""
THIN = 3.0
"""Heights of a clock time below which a map has them all along its middle."""
TICK_ROOM, MOST_TICKS = 0.25, 6
"""Height for a number of the upright axis [in], and how many it has at most."""
MINUTE_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 60.0, 120.0, 240.0)
"""Bands of the map of minutes [min]."""
STEPS_OF_A_GAP = 1.5
"""Steps between two spots beyond which the track is broken: the light was elsewhere in between."""


def idle_figures(found: IdlePath, days: str) -> tuple[Picture, ...]:
    """Maps of the brightest surfaces: highest flux with the track of the focus, and minutes; none if all is dark."""
    lit = sorted(
        (each for each in found.faces if each.worst is not None and each.worst.flux >= FAINTEST),
        key=lambda each: -_peak(each),
    )[:MOST_FACES]
    if not lit:
        return ()
    lit = [each for each in lit if _peak(each) >= SUN] or lit[:1]
    pictures = _flux_pictures(found, lit, days)
    for flux in (DEFAULT_THRESHOLD, THRESHOLDS[0].flux):
        k = [each.flux for each in THRESHOLDS].index(flux)
        long = [each for each in lit if each.above[k].max() > 0.0]
        if long:
            pictures += _minutes_pictures(found, long, k, days)
            break
    return pictures


def _peak(found: FacePath) -> float:
    return 0.0 if found.worst is None else found.worst.flux


def _pose(found: IdlePath) -> str:
    return f"tilt {found.setting.tilt:.1f} deg, swivel {found.setting.swivel:.1f} deg"


def _flux_pictures(found: IdlePath, lit: list[FacePath], days: str) -> tuple[Picture, ...]:
    one_day = len({time.date() for time in found.times}) == 1
    brightest = max(float(each.highest.max()) for each in lit)
    shown = [each for each in _shown_bands() if each.low <= brightest]
    # The lowest band begins where there is light to speak of, and is parted at the sun's own flux.
    edges = [FAINTEST, SUN, *(each.low for each in shown[1:]), _top(shown[-1], brightest)]
    colours = _band_colours(len(edges))
    norm = BoundaryNorm(edges, len(edges) - 1)
    title = f"Highest flux of an idle lens, {_pose(found)}, {days}"
    handles = [
        Patch(color=colours[0], label="below 0.3 kW/m2: no light to speak of"),
        Patch(color=colours[1], label=f"0.3 to 1: {BANDS[0].name}, never no risk: cover the lens"),
        Patch(color=colours[2], label=f"1 to {THRESHOLDS[0].flux / 1e3:g}, above the sun: {BANDS[0].name}, as before"),
        *(
            Patch(color=colour, label=f"{_range(band)}: {band.name}")
            for band, colour in zip(shown[1:], colours[3:], strict=True)
        ),
    ]
    words = "colours: bands of flux [kW/m2], with what may happen from their lower end on\n"
    words += "white: middle of the light, with clock times" if one_day else "highest of all instants"
    return tuple(
        Picture(
            name=f"stray_flux{part.suffix}",
            title=f"{title}{part.words}",
            alt=f"The focus is strongest on {part.faces[0].face.name}: {_peak(part.faces[0]) / 1e3:.1f} kW/m2."
            if part.first
            else f"On {part.faces[0].face.name} the flux is at most {_peak(part.faces[0]) / 1e3:.1f} kW/m2.",
            figure=_panels(
                part.faces, f"{title}{part.words}\n{words}", handles,
                lambda ax, each: _draw(ax, each, each.highest, colours, norm, track=found.step if one_day else None),
            ),
            numbers={each.face.name: {"peak_kw_m2": float(each.highest.max()) / 1e3} for each in part.faces},
        )
        for part in _parts(lit, handles)
    )  # fmt: skip


def _minutes_pictures(found: IdlePath, lit: list[FacePath], k: int, days: str) -> tuple[Picture, ...]:
    """How long each spot sees at least threshold number k."""
    threshold = THRESHOLDS[k]
    longest = max(float(each.above[k].max()) for each in lit)
    steps = [found.step, *(each for each in MINUTE_STEPS if found.step < each <= longest)]
    edges = [*steps, max(longest, steps[-1]) + 1.0]
    colours = _band_colours(len(edges))
    norm = BoundaryNorm(edges, len(edges) - 1)
    title = f"How long each spot sees {threshold.flux / 1e3:g} kW/m2 or more, {_pose(found)}, {days}"
    handles = [Patch(color=colours[0], label="not at all")] + [
        Patch(color=colour, label=f"{low:g} to {high:g} min" if high in MINUTE_STEPS else f"{low:g} min or longer")
        for (low, high), colour in zip(itertools.pairwise(edges), colours[1:], strict=True)
    ]
    words = (
        f"from {threshold.flux / 1e3:g} kW/m2 on: {threshold.name}, exposure {threshold.exposure}\n"
        "sum over all instants traced; 'not at all' is no promise: cover the lens"
    )
    return tuple(
        Picture(
            name=f"stray_minutes{part.suffix}",
            title=f"{title}{part.words}",
            alt=f"A spot of {part.faces[0].face.name} sees so much for {float(part.faces[0].above[k].max()):.0f} min.",
            figure=_panels(
                part.faces, f"{title}{part.words}\n{words}", handles,
                lambda ax, each: _draw(ax, each, each.above[k], colours, norm),
            ),
            numbers={each.face.name: {"longest_min": float(each.above[k].max())} for each in part.faces},
        )
        for part in _parts(lit, handles)
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, slots=True)
class _Part:
    """The surfaces that fit into one picture; `suffix` of its name and `words` in its title number it."""

    faces: list[FacePath]
    first: bool
    suffix: str
    words: str


def _parts(lit: list[FacePath], handles: list[Patch]) -> list[_Part]:
    """The surfaces by pictures that are no taller than TALLEST."""
    parts: list[list[FacePath]] = []
    for each in lit:
        if parts and _height([*parts[-1], each], handles) <= TALLEST:
            parts[-1].append(each)
        else:
            parts.append([each])
    return [
        _Part(
            faces=faces, first=k == 1, suffix="" if k == 1 else f"_{k}",
            words=f", {k} of {len(parts)}" if len(parts) > 1 else "",
        )
        for k, faces in enumerate(parts, start=1)
    ]  # fmt: skip


def _height(lit: list[FacePath], handles: list[Patch]) -> float:
    """Height of a picture [in]."""
    return TITLE_HEIGHT + sum(_panel_height(each) for each in lit) + LEGEND_ROW * (-(-len(handles) // 2) + 1)


def _shown_bands() -> list[Band]:
    found: list[Band] = []
    for each in BANDS:
        if each.low == MERGED and found:
            below = found.pop()
            found.append(Band(low=below.low, high=each.high, name=f"{below.name}; {each.name.split(' (')[0]}"))
        else:
            found.append(each)
    return found


def _top(band: Band, brightest: float) -> float:
    return max(brightest, band.low) * 1.01 if band.high is None else band.high


def _range(band: Band) -> str:
    return f"from {band.low / 1e3:g}" if band.high is None else f"{band.low / 1e3:g} to {band.high / 1e3:g}"


def _band_colours(count: int) -> list[str]:
    """Colours from dark to light, the first one for what lies below all bands."""
    return [to_hex(colormaps[BAND_COLOURS](x)) for x in np.linspace(0.0, 1.0, count)]


def _panels(lit: list[FacePath], title: str, handles: list[Patch], draw: "Callable[[Axes, FacePath], None]") -> Figure:
    """One panel for each surface, the title above, the legend below."""
    with drawing():
        figure = new_figure(_height(lit, handles))
        heights = [_panel_height(each) for each in lit]
        axes = figure.subplots(len(lit), 1, squeeze=False, height_ratios=heights)[:, 0]
        for ax, each in zip(axes, lit, strict=True):
            draw(ax, each)
        figure.suptitle(title, fontsize=9, x=0.01, ha="left")
        figure.legend(
            handles=handles, loc="outside lower left", ncols=2, fontsize=LETTERS, frameon=False, handlelength=1.4,
            columnspacing=1.0,
        )  # fmt: skip
        # Maps keep their shape, so the layout settles in its second pass only: in the first, words may overlap.
        figure.draw_without_rendering()
    return figure


def _lit_size(found: FacePath) -> tuple[float, float]:
    """Lengths of the lit part along side a and side b [m]."""
    lit = found.highest >= FAINTEST
    spans = [float(np.ptp(np.flatnonzero(lit.any(axis=axis)))) + 1.0 for axis in (1, 0)]
    return (
        spans[0] * found.face.face.length_a / lit.shape[0], spans[1] * found.face.face.length_b / lit.shape[1],
    )  # fmt: skip


def _panel_height(found: FacePath) -> float:
    """Height of a surface's panel [in]: by the shape of its lit part, with room for the words."""
    sides = found.face.face.length_a, found.face.face.length_b
    a, b = (min(side, length + 2.0 * MARGIN) for side, length in zip(sides, _lit_size(found), strict=True))
    return WORDS_HEIGHT + min(PANEL_HEIGHT, max(LEAST_HEIGHT, PICTURE_WIDTH * min(a, b) / max(a, b)))


def _draw(
    ax: Axes, found: FacePath, values: Floats, colours: list[str], norm: BoundaryNorm, track: float | None = None
) -> None:
    """One surface in bands; the longer side of its lit part lies level. `track` is the step of the instants [min]."""
    half_a, half_b = 0.5 * found.face.face.length_a, 0.5 * found.face.face.length_b
    lit_a, lit_b = _lit_size(found)
    lying = lit_a > lit_b
    image, lit = (values.T, found.highest.T) if lying else (values, found.highest)
    across, up = (half_a, half_b) if lying else (half_b, half_a)
    bands = ListedColormap(colours[1:], under=colours[0])
    ax.imshow(
        image, origin="lower", extent=(-across, across, -up, up), norm=norm, cmap=bands, interpolation="nearest",
        aspect="equal",
    )  # fmt: skip
    columns, rows = (np.flatnonzero((lit >= FAINTEST).any(axis=axis)) for axis in (0, 1))
    for limit, where, half, count in (
        (ax.set_xlim, columns, across, lit.shape[1]), (ax.set_ylim, rows, up, lit.shape[0]),
    ):  # fmt: skip
        low, high = (where[0] / count * 2.0 - 1.0) * half, ((where[-1] + 1) / count * 2.0 - 1.0) * half
        limit(max(-half, low - MARGIN), min(half, high + MARGIN))
    upright = (_panel_height(found) - WORDS_HEIGHT) / TICK_ROOM
    ax.yaxis.set_major_locator(MaxNLocator(min(MOST_TICKS, max(1, int(upright)))))
    if track is not None:
        _draw_track(ax, found.spots, track, lying=lying)
    names = _side_names(found)
    first, second = names if lying else names[::-1]
    ax.set_xlabel(f"from the middle, {first} [m]")
    ax.set_ylabel(f"{second} [m]")
    ax.set_title(f"{found.face.name}, {found.face.surrounding.material}")


def _draw_track(ax: Axes, spots: tuple[Spot, ...], step: float, *, lying: bool) -> None:
    """The middle of the light, broken where the light was elsewhere, with the clock at full hours, and at both ends."""
    seen = [spot for spot in spots if spot.flux >= FAINTEST]
    if not seen:
        return
    places = np.array([spot.centre if lying else spot.centre[::-1] for spot in seen])
    gaps = [
        k
        for k, (one, next_one) in enumerate(itertools.pairwise(seen), start=1)
        if (next_one.time_local - one.time_local).total_seconds() > STEPS_OF_A_GAP * 60.0 * step
    ]
    outline = withStroke(linewidth=2.2, foreground="black")
    for piece in np.split(places, gaps):
        ax.plot(
            piece[:, 0], piece[:, 1], color="white", linewidth=0.9, marker=".", markersize=2.5, path_effects=[outline]
        )
    wide, high = (float(np.diff(limits)[0]) for limits in (ax.get_xlim(), ax.get_ylim()))
    inch = max(wide / PICTURE_WIDTH, high / PANEL_HEIGHT)  # [m on the surface]
    level = sum(ax.get_ylim()) / 2.0
    thin = high < THIN * LABEL_HEIGHT * inch
    labelled: list[tuple[float, float]] = []
    ends = {0, len(seen) - 1, *gaps, *(k - 1 for k in gaps)}
    hours = [
        k
        for k, spot in enumerate(seen)
        if spot.time_local.minute == 0 or (k and spot.time_local.hour != seen[k - 1].time_local.hour and k not in gaps)
    ]
    for k in [*hours, *sorted(ends)]:
        x, y = (float(value) for value in places[k])
        # Beside the track and within the map: leftward near its right end, downward near its top.
        left = x > ax.get_xlim()[0] + (1.0 - LABEL_MARGIN) * wide
        down = y > ax.get_ylim()[0] + (1.0 - LABEL_MARGIN) * high
        middle = x - (0.5 if left else -0.5) * LABEL_WIDTH * inch, y - (0.5 if down else -0.5) * LABEL_HEIGHT * inch
        if thin:
            middle = middle[0], level
        if any(
            abs(middle[0] - other[0]) < LABEL_WIDTH * inch and abs(middle[1] - other[1]) < LABEL_HEIGHT * inch
            for other in labelled
        ):
            continue
        labelled.append(middle)
        text = ax.annotate(
            f"{seen[k].time_local:%H:%M}", (x, level if thin else y), color="white", fontsize=LETTERS,
            xytext=(-4 if left else 4, 0 if thin else -4 if down else 4), textcoords="offset points",
            ha="right" if left else "left", va="center" if thin else "top" if down else "bottom",
            annotation_clip=True,
        )  # fmt: skip
        text.set_path_effects([withStroke(linewidth=2.0, foreground="black")])


def _side_names(found: FacePath) -> tuple[str, str]:
    """What the sides of a surface run along, where that is easily said."""
    surrounding = found.face.surrounding
    if surrounding.shape == "plane" and not any(surrounding.turn):
        if surrounding.fixed_to == "ground":
            return ("to the east", "to the north")
        return ("across the grooves", "along the grooves")
    if surrounding.shape == "plane" and surrounding.fixed_to == "ground" and surrounding.turn == (90.0, 0.0, 0.0):
        return ("to the east", "up")
    return ("along side a", "along side b")
