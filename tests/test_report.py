"""The page of `focalrow report`: complete by itself, and shown without fault by a real browser."""

import json
import re
import shutil
import subprocess
import unicodedata
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from conftest import Run
from matplotlib.figure import Figure
from pypdf import PdfReader

from raytrace.mesh import lens_solid, viewer_html
from raytrace.scene import Lens
from tracking.paper import style
from tracking.paper.reach_figure import LINES
from tracking.paper.report import Section, Table, page
from tracking.paper.style import Picture

PROBE = """<script>
window.addEventListener("load", () => {
  const images = [...document.images].every((image) => image.complete && image.naturalWidth > 100);
  document.title = "width " + document.documentElement.scrollWidth + " of " + window.innerWidth + " images " + images;
});
</script>"""


class Tags(HTMLParser):
    """Counts tags and keeps attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def small_page() -> str:
    picture = Picture(name="a", title="A", alt="It <rises>.", figure=Figure(figsize=(4, 2)), numbers={})
    table = Table(caption="Powers & more", heading=("Tube", "W"), rows=(("1", "20"), ("2", "21")))
    return page("Title", "Below", [Section(title="One", tables=(table,), pictures=(picture,), typed="a --b")])


def check_page(text: str) -> list[tuple[str, dict[str, str | None]]]:
    tags = Tags()
    tags.feed(text)
    images = [attributes for tag, attributes in tags.found if tag == "img"]
    assert images
    assert all((a["src"] or "").startswith("data:image/png;base64,") and a["alt"] for a in images)
    assert all(a.get("scope") in {"col", "row"} for tag, a in tags.found if tag == "th")
    assert sum(tag == "table" for tag, _ in tags.found) == sum(tag == "caption" for tag, _ in tags.found)
    assert not re.search(r"(?:src|href)=\"(?!data:|#)", text)
    assert "nan" not in re.findall(r">\s*(nan|inf)\s*<", text)
    return tags.found


def test_page_is_complete_by_itself_with_marked_headers_and_texts_for_images() -> None:
    text = small_page()
    check_page(text)
    assert 'alt="It &lt;rises&gt;."' in text
    assert "Powers &amp; more" in text


def relative_luminance(colour: str) -> float:
    """WCAG 2.1, definition of relative luminance."""
    digits = colour * 2 if len(colour) == 3 else colour
    parts = [int(digits[k : k + 2], 16) / 255.0 for k in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_colours_of_letters_have_the_contrast_of_level_aa() -> None:
    text = small_page()
    letters = set(re.findall(r"[{; ]color: #([0-9a-f]{6}|[0-9a-f]{3})\b", text))
    assert len(letters) >= 4
    darkest_ground = relative_luminance("e8e8e8")  # of the grounds white, #f2f2f2 and #e8e8e8
    for colour in letters:
        # WCAG 2.1, 1.4.3: at least 4.5:1 for letters of any size.
        assert (darkest_ground + 0.05) / (relative_luminance(colour) + 0.05) >= 4.5, colour


def test_lines_of_pictures_stand_out_from_the_page_and_differ_without_colour() -> None:
    # WCAG 2.1, 1.4.11: parts of a picture that must be seen have 3:1 to what is beside them.
    for colour in style.LINE_COLOURS:
        assert 1.05 / (relative_luminance(colour.removeprefix("#").lower()) + 0.05) >= 3.0, colour
    assert len({dashes for _, dashes, _ in LINES}) == len({marker for *_, marker in LINES}) == len(LINES)


@pytest.fixture
def report_folder(focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path) -> Path:
    """A report on the small scene, made as a user makes it."""
    out = tmp_path / "report"
    run = focalrow("report", simple_scene, "--out", out, "--date", "2026-06-21", "--rays", "65536")
    assert run.status == 0, run.err
    return out


@pytest.mark.long
def test_report_says_what_the_commands_say_and_shows_well_in_a_browser(
    focalrow: Callable[..., Run], simple_scene: Path, report_folder: Path, tmp_path: Path
) -> None:
    text = (report_folder / "report.html").read_text(encoding="utf-8")
    found = check_page(text)
    assert sum(tag == "img" for tag, _ in found) >= 12  # eight of light and sky, four of the year
    for words in (
        "Concentrated light burns", "mount.lens_height", "boiler.", "--seed 0", "SHA-256", "sheet-A4.pdf",
        "Stray light", "How sure each number is", "The sheet the wrong way round",
    ):  # fmt: skip
        assert words in text.replace("<wbr>", "")
    for paper, size in (("A4", (595.3, 841.9)), ("Letter", (612.0, 792.0))):  # ISO 216, ANSI/ASME Y14.1, in points
        page = PdfReader(report_folder / f"sheet-{paper}.pdf").pages[0]
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.2)
    numbers = json.loads((report_folder / "report.json").read_text(encoding="utf-8"))
    check_numbers(focalrow, simple_scene, numbers, text.replace("<wbr>", ""))
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    check_in_browser(browser, text, tmp_path)
    check_print(browser, text, tmp_path)


def check_numbers(focalrow: Callable[..., Run], scene: Path, numbers: dict[str, Any], text: str) -> None:
    """The report's numbers are those of the other commands, and its page shows them."""

    def told(*arguments: str) -> Any:  # noqa: ANN401  what JSON holds
        run = focalrow(arguments[0], scene, *arguments[1:], "--json")
        assert run.status == 0, run.err
        return json.loads(run.out)

    assert numbers["light"] == told("light", "--rays", "65536")
    day = told("day", "--date", "2026-06-21")
    assert numbers["day"]["instants"] == day["instants"]
    assert numbers["day"]["plan"]["moves"] == day["plan"]["moves"]
    year = told("year", "--year", "2026", "--step", "1 h")
    assert numbers["year"] == year
    stray = told("stray", "--date", "2026-06-21", "--step", "5 min")
    assert numbers["stray"] == stray
    height = numbers["fit"]["height"]
    assert 0.35 * 0.5 <= height["height_m"]["value"] <= 0.5  # of the focal length: the least that is tried, and all
    cost = numbers["wrong_way"]
    assert cost["right"]["grooves_toward"] == "tubes"
    # The same hours and rays as for the heights: at the scene's own the sheet as it hangs absorbs the same.
    assert cost["right"]["absorbed_kwh"] == height["own"]["absorbed_kwh"]
    assert cost["right"]["best_height_m"] == height["height_m"]
    lost = 1.0 - cost["wrong"]["absorbed_kwh"]["value"] / cost["right"]["absorbed_kwh"]["value"]
    assert cost["loss"]["value"] == pytest.approx(lost)
    verb = "loses {:.2f} %" if lost >= 0.0 else "absorbs {:.2f} %"
    shown = [
        f"the other way round {verb.format(100.0 * abs(lost))}",
        f"<td>{cost['wrong']['absorbed_kwh']['value']:.1f}</td>",
        "At Test Field (40 deg north, 3 deg west)",
        f"{day['totals']['absorbed_kwh']:.2f} kWh",
        f"{year['year_total']['absorbed_kwh']:.1f}</td>",
        f"{year['year_total']['distillate_l']:.1f} L",
        f"{1e3 * height['height_m']['value']:.0f} mm",
        # What the pictures of the year say.
        f"{max(month['absorbed_kwh'] for month in year['months']):.1f} kWh and",
        f"Steps down from {year['year_total']['aperture_kwh']:.0f} kWh on the aperture in the year",
        *(f"<td>{month['absorbed_kwh']:.1f}</td>" for month in year["months"]),
        *(f"<td>{each['worst']['peak_flux_w_m2'] / 1e3:.1f}</td>" for each in stray["surfaces"] if each["worst"]),
        *(f'<th scope="row">{move["set_at_local"][11:16]}</th>' for move in day["plan"]["moves"]),
        *(f"<td>{tube['absorbed_w']:.1f}</td>" for tube in numbers["light"]["tubes"]),
    ]
    for words in shown:
        assert words in text, words


def check_in_browser(browser: str, text: str, home: Path) -> None:
    probed = home / "probed.html"
    probed.write_text(text.replace("</body>", PROBE + "</body>"), encoding="utf-8")
    for width in (500, 1280):
        done = browse(browser, home, f"--window-size={width},900", "--dump-dom", probed.as_uri())
        title = re.search(r"<title>width (\d+) of (\d+) images (\w+)", done.stdout)
        assert title is not None, done.stderr
        assert int(title[1]) <= int(title[2])
        assert title[3] == "true"
        assert "CONSOLE" not in done.stderr
    # A browser's window is never narrower than 500 px; a frame of 390 px shows what a telephone shows.
    frame = home / "frame.html"
    check = (
        "<body><iframe id=f style='width:390px;height:800px;border:0' src=probed.html></iframe><script>"
        "const frame = document.getElementById('f');"
        "onload = () => setTimeout(() => { document.title = frame.contentDocument.title; }, 500);"
        "</script>"
    )
    frame.write_text(f"<!DOCTYPE html><title>x</title>{check}", encoding="utf-8")
    done = browse(
        browser, home, "--allow-file-access-from-files", "--virtual-time-budget=8000", "--dump-dom", frame.as_uri()
    )
    title = re.search(r"<title>width (\d+) of (\d+) images (\w+)", done.stdout)
    assert title is not None, done.stdout[:500]
    assert int(title[1]) <= 390  # a scroll bar at the side takes some of it
    assert title.group(2, 3) == ("390", "true")


def check_print(browser: str, text: str, home: Path) -> None:
    """On both papers a short table stands on one page, with its caption, and its last column is not cut off."""
    for paper, width in (("A4", 595.0), ("letter", 612.0)):
        page = home / f"{paper}.html"
        page.write_text(text.replace("@page { margin", f"@page {{ size: {paper}; margin"), encoding="utf-8")
        pdf = home / f"{paper}.pdf"
        browse(browser, home, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.as_uri())
        pages = PdfReader(pdf).pages
        assert float(pages[0].mediabox.width) == pytest.approx(width, abs=1.0)
        texts = [unicodedata.normalize("NFKC", each.extract_text()) for each in pages]  # takes ligatures apart
        whole = [t for t in texts if "Where the aperture power goes" in t]
        assert len(whole) == 1
        assert "reflected by the lens" in whole[0]
        assert "reflected by the absorber" in whole[0]
        months = next(t for t in texts if "Distillate [L]" in t and "Months" in t)
        assert all(name in months for name in ("Jan", "Dec", "[L/m2]"))


@pytest.mark.long
def test_a_table_of_many_columns_slides_within_its_frame(tmp_path: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    picture = Picture(name="a", title="A", alt="It rises.", figure=Figure(figsize=(4, 2)), numbers={})
    columns = ("End", *(f"column {k}" for k in range(30)))
    table = Table(caption="Wide", heading=columns, rows=(tuple("12345" for _ in columns),))
    text = page("Title", "Below", [Section(title="One", tables=(table,), pictures=(picture,))])
    assert '<div class="slide" tabindex="0" role="group" aria-label="Wide"><table' in text
    check_in_browser(browser, text, tmp_path)


@pytest.mark.long
def test_viewer_page_draws_in_a_browser_without_a_network(tmp_path: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    lens = Lens(width=0.3, length=0.4, focal_length=0.5, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.005)
    text = viewer_html([lens_solid(lens)], title="A lens")
    probe = PROBE.replace("width", "canvas").replace("document.documentElement.scrollWidth", CANVASES)
    file = tmp_path / "viewer.html"
    file.write_text(text.replace("</body>", probe + "</body>"), encoding="utf-8")
    # Without a graphics card the browser draws by its own means.
    done = browse(browser, tmp_path, "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
                  "--virtual-time-budget=5000", "--dump-dom", file.as_uri())  # fmt: skip
    title = re.search(r"<title>canvas (\d+) of", done.stdout)
    assert title is not None, done.stderr[-500:]
    assert title[1] == "1"
    assert "Uncaught" not in done.stderr
    assert "ERR_" not in done.stderr


CANVASES = 'document.querySelectorAll("canvas").length'


def browse(browser: str, home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A run of the browser without a window and without a network, with a profile of its own."""
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    flags.append("--enable-logging=stderr")
    return subprocess.run(
        [browser, *flags, f"--user-data-dir={home / 'profile'}", *arguments],
        check=True, capture_output=True, text=True, timeout=300,
    )  # fmt: skip


def test_report_refuses_what_it_cannot_write_before_it_works(
    focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path
) -> None:
    run = focalrow("report", simple_scene, "--out", tmp_path / "out", "--language", "la")
    assert run.status == 2
    assert "--language" in run.err
    assert "en, es, fr, pt" in run.err
    run = focalrow("report", simple_scene, "--out", simple_scene)
    assert run.status == 2
    assert "--out" in run.err
    assert not (tmp_path / "out").exists()


def test_a_short_table_stays_whole_and_long_keys_may_break() -> None:
    long = Table(caption="Keys", heading=("Key", "Value"), rows=tuple((f"lens.groove_{k}", "1") for k in range(40)))
    text = page("Title", "Below", [Section(title="One", tables=(long,)), Section(title="Two", typed="x")])
    assert "lens.<wbr>groove_<wbr>0" in text
    assert '<div class="slide"><table>\n<caption>Keys' in text
    assert 'class="short brief"' in small_page()  # of two rows with short names
    assert '<section aria-labelledby="part-2" class="short">' in text
