"""The printed sheet: large type, nothing over anything else, nothing cut off, cautions on every page."""

import dataclasses
import datetime as dt
import io
import itertools
import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Annotation

from tracking.cli.day_moves import moves_text
from tracking.mount import Setting
from tracking.paper.season_sheet import SeasonInput, season_pages
from tracking.paper.sheet import ACTED_ON, MissingGlyphError, Paper, SheetInput, pdf_bytes, sheet_pages
from tracking.paper.words import WORDS
from tracking.plans.marks import MINUTE
from tracking.plans.moves import MovesPlan, Stretch
from tracking.plans.season import KeptDay, Piece
from tracking.plans.validity import Validity
from tracking.scenefile import read_scene
from tracking.sky.magnetic import magnetic_declination
from tracking.sky.sunpath import clock_multiples, sun_path

DAY = dt.date(2026, 3, 20)


def sheet_input(scene: Path, *, rows: int = 40, date: dt.date = DAY, gap: int = 0, first: int = 7) -> SheetInput:
    """A plan of our own invention, with `gap` minutes between rows; the longest texts and numbers that may come."""
    scene_file = read_scene(scene)
    zone = scene_file.site.zone
    start = dt.datetime.combine(date, dt.time(first), tzinfo=zone).astimezone(dt.UTC)
    stretches = tuple(
        Stretch(
            start=(start + 15 * k * MINUTE).astimezone(zone),
            until=(start + (15 * (k + 1) - gap) * MINUTE).astimezone(zone),
            setting=Setting(-22.5, 100.5 + 2.5 * k),
            least_share=0.9,
            least_power=1000.0,
            mean_power=1234.0,
        )
        for k in range(rows)
    )
    plan = MovesPlan(
        date=date,
        share=0.9,
        stretches=stretches,
        absorbed=1e7,
        perfect=1.1e7,
        habit=1e7,
        habit_moves=rows,
        short_minutes=0,
        ahead_minutes=0,
        tilt_step=2.5,
        swivel_step=2.5,
    )
    path = sun_path(scene_file.site, clock_multiples(zone, date, MINUTE))
    declination = magnetic_declination(scene_file.site, date)
    valid = Validity(first=date - dt.timedelta(3), last=date + dt.timedelta(5), least_share=0.86)
    return SheetInput(scene_file=scene_file, plan=plan, path=path, valid=valid, declination=declination)


def texts(page: Figure) -> list[str]:
    return [text.get_text() for text in page.axes[0].texts if not isinstance(text, Annotation)]


ALL_SHEETS = [("A4", "en"), ("Letter", "es"), ("A4", "fr"), ("Letter", "pt")]


def check_layout(page: Figure) -> None:
    """Nothing leaves the page, and no text lies over another."""
    renderer = FigureCanvasAgg(page).get_renderer()
    width, height = page.get_size_inches() * page.dpi
    drawn = [t for t in page.axes[0].texts if not isinstance(t, Annotation)]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in drawn if text.get_text()]
    for words, box in boxes:
        assert box.x0 > 0, words
        assert box.y0 > 0, words
        assert box.x1 < width, words
        assert box.y1 < height, words
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        # Boxes hold room for descenders above and below the letters: a pixel of common room is no contact.
        apart = a.x1 <= b.x0 + 1 or b.x1 <= a.x0 + 1 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
        assert apart, f"{one!r} over {other!r}"


@pytest.mark.parametrize(("paper", "language"), ALL_SHEETS)
def test_nothing_overlaps_and_nothing_is_cut_off(scene_path: Path, paper: Paper, language: str) -> None:
    for page in sheet_pages(sheet_input(scene_path, rows=22, gap=2), paper=paper, language=language):
        check_layout(page)


def season_input(scene: Path, *, rows: int, count: int) -> SeasonInput:
    """Fortnights of our own invention with the same rows, the lens covered after every second one."""
    data = sheet_input(scene, rows=rows, gap=1)
    pieces = []
    for k in range(count):
        first = DAY + 14 * k * dt.timedelta(1)
        days = tuple(
            KeptDay(
                date=first + n * dt.timedelta(1),
                least_share=0.85 - 0.01 * n,
                least_at=data.plan.stretches[0].start,
                lost_promise=0.0,
                absorbed=9e6,
                perfect=1e7,
            )
            for n in range(14)
        )
        pieces.append(Piece(first=first, last=first + 13 * dt.timedelta(1), plan=data.plan, days=days))
    return SeasonInput(scene_file=data.scene_file, pieces=tuple(pieces), declination=data.declination)


@pytest.mark.parametrize(("paper", "language"), ALL_SHEETS)
def test_a_season_fits_on_two_pages_where_nothing_overlaps(scene_path: Path, paper: Paper, language: str) -> None:
    pages = season_pages(season_input(scene_path, rows=5, count=7), paper=paper, language=language)
    assert len(pages) <= 2
    for page in pages:
        check_layout(page)
        for text in page.axes[0].texts:
            if not isinstance(text, Annotation):
                acted_on = text.get_text().endswith("°") or text.get_text()[:2].isdigit()
                assert float(text.get_fontsize()) >= (14.0 if acted_on and len(text.get_text()) < 7 else 11.0)
    assert "72 %" in " ".join(texts(pages[0]))  # the worst of all days
    assert WORDS[language].cautions[1].split()[0] in " ".join(texts(pages[-1]))


def test_a_long_table_goes_on_in_the_next_column_under_its_heading(simple_scene: Path) -> None:
    pages = season_pages(season_input(simple_scene, rows=60, count=1))
    printed = list(itertools.chain.from_iterable(texts(page) for page in pages))
    assert printed.count("20 March to 2 April") > 1
    assert sum(words.endswith("°") and words[0] == "-" for words in printed) == 60


@pytest.mark.parametrize(
    ("minutes", "told"),
    [(23.4, "after 23 min"), (0.0, "never be late"), (None, "for 2 h"), ("not known", "within minutes")],
)
def test_the_sheet_tells_of_the_walk_off(simple_scene: Path, minutes: float | str | None, told: str) -> None:
    walk_off = None if isinstance(minutes, str) else minutes
    data = dataclasses.replace(sheet_input(simple_scene, rows=3), watched=minutes != "not known", walk_off=walk_off)
    assert told in " ".join(texts(sheet_pages(data)[0]))


def test_type_is_large(simple_scene: Path) -> None:
    for page in sheet_pages(sheet_input(simple_scene)):
        for text in page.axes[0].texts:
            if isinstance(text, Annotation):
                continue
            assert float(text.get_fontsize()) >= 11.0
            if ":" in text.get_text() and text.get_text()[:2].isdigit():
                assert float(text.get_fontsize()) >= 14.0
    assert ACTED_ON >= 14.0


def test_each_move_has_its_row_and_each_page_its_cautions(simple_scene: Path) -> None:
    data = sheet_input(simple_scene)
    pages = sheet_pages(data)
    printed = list(itertools.chain.from_iterable(texts(page) for page in pages))
    for stretch in data.plan.stretches:
        assert f"{stretch.start:%H:%M}" in printed
    for page in pages:
        assert "Concentrated light burns" in " ".join(texts(page))
        assert "UTC+01:00" in " ".join(texts(page))


def test_a_day_on_which_the_clock_changes_is_split(simple_scene: Path) -> None:
    # The European Union's clocks go forward at 01:00 UTC on the last Sunday of March: Directive 2000/84/EC.
    pages = sheet_pages(sheet_input(simple_scene, rows=10, date=dt.date(2026, 3, 29), first=1))
    offsets = [next(words for words in texts(page) if "UTC" in words)[-9:] for page in pages]
    assert offsets == ["UTC+01:00", "UTC+02:00"]
    # The row that lies across the change stands on both sheets, each time on the clock of its sheet.
    assert "02:00" in texts(pages[0])
    assert "03:00" in texts(pages[1])


def test_each_time_of_a_day_with_a_clock_change_tells_its_clock(simple_scene: Path) -> None:
    data = sheet_input(simple_scene, rows=10, date=dt.date(2026, 3, 29), first=1)
    told = moves_text(data.scene_file, data.plan, None, width=100)
    assert "01:45 +0100  02:00 +0100" in told
    assert "03:00 +0200  03:15 +0200" in told
    usual = sheet_input(simple_scene, rows=10)
    assert "+0100" not in moves_text(usual.scene_file, usual.plan, None, width=100)


@pytest.mark.parametrize("date", [dt.date(2026, 6, 21), dt.date(2026, 12, 21)])
def test_the_suns_way_is_one_line_on_each_side_of_the_zenith(scene_path: Path, date: dt.date) -> None:
    """Between the tropics the sun stands in the north at noon on some days and in the south on others."""
    data = sheet_input(scene_path, date=date)
    (way,) = [line for line in sheet_pages(data)[0].axes[0].lines if is_the_suns_way(line)]
    assert len(way.get_xdata()) == sum(elevation >= 0.0 for elevation in data.path.elevation)


def is_the_suns_way(line: Line2D) -> bool:
    return len(line.get_xdata()) > 60  # a minute each; all else is straight


def test_the_compass_column_stays_out_where_the_model_does_not_know(simple_scene: Path) -> None:
    data = dataclasses.replace(sheet_input(simple_scene), declination=None)
    printed = texts(sheet_pages(data)[0])
    assert "compass" not in printed
    assert any("magnetic model" in words for words in printed)


def test_a_missing_glyph_is_an_error(simple_scene: Path) -> None:
    data = sheet_input(simple_scene)
    site = dataclasses.replace(data.scene_file.site, name="Field \u6c34")
    data = dataclasses.replace(data, scene_file=dataclasses.replace(data.scene_file, site=site))
    with pytest.raises(MissingGlyphError, match="no glyph"):
        sheet_pages(data)


def test_every_language_has_every_string() -> None:
    fields = [field.name for field in dataclasses.fields(WORDS["en"])]
    for words in WORDS.values():
        assert all(getattr(words, name) for name in fields)
        assert len(words.cautions) == len(WORDS["en"].cautions)
        assert len(words.months) == 12


def test_the_pdf_has_the_paper_size_and_the_same_bytes_each_time(simple_scene: Path) -> None:
    import pypdf

    data = sheet_input(simple_scene)
    content = pdf_bytes(sheet_pages(data), title="Sheet", date=DAY)
    assert content == pdf_bytes(sheet_pages(data), title="Sheet", date=DAY)
    reader = pypdf.PdfReader(io.BytesIO(content))
    box = reader.pages[0].mediabox
    assert float(box.width) == pytest.approx(210.0 / 25.4 * 72.0, abs=0.1)
    assert float(box.height) == pytest.approx(297.0 / 25.4 * 72.0, abs=0.1)
    assert "20 March 2026" in reader.pages[0].extract_text()


def printed_sizes(content: bytes) -> list[tuple[str, float]]:
    """Each piece of text of a PDF and its size [pt], as an independent reader finds them."""
    import pypdf

    found: list[tuple[str, float]] = []

    def note(text: str, page: list[float], line: list[float], _font: object, size: float) -> None:
        if text.strip():
            found.append((text.strip(), size * math.hypot(line[0], line[1]) * math.hypot(page[0], page[1])))

    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        page.extract_text(visitor_text=note)
    return found


def test_the_type_in_the_pdf_is_as_large_as_it_was_set(simple_scene: Path) -> None:
    day = pdf_bytes(sheet_pages(sheet_input(simple_scene, rows=22)), title="Day", date=DAY)
    season = pdf_bytes(season_pages(season_input(simple_scene, rows=5, count=7)), title="Season", date=DAY)
    for content in (day, season):
        sizes = printed_sizes(content)
        assert len(sizes) > 60
        assert min(size for _, size in sizes) == pytest.approx(11.0, abs=0.01)
        acted_on = [size for text, size in sizes if re.fullmatch(r"\d\d:\d\d|-?[\d.]+°", text)]
        azimuths_below_the_sun = [size for size in acted_on if size == pytest.approx(11.0, abs=0.01)]
        assert len(azimuths_below_the_sun) <= 7
        assert sum(size >= 14.0 for size in acted_on) > 60


def test_options_of_the_sheet_are_checked(focalrow: Callable[..., object], simple_scene: Path, tmp_path: Path) -> None:
    for wrong in (
        ("--sheet", tmp_path / "sheet.txt"),
        ("--paper", "A5"),
        ("--language", "xx"),
        ("--share", "1.5"),
        ("--moves", "0"),
        ("--lazy", "--moves", "3"),
        ("--compare", "--sheet", tmp_path / "sheet.pdf"),
        ("--compare", "--lazy"),
        ("--measured", tmp_path / "runs.csv", "--from", "2026-03-01", "--to", "2026-03-10"),
    ):
        run = focalrow("day", simple_scene, *wrong)
        assert getattr(run, "status") == 2, wrong  # noqa: B009
        assert "--" in getattr(run, "err")  # noqa: B009
