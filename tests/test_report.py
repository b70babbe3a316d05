"""The page of `focalrow report`: complete by itself, and shown without fault by a real browser."""

import re
import shutil
import subprocess
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from conftest import Run
from matplotlib.figure import Figure

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


@pytest.mark.long
def test_report_in_a_browser(focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path) -> None:
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        pytest.skip("needs chromium")
    out = tmp_path / "report"
    run = focalrow("report", simple_scene, "--out", out, "--date", "2026-06-21", "--rays", "65536")
    assert run.status == 0, run.err
    text = (out / "report.html").read_text(encoding="utf-8")
    found = check_page(text)
    assert sum(tag == "img" for tag, _ in found) == 8
    for words in ("Concentrated light burns", "Left out in this version", "mount.lens_height", "--seed 0", "SHA-256"):
        assert words in text
    probed = tmp_path / "probed.html"
    probed.write_text(text.replace("</body>", PROBE + "</body>"), encoding="utf-8")
    for width in (500, 1280):
        done = browse(browser, tmp_path, f"--window-size={width},900", "--dump-dom", probed.as_uri())
        title = re.search(r"<title>width (\d+) of (\d+) images (\w+)", done.stdout)
        assert title is not None, done.stderr
        assert int(title[1]) <= int(title[2])
        assert title[3] == "true"
        assert "CONSOLE" not in done.stderr
    # A browser's window is never narrower than 500 px; a frame of 390 px shows what a telephone shows.
    frame = tmp_path / "frame.html"
    check = (
        "<body><iframe id=f style='width:390px;height:800px;border:0' src=probed.html></iframe><script>"
        "const frame = document.getElementById('f');"
        "onload = () => setTimeout(() => { document.title = frame.contentDocument.title; }, 500);"
        "</script>"
    )
    frame.write_text(f"<!DOCTYPE html><title>x</title>{check}", encoding="utf-8")
    done = browse(
        browser, tmp_path, "--allow-file-access-from-files", "--virtual-time-budget=8000", "--dump-dom", frame.as_uri()
    )
    title = re.search(r"<title>width (\d+) of (\d+) images (\w+)", done.stdout)
    assert title is not None, done.stdout[:500]
    assert int(title[1]) <= 390  # a scroll bar at the side takes some of it
    assert title.group(2, 3) == ("390", "true")
    pdf = tmp_path / "page.pdf"
    browse(browser, tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", (out / "report.html").as_uri())
    assert pdf.read_bytes().startswith(b"%PDF-")


def browse(browser: str, home: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """A run of the browser without a window and without a network, with a profile of its own."""
    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    flags.append("--enable-logging=stderr")
    return subprocess.run(
        [browser, *flags, f"--user-data-dir={home / 'profile'}", *arguments],
        check=True, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
