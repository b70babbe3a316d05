"""True north from the sun: a page that says when the shadow of a plumb line lies on the meridian."""

import calendar
import datetime as dt
from collections.abc import Sequence

from matplotlib.figure import Figure

from tracking.paper import typeset
from tracking.paper.page import MARGIN, Paper
from tracking.paper.template_words import TemplateWords
from tracking.paper.templates.level_target import offset_words
from tracking.paper.templates.pages import Heading, Page
from tracking.paper.templates.shapes import ACTED_ON, READ, Line, Text
from tracking.plans.shadow_clock import NoonShadow
from tracking.sky.magnetic import Declination, magnetic_declination
from tracking.sky.site import Site

DAYS_IN_A_ROW = 14
DAYS_OF_MONTH = (1, 11, 21)
TROPIC = 23.44
"""Latitude of the tropics [deg]: the obliquity of the ecliptic, Astronomical Almanac (value from memory)."""
ROW = 7.0
"""Height of a row [mm]."""
RIGHT_ENDS = (0.22, 0.37, 0.52, 0.62, 0.77, 0.89, 1.0)
"""Right ends of the columns over the width."""
CENTIMETRES = 100.0


def north_dates(first: dt.date) -> tuple[dt.date, ...]:
    """Fourteen days in a row, then the 1st, 11th and 21st of the months of a year."""
    row = [first + dt.timedelta(days=k) for k in range(DAYS_IN_A_ROW)]
    after = [
        dt.date(first.year + (first.month - 1 + k) // 12, (first.month - 1 + k) % 12 + 1, day)
        for k in range(13)
        for day in DAYS_OF_MONTH
    ]
    end = first + dt.timedelta(days=366 if calendar.isleap(first.year) else 365)
    return (*row, *(date for date in after if row[-1] < date <= end))


def declination_on(site: Site, date: dt.date) -> Declination | None:
    """The declination on a day; None beyond the magnetic model's years."""
    try:
        return magnetic_declination(site, date)
    except ValueError:
        return None


def north_pages(
    site: Site, shadows: Sequence[NoonShadow], *, place: str, paper: Paper, words: TemplateWords
) -> list[Figure]:
    """Pages with a row for each noon shadow, the worked example on the first; `place` is the site's name on paper."""
    title = words.north_title.format(place=place)
    first = Heading(title=title, lines=(_says(shadows, words),), paragraphs=_paragraphs(site, shadows, words))
    later = Heading(title=title)
    rest = list(shadows)
    groups: list[tuple[Heading, list[NoonShadow]]] = []
    while rest:
        heading = first if not groups else later
        page = Page(paper, words)
        room = page.head(heading, words.page.format(page=9, pages=9)) - page.foot() - ROW
        count = max(1, int(room / ROW))
        groups.append((heading, rest[:count]))
        rest = rest[count:]
    figures = []
    for number, (heading, rows) in enumerate(groups, 1):
        page = Page(paper, words)
        y = page.head(heading, words.page.format(page=number, pages=len(groups)))
        page.foot()
        _table(page, site, rows, y, words)
        figures.append(page.figure)
    return figures


def _says(shadows: Sequence[NoonShadow], words: TemplateWords) -> str:
    best = next((shadow for shadow in shadows if shadow.state == "shows"), None)
    if best is None or best.time is None:
        return words.no_shadow
    return words.north_says.format(
        date=_long_date(best.date, words),
        time=f"{best.time:%H:%M:%S}",
        offset=offset_words(best.time.utcoffset() or dt.timedelta(0)),
        direction=words.true_north if best.azimuth == 0.0 else words.true_south,
    )


def _paragraphs(site: Site, shadows: Sequence[NoonShadow], words: TemplateWords) -> tuple[str, ...]:
    """How to go about it, the worked example, and what is special at this place."""
    found = [words.north_how, words.north_last]
    best = next((shadow for shadow in shadows if shadow.state == "shows"), None)
    declination = declination_on(site, shadows[0].date)
    if best is not None and declination is not None:
        found.append(
            words.north_example.format(
                true=f"{best.azimuth:.1f}",
                compass=f"{declination.magnetic_azimuth(best.azimuth):.1f}",
                value=f"{abs(declination.value):.1f}",
                side=words.sides[0 if declination.value >= 0.0 else 1],
                reading=f"{declination.magnetic_azimuth(90.0):.1f}",
                error=f"{declination.standard_error:.1f}",
            )
        )
        if declination.compass_is_weak:
            found.append(words.north_weak)
    if any(declination_on(site, shadow.date) is None for shadow in shadows):
        found.append(words.north_no_compass)
    if abs(site.latitude) < TROPIC:
        found.append(words.north_tropics)
    return tuple(found)


def _long_date(date: dt.date, words: TemplateWords) -> str:
    return words.date.format(day=date.day, month=words.months[date.month - 1], year=date.year)


def _table(page: Page, site: Site, rows: Sequence[NoonShadow], top: float, words: TemplateWords) -> None:
    y = top - typeset.cap_height(READ)
    ends = [MARGIN + share * page.room for share in RIGHT_ENDS]
    for x, words_there in zip(ends, words.north_columns, strict=True):
        page.text(Text(at=(x, y), words=words_there, align="right"))
    page.strokes([Line(points=((MARGIN, y - 1.8), (page.width - MARGIN, y - 1.8)), stroke="cut")])
    for shadow in rows:
        y -= ROW
        for x, cell in zip(ends, _cells(site, shadow, words), strict=False):
            page.text(Text(at=(x, y), words=cell, size=ACTED_ON, align="right"))
        if shadow.state != "shows":
            told = words.north_states[("short", "low", "dark").index(shadow.state)]
            page.text(Text(at=(page.width - MARGIN, y), words=told, align="right"))
        page.strokes([Line(points=((MARGIN, y - 1.8), (page.width - MARGIN, y - 1.8)), stroke="thin")])


def _cells(site: Site, shadow: NoonShadow, words: TemplateWords) -> list[str]:
    """A row's cells; those of the angles are left out where the shadow does not show north."""
    day = f"{shadow.date.day} {words.short_months[shadow.date.month - 1]} {shadow.date.year}"
    if shadow.state != "shows" or shadow.time is None:
        return [day]
    declination = declination_on(site, shadow.date)
    return [
        day,
        f"{shadow.time:%H:%M:%S}",
        offset_words(shadow.time.utcoffset() or dt.timedelta(0)),
        f"{shadow.azimuth:.0f}°",
        "-" if declination is None else f"{declination.magnetic_azimuth(shadow.azimuth):.1f}°",
        f"{CENTIMETRES * shadow.length:.0f} cm",
        f"{shadow.drift:.1f}°",
    ]
