"""The printed sheet of a day's settings: large black type, one box to tick for each move, cautions on every page."""

import datetime as dt
import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Literal

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font
from matplotlib.patches import Circle, Polygon, Rectangle

from tracking.paper.words import WORDS, Words
from tracking.plans.moves import MovesPlan, Stretch, mount_axes
from tracking.scenefile import SceneFile
from tracking.sky.magnetic import Declination
from tracking.sky.sunpath import SunPath

Paper = Literal["A4", "Letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height [mm]: ISO 216, and ANSI/ASME Y14.1 (values from memory, to be confirmed)."""
MM_PER_INCH, POINTS_PER_INCH = 25.4, 72.0
MARGIN = 12.0
"""White edge that any printer keeps [mm]: common practice, no source."""
ACTED_ON, READ = 15.0, 11.0
"""Type of what is acted on and of the rest [pt]: readable at arm's length in the sun. Common practice, no source."""
TITLE = 20.0
LINE = 1.35
"""Distance of lines over size of type."""
ROW = 8.2
"""Height of a row of the table [mm]."""
PICTURE = 24.0
"""Side of a picture of the order of work [mm]."""
SUN_WIDTH, SUN_HEIGHT = 66.0, 40.0
HIGHEST = 90.0


@dataclass(frozen=True, kw_only=True, slots=True)
class SheetInput:
    """What a sheet shows. `declination` is None beyond the magnetic model's years; `valid` first and last day."""

    scene_file: SceneFile
    plan: MovesPlan
    path: SunPath
    valid: tuple[dt.date, dt.date]
    declination: Declination | None


class MissingGlyphError(ValueError):
    """A letter that the sheet's type does not have."""


@functools.cache
def _font(weight: str) -> FT2Font:
    return FT2Font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))


@functools.cache
def _known_letters(weight: str) -> frozenset[int]:
    return frozenset(_font(weight).get_charmap())


@functools.cache
def _width(text: str, size: float, weight: str = "normal") -> float:
    """Width of a line [mm]."""
    font = _font(weight)
    missing = sorted({letter for letter in text if ord(letter) not in _known_letters(weight)})
    if missing:
        raise MissingGlyphError(f'the sheet\'s type has no glyph for "{"".join(missing)}" in "{text}".')
    font.set_size(size, POINTS_PER_INCH)
    font.set_text(text)
    return float(font.get_width_height()[0]) / 64.0 / POINTS_PER_INCH * MM_PER_INCH


def _wrapped(text: str, size: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and _width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


class _Page:
    """A page with its own scale in millimetres, the origin at the upper left, y downward."""

    def __init__(self, paper: Paper) -> None:
        self.width, self.height = PAPERS[paper]
        self.figure = Figure(figsize=(self.width / MM_PER_INCH, self.height / MM_PER_INCH))
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, self.width)
        self.axes.set_ylim(self.height, 0.0)
        self.axes.set_axis_off()
        self.room = self.width - 2.0 * MARGIN

    def text(self, x: float, y: float, words: str, size: float, *, bold: bool = False, align: str = "left") -> None:
        weight = "bold" if bold else "normal"
        _width(words, size, weight)  # a missing glyph is an error
        self.axes.text(
            x,
            y,
            words.replace("$", r"\$"),
            fontsize=size,
            family="DejaVu Sans",
            weight=weight,
            ha=align,
            va="baseline",
            color="black",
        )

    def paragraph(self, y: float, words: str, size: float, room: float) -> float:
        """Write lines from the baseline y on; the baseline of the next."""
        for line in _wrapped(words, size, room):
            self.text(MARGIN, y, line, size)
            y += _leading(size)
        return y

    def line(self, x: Sequence[float], y: Sequence[float], width: float = 1.2) -> None:
        self.axes.plot(x, y, color="black", linewidth=width, solid_capstyle="round")

    def arrow(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.axes.annotate("", xy=end, xytext=start, arrowprops={"arrowstyle": "-|>", "color": "black", "lw": 1.4})


def _leading(size: float) -> float:
    return size * LINE / POINTS_PER_INCH * MM_PER_INCH


def sheet_pages(data: SheetInput, *, paper: Paper = "A4", language: str = "en") -> list[Figure]:
    """The pages of a day's sheet as figures of true size.

    A day on which the clock changes makes two sheets, each with its own offset from UTC in its title.

    Raises
    ------
    MissingGlyphError
        If the name of the place has a letter that the type lacks.
    """
    words = WORDS[language]
    groups = [
        list(group)
        for _, group in itertools.groupby(data.plan.stretches, key=lambda stretch: stretch.start.utcoffset())
    ] or [[]]
    parts = [part for group in groups for part in _parts(data, group, paper, words)]
    return [_page(data, part, paper, words, number, len(parts)) for number, part in enumerate(parts, 1)]


Row = tuple[Stretch, dt.datetime | None]
"""A stretch, and until when the lens stays covered after it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Part:
    rows: list[Row]
    first: bool
    offset: str


def _parts(data: SheetInput, stretches: list[Stretch], paper: Paper, words: Words) -> list[_Part]:
    """Rows cut into pages."""
    rows: list[Row] = []
    for stretch, after in itertools.zip_longest(stretches, stretches[1:]):
        covered = after.start if after is not None and after.start > stretch.until else None
        rows.append((stretch, covered))
    offset = _offset(stretches[0].start) if stretches else ""
    parts: list[_Part] = []
    while rows or not parts:
        page = _Page(paper)
        top = _head(page, data, _Part(rows=[], first=not parts, offset=offset), words, 1, 1)
        space = page.height - MARGIN - _foot_height(page, words) - top - 2.0 * ROW
        taken = 0
        while taken < len(rows) and (space := space - ROW * (1 if rows[taken][1] is None else 2)) >= 0.0:
            taken += 1
        parts.append(_Part(rows=rows[:taken], first=not parts, offset=offset))
        rows = rows[taken:]
    return parts


def _offset(time: dt.datetime) -> str:
    return f"{time:%z}"[:3] + ":" + f"{time:%z}"[3:5]


def _date(words: Words, day: dt.date) -> str:
    return words.date.format(day=day.day, month=words.months[day.month - 1], year=day.year)


def _page(data: SheetInput, part: _Part, paper: Paper, words: Words, number: int, pages: int) -> Figure:
    page = _Page(paper)
    top = _head(page, data, part, words, number, pages)
    _table(page, data, part.rows, top + ROW, words)
    _foot(page, words)
    return page.figure


def _head(page: _Page, data: SheetInput, part: _Part, words: Words, number: int, pages: int) -> float:
    """Title and what holds for the whole sheet; where the table may begin [mm]."""
    plan, site = data.plan, data.scene_file.site
    y = MARGIN + 7.0
    title = f"{words.title}: {site.name}" if site.name else words.title
    count = words.page.format(page=number, pages=pages)
    room = page.room - _width(count, READ) - 6.0
    for line in _wrapped(title, TITLE, room):
        page.text(MARGIN, y, line, TITLE, bold=False)
        y += _leading(TITLE)
    page.text(page.width - MARGIN, MARGIN + 7.0, count, READ, align="right")
    page.text(MARGIN, y, _date(words, plan.date), ACTED_ON + 1.0, bold=True)
    y += _leading(ACTED_ON + 1.0)
    if part.offset:
        page.text(MARGIN, y, words.clock.format(offset=part.offset), ACTED_ON)
        y += _leading(ACTED_ON)
    if not part.first:
        return y
    sun_top = y - _leading(ACTED_ON)
    first, last = data.valid
    side = page.room - SUN_WIDTH - 6.0
    valid = (
        words.valid_one
        if first == last
        else words.valid.format(first=_short_date(words, first), last=_short_date(words, last))
    )
    for line in _wrapped(valid, ACTED_ON, side):
        page.text(MARGIN, y, line, ACTED_ON)
        y += _leading(ACTED_ON)
    if plan.stretches:
        useful = words.useful.format(first=f"{plan.stretches[0].start:%H:%M}", last=f"{plan.stretches[-1].until:%H:%M}")
        for line in _wrapped(useful, ACTED_ON, side):
            page.text(MARGIN, y, line, ACTED_ON)
            y += _leading(ACTED_ON)
    y += 1.0
    least = min((stretch.least_share for stretch in plan.stretches), default=0.0)
    share = plan.share if plan.share is not None and not plan.short_minutes else least
    y = page.paragraph(y, words.shares.format(share=f"{100.0 * share:.0f}", moves=plan.moves), READ, side)
    y = page.paragraph(y, words.ahead, READ, side)
    y = page.paragraph(y, _azimuth_words(data, words), READ, side)
    _sun_picture(page, data, page.width - MARGIN - SUN_WIDTH, sun_top)
    y = max(y, sun_top + SUN_HEIGHT + 8.0) + 2.0
    y = _order(page, y, words)
    return page.paragraph(y, words.night, READ, page.room) - 1.0


def _short_date(words: Words, day: dt.date) -> str:
    return f"{day.day} {words.months[day.month - 1]}"


def _azimuth_words(data: SheetInput, words: Words) -> str:
    mount = data.scene_file.mount
    if mount.kind == "tilt" and mount.facing is not None:
        return words.facing.format(azimuth=f"{mount.facing:g}")
    if mount.kind != "swivel-tilt":
        return ""
    if data.declination is None:
        return words.no_compass
    reading = data.declination.magnetic_azimuth(90.0)
    return words.compass_example.format(reading=f"{reading:.0f}", error=f"{data.declination.standard_error:.1f}")


def _columns(data: SheetInput, words: Words) -> list[str]:
    mount = data.scene_file.mount
    polar = mount.kind == "polar"
    tilts, swivels = mount_axes(mount)
    columns = [words.set_at, words.good_until]
    if tilts:
        columns.append(words.declination if polar else words.tilt)
    if swivels:
        columns.append(words.hour_angle if polar else words.swivel)
        if not polar and data.declination is not None:
            columns.append(words.compass)
    return [*columns, words.power]


def _cells(data: SheetInput, stretch: Stretch) -> list[str]:
    mount = data.scene_file.mount
    tilts, swivels = mount_axes(mount)
    cells = [f"{stretch.start:%H:%M}", f"{stretch.until:%H:%M}"]
    if tilts:
        cells.append(f"{stretch.setting.tilt:g}°")
    if swivels:
        polar = mount.kind == "polar"
        swivel = stretch.setting.swivel if polar else stretch.setting.swivel % 360.0
        cells.append(f"{swivel:g}°")
        if not polar and data.declination is not None:
            cells.append(f"{data.declination.magnetic_azimuth(swivel):.0f}°")
    return [*cells, f"{stretch.mean_power:.0f} W"]


def _table(page: _Page, data: SheetInput, rows: list[Row], y: float, words: Words) -> None:
    if not data.plan.stretches:
        page.text(MARGIN, y + ROW, words.nothing, ACTED_ON)
        return
    headings = _columns(data, words)
    box = 8.0
    pitch = (page.room - box) / len(headings)
    right = [MARGIN + box + pitch * (k + 1) for k in range(len(headings))]
    for x, heading in zip(right, headings, strict=True):
        size = ACTED_ON if _width(heading, ACTED_ON) <= pitch - 2.0 else READ
        page.text(x, y, heading, size, align="right")
    page.line([MARGIN, page.width - MARGIN], [y + 2.0, y + 2.0], 1.5)
    for stretch, covered in rows:
        y += ROW
        page.axes.add_patch(Rectangle((MARGIN, y - 4.6), 5.2, 5.2, fill=False, linewidth=1.3))
        for k, (x, cell) in enumerate(zip(right, _cells(data, stretch), strict=True)):
            page.text(x, y, cell, ACTED_ON, bold=k != 1 and k < len(headings) - 1, align="right")
        if covered is not None:
            y += ROW
            words_there = words.cover_until.format(time=f"{covered:%H:%M}")
            page.text(MARGIN + box + 8.0, y, f"{stretch.until:%H:%M}  {words_there}", ACTED_ON)
        page.line([MARGIN, page.width - MARGIN], [y + 2.1, y + 2.1], 0.4)


def _foot_lines(page: _Page, words: Words) -> list[str]:
    return _wrapped(" ".join(words.cautions), READ, page.room)


def _foot_height(page: _Page, words: Words) -> float:
    return len(_foot_lines(page, words)) * _leading(READ) + 3.0


def _foot(page: _Page, words: Words) -> None:
    """The cautions: they cannot be switched off."""
    y = page.height - MARGIN - _foot_height(page, words) + 3.0
    page.line([MARGIN, page.width - MARGIN], [y - 1.5, y - 1.5], 1.5)
    for line in _foot_lines(page, words):
        y += _leading(READ)
        page.text(MARGIN, y - 1.5, line, READ)


def _sun_picture(page: _Page, data: SheetInput, x: float, y: float) -> None:
    """The sun's way over the sky, east in the middle of it or wherever it goes, with the moves on it."""
    path, site = data.path, data.scene_file.site
    # The sky is cut where the sun is at midnight: behind north for the north, behind south for the south.
    start = 180.0 if site.latitude < 0.0 else 0.0

    def place(azimuth: float, elevation: float) -> tuple[float, float]:
        return (
            x + ((azimuth - start) % 360.0) / 360.0 * SUN_WIDTH,
            y + SUN_HEIGHT * (1.0 - elevation / HIGHEST),
        )

    page.line([x, x + SUN_WIDTH], [y + SUN_HEIGHT] * 2, 1.2)
    for azimuth, letter in ((90.0, "90°"), (180.0, "180°"), (270.0, "270°"), (0.0, "0°")):
        if azimuth != start:
            at, _ = place(azimuth, 0.0)
            page.line([at, at], [y + SUN_HEIGHT, y + SUN_HEIGHT - 1.5])
            page.text(at, y + SUN_HEIGHT + 5.0, letter, READ, align="center")
    up = [(float(a), float(e)) for a, e in zip(path.azimuth, path.elevation, strict=True) if e >= 0.0]
    runs: list[list[tuple[float, float]]] = []
    for here in itertools.starmap(place, up):
        if not runs or abs(here[0] - runs[-1][-1][0]) > SUN_WIDTH / 2.0:  # over the edge of the picture
            runs.append([])
        runs[-1].append(here)
    for run in runs:
        page.line([at[0] for at in run], [at[1] for at in run], 1.6)
    seconds = path.times_utc.astype("datetime64[s]").astype("int64").tolist()
    by_minute = dict(zip(seconds, zip(path.azimuth.tolist(), path.elevation.tolist(), strict=True), strict=True))
    for stretch in data.plan.stretches:
        sun = by_minute.get(int(stretch.start.timestamp()))
        if sun is not None:
            page.axes.add_patch(Circle(place(*sun), 0.9, color="black"))


def _order(page: _Page, y: float, words: Words) -> float:
    """Five pictures of the order of work; the baseline of what comes next."""
    pitch = page.room / len(words.order)
    for k, caption in enumerate(words.order):
        x = MARGIN + k * pitch + 0.5 * (pitch - PICTURE)
        page.axes.add_patch(Rectangle((x, y), PICTURE, PICTURE * 0.75, fill=False, linewidth=0.8))
        _PICTURES[k](page, x + 0.5 * PICTURE, y + 0.375 * PICTURE)
        page.text(x + 0.5 * PICTURE, y + PICTURE * 0.75 + 5.0, f"{k + 1} {caption}", READ, align="center")
    return y + PICTURE * 0.75 + 5.0 + _leading(READ)


def _lens(page: _Page, x: float, y: float) -> None:
    page.line([x - 7.0, x + 7.0], [y - 1.0, y - 1.0], 2.2)
    page.axes.add_patch(Circle((x, y + 6.0), 1.3, fill=False, linewidth=1.4))


def _draw_cover_on(page: _Page, x: float, y: float) -> None:
    _lens(page, x, y)
    page.axes.add_patch(Rectangle((x - 8.0, y - 3.6), 16.0, 2.0, color="black"))
    page.arrow((x, y - 8.0), (x, y - 3.4))


def _draw_fill(page: _Page, x: float, y: float) -> None:
    page.axes.add_patch(Rectangle((x - 2.5, y - 2.5), 5.0, 9.5, fill=False, linewidth=1.4))
    page.axes.add_patch(Rectangle((x - 2.5, y + 1.5), 5.0, 5.5, color="0.6"))
    page.arrow((x, y - 8.0), (x, y + 1.0))


def _draw_open(page: _Page, x: float, y: float) -> None:
    page.line([x - 8.0, x + 8.0], [y + 2.0, y + 2.0], 1.6)
    for sign in (-1.0, 1.0):
        page.axes.add_patch(
            Polygon([(x, y + 2.0), (x + sign * 4.0, y - 0.8), (x + sign * 4.0, y + 4.8)], fill=False, linewidth=1.4)
        )
    page.line([x, x], [y + 2.0, y - 4.0], 1.4)
    page.line([x - 3.0, x + 3.0], [y - 4.0, y - 4.0], 2.2)


def _draw_uncover(page: _Page, x: float, y: float) -> None:
    _lens(page, x - 2.0, y)
    page.axes.add_patch(Rectangle((x - 1.0, y - 5.6), 9.0, 2.0, color="black"))
    page.arrow((x - 6.0, y - 4.6), (x - 1.0, y - 4.6))


def _draw_aim(page: _Page, x: float, y: float) -> None:
    page.axes.add_patch(Circle((x - 7.0, y - 5.5), 1.9, fill=False, linewidth=1.4))
    page.line([x - 3.0, x + 6.0], [y + 3.0, y - 3.5], 2.2)
    page.axes.add_patch(Circle((x + 5.0, y + 6.0), 1.3, fill=False, linewidth=1.4))
    page.arrow((x - 5.4, y - 4.2), (x + 1.0, y - 0.6))
    page.line([x + 1.8, x + 4.3], [y + 0.2, y + 4.8], 1.0)


_PICTURES = (_draw_cover_on, _draw_fill, _draw_open, _draw_uncover, _draw_aim)


def pdf_bytes(pages: Sequence[Figure], *, title: str, date: dt.date) -> bytes:
    """The pages as one PDF with its type embedded; the same pages give the same bytes."""
    import matplotlib as mpl

    out = BytesIO()
    made = dt.datetime.combine(date, dt.time(), tzinfo=dt.UTC)
    with (
        mpl.rc_context({"pdf.fonttype": 42}),
        PdfPages(out, metadata={"Title": title, "CreationDate": made, "ModDate": made}) as pdf,
    ):
        for page in pages:
            pdf.savefig(page)
    return out.getvalue()
