"""The shadow target for the level base: a curve for each month and a dot for each hour of a place."""

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import Floats
from tracking.paper import typeset
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.clip import Box, clipped, inside
from tracking.paper.templates.pages import Heading
from tracking.paper.templates.shapes import ACTED_ON, READ, Dot, Drawing, Line, Point, Stroke, Text, overlap
from tracking.plans.shadow_clock import LEAST_ELEVATION, ClockSpan, DayCurve, clock_spans, day_curve, noon_shadows
from tracking.sky.site import Site

DAY_OF_MONTH = 21
"""The day of each month that gets a curve: near the solstices and equinoxes, so that the outermost curves bound all."""
HALVES = ((12, 1, 2, 3, 4, 5, 6), (6, 7, 8, 9, 10, 11, 12))
"""Months of either page, from solstice to solstice: on one page no two curves run along each other."""
PINS = (50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0)
"""Heights of the pin that can be chosen for the reader [mm]."""
LOWEST_NOON = 10.0
"""Noon elevation of the sun [deg] below which a month's curve may leave the page."""
BESIDE = 1.5
"""From the frame to the months at its right [mm]."""
DOT = 0.8
GAP = 1.2
"""Between two texts [mm]."""
CROSS = 5.0
ARROW = 12.0
CURVES: tuple[Stroke, Stroke] = ("mark", "dashed")
"""Neighbouring months are drawn differently."""
HOUR_PLACES = tuple(
    (away * math.cos(math.radians(turn)), away * math.sin(math.radians(turn)))
    for away in (6.0, 8.0, 10.0, 13.0, 16.0)
    for turn in range(0, 360, 30)
)
"""Where the middle of an hour's figures may stand, from the last dot of its line [mm]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Clock:
    """The offsets from UTC of a place's clock in a year: that of the figures, and the other one with its spans."""

    offset: dt.timedelta
    other: dt.timedelta | None
    spans: tuple[ClockSpan, ...]

    @property
    def shift(self) -> dt.timedelta:
        """What the other clock is ahead."""
        return dt.timedelta(0) if self.other is None else self.other - self.offset


def clock_of(site: Site, year: int) -> Clock:
    """The clock of a year; of two offsets the lesser, as in winter, gives the figures."""
    spans = clock_spans(site, year)
    offsets = sorted({span.offset for span in spans})
    if len(offsets) == 1:
        return Clock(offset=offsets[0], other=None, spans=())
    # More than two offsets happen where a country moves to another zone: the first and the last of them are shown.
    return Clock(
        offset=offsets[0], other=offsets[-1], spans=tuple(span for span in spans if span.offset == offsets[-1])
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class LevelTarget:
    """One page's drawing, its window, the pin [mm], its curves, and months that have none on the page."""

    drawing: Drawing
    window: Box
    pin: float
    curves: tuple[DayCurve, ...]
    missing: tuple[dt.date, ...]


def level_dates(half: Sequence[int], year: int) -> tuple[dt.date, ...]:
    """The dates of a page's curves."""
    return tuple(dt.date(year, month, DAY_OF_MONTH) for month in half)


def chosen_pin(noons: tuple[float, float], room: tuple[float, float]) -> float:
    """The largest of PINS [mm] whose noon shadows (see `noon_range`) all fit on the page."""
    low, high = noons
    fits = [pin for pin in PINS if pin * (high - low) <= room[1] - 4.0 * CROSS]
    return fits[0] if fits else PINS[-1]


def noon_range(site: Site, year: int) -> tuple[float, float]:
    """How far south (below 0) and north of the foot the noon shadows of the year fall, over the pin's height.

    Months with a very low sun are left aside.
    """
    shadows = noon_shadows(site, [dt.date(year, month, DAY_OF_MONTH) for month in range(1, 13)])
    longest = 1.0 / math.tan(math.radians(LOWEST_NOON))
    north = [
        math.copysign(shadow.length, math.cos(math.radians(shadow.azimuth)))
        for shadow in shadows
        if shadow.time is not None and shadow.length <= longest
    ]
    return min([0.0, *north]), max([0.0, *north])


def heading(
    clock: Clock, half: Sequence[int], pin: float, place: str, words: TemplateWords, missing: Sequence[dt.date] = ()
) -> Heading:
    """What stands above the page of one half of the year; `missing` are its dates without a curve."""
    months = [words.short_months[month - 1] for month in (half[0], half[-1])]
    lines = [words.level_pin.format(pin=f"{pin:g}"), clock_words(clock, words)]
    paragraphs = [words.level_use, words.level_cut.format(elevation=f"{LEAST_ELEVATION:g}")]
    if missing:
        paragraphs.append(words.level_missing.format(dates=", ".join(_day(date, words) for date in missing)))
    return Heading(
        title=words.level_title.format(first=months[0], last=months[1], place=place),
        lines=tuple(lines),
        paragraphs=tuple(paragraphs),
    )


def clock_words(clock: Clock, words: TemplateWords) -> str:
    """Which clock the figures of the hours belong to."""
    if clock.other is None:
        return words.clock_one.format(offset=offset_words(clock.offset))
    spans = ", ".join(
        words.span.format(first=_day(span.first, words), last=_day(span.last, words)) for span in clock.spans
    )
    if _whole_hours(clock):
        return words.clock_two.format(offset=offset_words(clock.offset), other=offset_words(clock.other), spans=spans)
    minutes = f"{clock.shift.total_seconds() / 60.0:g}"
    one = words.clock_one.format(offset=offset_words(clock.offset))
    return f"{one} {words.clock_add.format(other=offset_words(clock.other), spans=spans, minutes=minutes)}"


def _whole_hours(clock: Clock) -> bool:
    return clock.shift % dt.timedelta(hours=1) == dt.timedelta(0)


def offset_words(offset: dt.timedelta) -> str:
    """An offset from UTC as +02:00."""
    minutes = round(abs(offset.total_seconds()) / 60.0)
    return f"{'-' if offset < dt.timedelta(0) else '+'}{minutes // 60:02d}:{minutes % 60:02d}"


def _day(date: dt.date, words: TemplateWords) -> str:
    return f"{date.day} {words.short_months[date.month - 1]}"


def level_target(
    site: Site,
    half: Sequence[int],
    year: int,
    *,
    pin: float,
    noons: tuple[float, float],
    room: tuple[float, float],
    words: TemplateWords,
) -> LevelTarget:
    """The target for one half of the year and an upright pin, in a room of this width and height, all [mm].

    `noons` is the year's `noon_range`. The origin is the pin's foot, true north up.
    """
    clock = clock_of(site, year)
    edge = _edge(half, words)
    frame = _frame(noons, pin, (room[0] - edge, room[1]))
    curves = tuple(day_curve(site, date, pin_height=pin, offset=clock.offset) for date in level_dates(half, year))
    lines = [Line(points=_corners(frame), stroke="thin"), *_foot()]
    texts: list[Text] = []
    shown = []
    for k, curve in enumerate(curves):
        parts = clipped(tuple((x, y) for x, y in curve.points.tolist()), frame)
        lines += [Line(points=part, stroke=CURVES[k % 2]) for part in parts]
        if parts:
            shown.append((curve, parts))
    hours = _hour_lines(curves, frame)
    dots = tuple(Dot(centre=point, radius=DOT) for run in hours.values() for point in run)
    lines += [Line(points=tuple(run), stroke="thin") for run in hours.values() if len(run) > 1]
    arrow, north = _north_arrow(frame, [point for line in lines[1:] for point in _points_along(line.points)], words)
    lines += arrow
    texts.append(north)
    for curve, parts in shown:
        text, leader = _month_text(curve, parts, frame, texts, words)
        texts.append(text)
        lines += leader
    paths = [point for line in lines[1:] for point in _points_along(line.points)]
    texts += _hour_texts(hours, clock, frame, texts, paths)
    drawn = {id(curve) for curve, _ in shown}
    return LevelTarget(
        drawing=Drawing(name="level-target", lines=tuple(lines), dots=dots, texts=tuple(texts)),
        window=(frame[0], frame[1], frame[2] + edge, frame[3]),
        pin=pin,
        curves=curves,
        missing=tuple(curve.date for curve in curves if id(curve) not in drawn),
    )


def _edge(half: Sequence[int], words: TemplateWords) -> float:
    """Width of the strip at the right of the frame, for the months [mm]."""
    told = [_day(dt.date(2000, month, DAY_OF_MONTH), words) for month in half]
    return 2.0 * BESIDE + max(typeset.width(day, READ) for day in told)


def _frame(noons: tuple[float, float], pin: float, room: tuple[float, float]) -> Box:
    """The frame of the curves: the foot so that the year's noon shadows lie in its middle."""
    low, high = noons
    middle = 0.5 * pin * (low + high)
    half_wide, half_high = 0.5 * room[0], 0.5 * room[1]
    middle = min(max(middle, 2.0 * CROSS - half_high), half_high - 2.0 * CROSS)
    return (-half_wide, middle - half_high, half_wide, middle + half_high)


def _corners(box: Box) -> tuple[Point, ...]:
    left, low, right, high = box
    return ((left, low), (right, low), (right, high), (left, high), (left, low))


def _foot() -> list[Line]:
    """The cross on which the pin stands."""
    return [
        Line(points=((-CROSS, 0.0), (CROSS, 0.0)), stroke="cut"),
        Line(points=((0.0, -CROSS), (0.0, CROSS)), stroke="cut"),
    ]


def _north_arrow(frame: Box, paths: Sequence[Point], words: TemplateWords) -> tuple[list[Line], Text]:
    """An arrow to true north, in the corner of the frame where it touches the fewest lines."""
    left, low, right, high = frame
    wide = 5.0 + typeset.width(words.true_north, READ, bold=True)
    places = [(x, y) for y in (high - 4.0, low + 4.0 + ARROW) for x in (left + 6.0, right - wide - 6.0)]
    x, top = min(
        places,
        key=lambda at: sum(
            at[0] - 3.0 <= px <= at[0] + wide + 3.0 and at[1] - ARROW - 2.0 <= py <= at[1] + 2.0 for px, py in paths
        ),
    )
    arrow = [
        Line(points=((x, top - ARROW), (x, top)), stroke="cut"),
        Line(points=((x - 1.5, top - 4.0), (x, top), (x + 1.5, top - 4.0)), stroke="cut"),
    ]
    return arrow, Text(at=(x + 4.0, top - 5.0), words=words.true_north, bold=True)


def _hour_lines(curves: Sequence[DayCurve], frame: Box) -> dict[int, list[Point]]:
    """The dots of each hour that lie in the frame, in order of the months."""
    found: dict[int, list[Point]] = {}
    for curve in curves:
        for hour, place in curve.hours:
            if inside(place, (frame[0] + DOT, frame[1] + DOT, frame[2] - DOT, frame[3] - DOT)):
                found.setdefault(hour, []).append(place)
    return dict(sorted(found.items()))


def _points_along(points: Sequence[Point]) -> list[Point]:
    """Points along a line, at most a millimetre apart."""
    found: list[Point] = []
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        count = max(1, math.ceil(math.dist((x0, y0), (x1, y1))))
        found += [(x0 + (x1 - x0) * k / count, y0 + (y1 - y0) * k / count) for k in range(count + 1)]
    return found


def _month_text(
    curve: DayCurve, parts: Sequence[tuple[Point, ...]], frame: Box, taken: Sequence[Text], words: TemplateWords
) -> tuple[Text, list[Line]]:
    """The date of a curve beside the frame, near the curve's end there, with a line to it where it had to give way."""
    end = max((point for part in parts for point in (part[0], part[-1])), key=lambda point: (point[0], point[1]))
    told = _day(curve.date, words)
    high = typeset.cap_height(READ)
    shifts = [0.0, *(sign * k for k in range(1, 120) for sign in (1.0, -1.0))]
    for shift in shifts:
        y = end[1] - 0.5 * high + shift
        if not frame[1] <= y <= frame[3] - high:
            continue
        text = Text(at=(frame[2] + BESIDE, y), words=told)
        if not any(overlap(text.box(), other.box(), 0.3) for other in taken):
            break
    else:  # more months than the edge holds: cannot be, as seven lines are 40 mm high
        text = Text(at=(frame[2] + BESIDE, end[1]), words=told)
    target = (frame[2] + 1.0, text.at[1] + 0.5 * high)
    leader = [] if math.dist(target, end) < 2.0 else [Line(points=(end, target), stroke="dotted")]
    return text, leader


def _hour_texts(
    hours: dict[int, list[Point]], clock: Clock, frame: Box, taken: Sequence[Text], paths: Sequence[Point]
) -> list[Text]:
    """The figures of each hour beside an end of its line, where they touch nothing, or as little as can be."""
    dots = np.array([point for run in hours.values() for point in run]).reshape(-1, 2)
    around = np.array(paths).reshape(-1, 2)
    placed: list[Text] = []
    for hour, run in hours.items():
        words = _hour_words(hour, clock)
        best: tuple[float, list[Text]] | None = None
        for end in (run[0], run[-1]):
            for dx, dy in HOUR_PLACES:
                texts = _stacked((end[0] + dx, end[1] + dy), words)
                boxes = [text.box() for text in texts]
                if any(b[0] < frame[0] or b[1] < frame[1] or b[2] > frame[2] or b[3] > frame[3] for b in boxes):
                    continue
                if any(overlap(box, other.box(), GAP) for box in boxes for other in (*taken, *placed)):
                    continue
                touched = sum(_count_in(dots, box, 1.0) + 0.2 * _count_in(around, box, 0.5) for box in boxes)
                cost = 10.0 * touched + math.hypot(dx, dy)
                if best is None or cost < best[0]:
                    best = (cost, texts)
        placed += best[1] if best is not None else []
    return placed


def _count_in(points: Floats, box: Box, room: float) -> int:
    """How many points (n, 2) lie in a box or closer to it than `room`."""
    low, high = np.array(box[:2]) - room, np.array(box[2:]) + room
    return int(np.count_nonzero(((points > low) & (points < high)).all(axis=1)))


def _hour_words(hour: int, clock: Clock) -> list[str]:
    if clock.other is None or not _whole_hours(clock):
        return [str(hour)]
    return [str(hour), f"({(hour + round(clock.shift.total_seconds() / 3600.0)) % 24})"]


def _stacked(middle: Point, words: Sequence[str]) -> list[Text]:
    """One or two lines of figures around a point, the first one bold."""
    high, step = typeset.cap_height(ACTED_ON), typeset.cap_height(ACTED_ON) + 1.6
    top = middle[1] + 0.5 * step * (len(words) - 1) - 0.5 * high
    return [
        Text(at=(middle[0], top - k * step), words=word, size=ACTED_ON, align="center", bold=k == 0)
        for k, word in enumerate(words)
    ]
