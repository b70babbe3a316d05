"""Full-size templates: the scale of PDF, SVG and DXF read back by other libraries; pages on which nothing collides."""

import contextlib
import dataclasses
import datetime as dt
import io
import itertools
import json
import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pypdf
import pytest
from conftest import ROOT, SIMPLE_SCENE, Run, flat_table
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from pypdf.generic import ContentStream

import tracking.paper.templates.folder as folder_module
from tracking.cli.main import main
from tracking.mount import Mount
from tracking.paper.page import MARGIN, PAPERS, Paper
from tracking.paper.template_words import TEMPLATE_WORDS
from tracking.paper.templates.clip import OVERLAP, clipped, tiling
from tracking.paper.templates.folder import TemplateSettings, template_files
from tracking.paper.templates.instruments import swivel_dial, tilt_quadrant
from tracking.paper.templates.marks import TICK
from tracking.paper.templates.pages import Heading, Page, tiled_pages
from tracking.paper.templates.pin_target import pin_target
from tracking.paper.templates.shapes import Arc, Drawing, Line
from tracking.paper.templates.side_view import side_view
from tracking.paper.typeset import lines_that_fit
from tracking.plans.shadow_gauge import loss_rings, relative_power
from tracking.scenefile import read_scene
from tracking.sky.magnetic import Declination

MM_PER_POINT = 25.4 / 72.0
"""ISO 32000-1:2008, 8.3.2.3: user space units are 1/72 inch by default."""
PRINTED = 0.1
"""What a template may be off over a ruler or a mark's spacing [mm]: as asked for."""
DATE = dt.date(2026, 3, 20)
RADIUS, STEP = 120.0, 10.0
WORDS = TEMPLATE_WORDS["en"]
Segment = tuple[float, float, float, float]
SVG = {"svg": "http://www.w3.org/2000/svg"}


@dataclasses.dataclass(frozen=True, kw_only=True)
class Made:
    """What one run of the command has written, and the pages of each PDF, by its title, before they were printed."""

    folder: Path
    numbers: dict[str, Any]
    pages: dict[str, list[Figure]]

    def read(self, name: str) -> str:
        return (self.folder / name).read_text(encoding="utf-8")

    def pdf(self, name: str) -> list[pypdf.PageObject]:
        return pdf_pages((self.folder / name).read_bytes())


@contextlib.contextmanager
def keeping_pages(*, printing: bool = True) -> Iterator[dict[str, list[Figure]]]:
    """Keeps the figures that are printed into PDF while the block runs; the response table is flat."""
    pages: dict[str, list[Figure]] = {}
    printed = folder_module.pdf_bytes

    def keep(figures: Sequence[Figure], *, title: str, date: dt.date) -> bytes:
        pages[title] = list(figures)
        return printed(figures, title=title, date=date) if printing else b""

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(folder_module, "pdf_bytes", keep)
        patch.setattr("tracking.response.kept_response_table", lambda _: flat_table(tubes=2))
        yield pages


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Templates of the simple scene, with marks, by the command."""
    place = tmp_path_factory.mktemp("scene")
    scene, out = place / "simple.toml", place / "paper"
    marks = f'tilt_marks = "{STEP:g} deg"\nswivel_marks = "10 deg"\n'
    scene.write_text(SIMPLE_SCENE + marks, encoding="utf-8")
    with keeping_pages() as pages:
        status = main(["draw", str(scene), "--templates", str(out), "--date", DATE.isoformat(), "--magnetic",
                       "--radius", f"{RADIUS:g} mm", "--pin", "60 mm", "--level-pin", "1.5 in"])  # fmt: skip
    assert status == 0
    numbers = json.loads((out / "templates.json").read_text(encoding="utf-8"))
    return Made(folder=out, numbers=numbers, pages=pages)


def segments_of(page: pypdf.PageObject) -> list[Segment]:
    """Straight pieces of all paths of a page [mm], from the operators of ISO 32000-1:2008, 8.5.2 and 8.4.4."""
    found: list[Segment] = []
    matrix, stack = np.eye(3), []
    here = start = (0.0, 0.0)

    def moved(x: float, y: float) -> tuple[float, float]:
        at = np.array([float(x), float(y), 1.0]) @ matrix * MM_PER_POINT
        return float(at[0]), float(at[1])

    contents = page.get_contents()
    assert contents is not None
    for operands, operator in ContentStream(contents, page.pdf).operations:
        if operator == b"q":
            stack.append(matrix)
        elif operator == b"Q":
            matrix = stack.pop()
        elif operator == b"cm":
            a, b, c, d, e, f = (float(value) for value in operands)
            matrix = np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]]) @ matrix
        elif operator == b"m":
            here = start = moved(*operands)
        elif operator == b"l":
            end = moved(*operands)
            found.append((*here, *end))
            here = end
        elif operator == b"h":
            found.append((*here, *start))
            here = start
    return found


def pdf_pages(content: bytes) -> list[pypdf.PageObject]:
    return list(pypdf.PdfReader(io.BytesIO(content)).pages)


def length(segment: Segment) -> float:
    return math.hypot(segment[2] - segment[0], segment[3] - segment[1])


def test_every_page_has_its_size_and_a_true_ruler(small: Made) -> None:
    names = sorted(path.name for path in small.folder.glob("*.pdf"))
    assert len(names) == 6
    for name in names:
        for page in small.pdf(name):
            # ISO 216: A4 is 210 by 297 mm.
            assert float(page.mediabox.width) * MM_PER_POINT == pytest.approx(210.0, abs=0.01)
            assert float(page.mediabox.height) * MM_PER_POINT == pytest.approx(297.0, abs=0.01)
            level = [s for s in segments_of(page) if abs(s[3] - s[1]) < 1e-6 and abs(s[0] - MARGIN) < 1e-3]
            assert any(length(s) == pytest.approx(100.0, abs=PRINTED / 10.0) for s in level), name
        for page in small.pdf(name)[::4]:  # reading text is slow: every fourth page
            told = page.extract_text()
            assert "Concentrated light burns" in told
            assert "100 mm" in told


def ticks(segments: Sequence[Segment], centre: tuple[float, float], radius: float) -> list[float]:
    """Bearings of the long marks [deg]: pieces of TICK length that begin on a circle and point to its centre."""
    bearings = []
    for x0, y0, x1, y1 in segments:
        for (ax, ay), (bx, by) in (((x0, y0), (x1, y1)), ((x1, y1), (x0, y0))):
            outer, inner = math.dist((ax, ay), centre), math.dist((bx, by), centre)
            if (
                abs(outer - radius) < 0.02
                and abs(outer - inner - TICK) < 0.02
                and abs(length((x0, y0, x1, y1)) - TICK) < 0.02
            ):
                bearings.append(math.degrees(math.atan2(ax - centre[0], ay - centre[1])))
    return sorted(bearings)


def test_spacing_of_marks_on_paper(small: Made) -> None:
    # Two marks 10 deg apart on a circle of 120 mm: a chord of 2 r sin(5 deg).
    chord = 2.0 * RADIUS * math.sin(math.radians(0.5 * STEP))
    spacings = []
    for page in small.pdf("tilt-quadrant.pdf")[1:]:
        # A mark is told by its length alone, its outer end is the first one that is drawn.
        ends = [s[:2] for s in segments_of(page) if abs(length(s) - TICK) < 0.005]
        for end in ends:
            nearest = min((math.dist(end, other) for other in ends if other != end), default=math.inf)
            spacings += [nearest] if nearest < 2.0 * chord else []
    assert len(spacings) >= 8
    assert spacings == pytest.approx([chord] * len(spacings), abs=PRINTED / 10.0)


def svg_segments(text: str) -> list[Segment]:
    """Pieces of all lines of an SVG [mm], y upward, after a check that one unit is a millimetre."""
    root = ET.fromstring(text)  # noqa: S314  our own file
    for size, span in zip(
        (root.attrib["width"], root.attrib["height"]), root.attrib["viewBox"].split()[2:], strict=True
    ):
        assert size.endswith("mm")
        assert float(size.removesuffix("mm")) == float(span)
    found = []
    for line in root.findall("svg:polyline", SVG):
        points = [tuple(map(float, pair.split(","))) for pair in line.attrib["points"].split()]
        found += [(a[0], -a[1], b[0], -b[1]) for a, b in itertools.pairwise(points)]
    return found


def dxf_segments(text: str) -> list[Segment]:
    """Pieces of all lines of a DXF, after a check that its unit is the millimetre."""
    document = ezdxf.read(io.StringIO(text))
    assert document.header["$INSUNITS"] == 4  # millimetres, by the DXF reference
    assert not document.audit().has_errors
    found = []
    for entity in document.modelspace():
        if entity.dxftype() == "LINE":
            found.append((entity.dxf.start.x, entity.dxf.start.y, entity.dxf.end.x, entity.dxf.end.y))
        elif entity.dxftype() == "LWPOLYLINE":
            points = [(p[0], p[1]) for p in entity.get_points()]
            found += [(*a, *b) for a, b in itertools.pairwise(points)]
    return found


@pytest.mark.parametrize("name", ["tilt-quadrant", "swivel-dial", "side-view", "pin-target", "level-target-1"])
def test_svg_and_dxf_hold_the_same_lengths(small: Made, name: str) -> None:
    of_svg = sorted(length(s) for s in svg_segments(small.read(f"{name}.svg")))
    of_dxf = sorted(length(s) for s in dxf_segments(small.read(f"{name}.dxf")))
    assert len(of_svg) == len(of_dxf) > 5
    assert np.abs(np.array(of_svg) - np.array(of_dxf)).max() < 0.003  # SVG is written to a micrometre


def test_svg_and_dxf_carry_the_cautions(small: Made) -> None:
    described = ET.fromstring(small.read("pin-target.svg")).findtext("svg:desc", namespaces=SVG)  # noqa: S314  our own
    properties = ezdxf.read(io.StringIO(small.read("pin-target.dxf"))).header.custom_vars
    for told in (described, properties.get("Cautions")):
        assert told is not None
        assert "Concentrated light burns" in told


def test_marks_of_svg_and_dxf_stand_at_their_angles(small: Made) -> None:
    expected = np.arange(0.0, 91.0, STEP)
    assert ticks(dxf_segments(small.read("tilt-quadrant.dxf")), (0.0, 0.0), RADIUS) == pytest.approx(expected)
    # An SVG begins at its corner: the centre is where the thin cross stands, found from the arc's own numbers.
    root = ET.fromstring(small.read("tilt-quadrant.svg"))  # noqa: S314  our own file
    arc = re.fullmatch(
        r"M ([\d.]+) ([\d.]+) A 120 120 0 0 0 ([\d.]+) ([\d.]+)",
        next(p.attrib["d"] for p in root.findall("svg:path", SVG) if " A 120 120 " in p.attrib["d"]),
    )
    assert arc is not None
    x0, y0, x1, y1 = map(float, arc.groups())
    middle, chord = (0.5 * (x0 + x1), -0.5 * (y0 + y1)), math.hypot(x1 - x0, y1 - y0)
    depth = math.sqrt(RADIUS**2 - 0.25 * chord**2)
    # The arc runs counterclockwise from its lower right end, so its centre lies to the left of its chord.
    along = ((x1 - x0) / chord, -(y1 - y0) / chord)
    centre = (middle[0] - along[1] * depth, middle[1] + along[0] * depth)
    assert ticks(svg_segments(small.read("tilt-quadrant.svg")), centre, RADIUS) == pytest.approx(expected, abs=0.01)


def test_lens_height_and_width_in_the_side_view(small: Made) -> None:
    # The simple scene: 490 mm high, 400 mm across the grooves, 5 mm thick, two tubes of 38 mm 40 mm apart.
    lengths = [length(s) for s in dxf_segments(small.read("side-view.dxf"))]
    for measure in (490.0, 400.0, 5.0):
        assert any(found == pytest.approx(measure, abs=1e-6) for found in lengths), measure
    points = np.array(dxf_segments(small.read("side-view.dxf")))
    assert points[:, 1].min() >= -30.0 - 1e-6  # nothing below the arm's end


def test_sheets_of_a_tiled_drawing_go_together() -> None:
    # One long line over several sheets: what they show, each at its place, is the line again, and strips are shared.
    line = Line(points=((0.0, 0.0), (700.0, 320.0)))
    drawing = Drawing(name="line", lines=(line,))
    sheets = tiling(drawing, 190.0, 200.0)
    covered = [sorted((part.points[0][0], part.points[-1][0])) for tile in sheets.tiles for part in tile.drawing.lines]
    covered.sort()
    assert covered[0][0] == pytest.approx(0.0)
    assert covered[-1][1] == pytest.approx(700.0)
    for (_, end), (start, _) in itertools.pairwise(covered):
        assert start < end  # neighbours overlap
    assert len(sheets.tiles) < sheets.rows * sheets.columns  # empty sheets are not printed
    for tile in sheets.tiles:
        right = sheets.at(tile.row, tile.column + 1)
        assert right is None or right.box[0] == pytest.approx(tile.box[2] - OVERLAP)


def test_neighbouring_sheets_agree_on_paper() -> None:
    # A level line through three sheets: on each PDF page it has its true length, and the overlap is printed twice.
    drawing = Drawing(name="level", lines=(Line(points=((0.0, 0.0), (450.0, 0.0)), stroke="cut"),))
    heading = Heading(title="A line of our own")
    figures = tiled_pages(drawing, heading, paper="A4", words=WORDS)
    assert figures is not None
    pages = pdf_pages(folder_module.pdf_bytes(figures[1:], title="line", date=DATE))
    assert len(pages) == 3
    shown = 0.0
    for page in pages:
        middle = 0.5 * (PAPERS["A4"][1] + 50.0)
        level = [s for s in segments_of(page) if abs(s[1] - s[3]) < 1e-6 and abs(s[1] - middle) < 40.0]
        shown += max(length(s) for s in level)
    assert shown == pytest.approx(450.0 + 2.0 * OVERLAP, abs=PRINTED)


def test_letter_has_its_own_size() -> None:
    # ANSI/ASME Y14.1: size A, Letter, is 8.5 by 11 in (value from memory, to be confirmed).
    drawing = Drawing(name="short", lines=(Line(points=((0.0, 0.0), (50.0, 0.0))),))
    figures = tiled_pages(drawing, Heading(title="short"), paper="Letter", words=WORDS)
    assert figures is not None
    (page,) = pdf_pages(folder_module.pdf_bytes(figures[1:], title="short", date=DATE))
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((612.0, 792.0), abs=0.01)
    assert any(length(s) == pytest.approx(50.0, abs=0.01) for s in segments_of(page))


def test_too_many_sheets_get_no_pdf() -> None:
    frame = tuple((5000.0 * x, 5000.0 * y) for x, y in ((0, 0), (1, 0), (1, 1), (0, 1), (0, 0)))
    drawing = Drawing(name="large", lines=(Line(points=frame), Line(points=(frame[0], frame[2]))))
    assert tiled_pages(drawing, Heading(title="large"), paper="A4", words=WORDS) is None


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        (((-1.0, 0.5), (2.0, 0.5)), [((0.0, 0.5), (1.0, 0.5))]),
        (((0.2, 0.2), (0.8, 0.8)), [((0.2, 0.2), (0.8, 0.8))]),
        (((-1.0, -1.0), (-0.5, 2.0)), []),
        (((0.5, 0.5), (1.5, 0.5), (1.5, 0.8), (0.5, 0.8)), [((0.5, 0.5), (1.0, 0.5)), ((1.0, 0.8), (0.5, 0.8))]),
    ],
)
def test_lines_are_cut_at_a_window(points: tuple, expected: list) -> None:  # type: ignore[type-arg]
    assert clipped(points, (0.0, 0.0, 1.0, 1.0)) == expected


def test_chords_stay_close_to_their_arc() -> None:
    arc = Arc(centre=(3.0, 4.0), radius=250.0, start=10.0, end=120.0)
    points = np.array(arc.points())
    middles = 0.5 * (points[1:] + points[:-1])
    assert np.hypot(*(points - (3.0, 4.0)).T) == pytest.approx(250.0)
    assert (250.0 - np.hypot(*(middles - (3.0, 4.0)).T)).max() < 0.006


def test_dial_turns_clockwise_and_a_southern_hour_angle_does_not() -> None:
    level = swivel_dial(Mount(kind="swivel-tilt", swivel_marks=90.0), 200.0, WORDS)
    assert level is not None
    east = next(text for text in level.drawing.texts if text.words == "90°")
    assert east.at[0] > 100.0
    for latitude, side in ((50.0, 1.0), (-50.0, -1.0)):
        mount = Mount(kind="polar", latitude=latitude, swivel_range=(-90.0, 90.0), swivel_marks=45.0)
        dial = swivel_dial(mount, 200.0, WORDS)
        assert dial is not None
        afternoon = next(text for text in dial.drawing.texts if text.words == "45°")
        assert side * afternoon.at[0] > 100.0
    assert swivel_dial(Mount(kind="tilt", facing=90.0), 200.0, WORDS) is None


def test_compass_scale_is_turned_by_the_declination() -> None:
    # Where the needle points 20 deg east of true north, the compass's 0 stands at true 20, and true 90 reads 70.
    declination = Declination(value=20.0, standard_error=0.4, level_field=20000.0)
    dial = swivel_dial(Mount(kind="swivel-tilt", swivel_marks=90.0), 250.0, WORDS, declination)
    assert dial is not None
    zeros = [text for text in dial.drawing.texts if text.words == "0°"]
    bearings = sorted(math.degrees(math.atan2(text.at[0], text.at[1] + 1.8)) for text in zeros)
    assert bearings == pytest.approx([0.0, 20.0], abs=0.2)


def test_marks_are_those_of_the_scene() -> None:
    marks = (-23.0, -18.0, -12.0, 0.0, 7.5, 23.0)
    mount = Mount(kind="polar", latitude=52.0, tilt_range=(-24.0, 24.0), tilt_marks=marks)
    quadrant = tilt_quadrant(mount, 250.0, WORDS)
    assert quadrant.scale.marks == marks
    assert quadrant.scale.figured == marks
    assert {"\N{MINUS SIGN}23°", "7.5°"} <= {text.words for text in quadrant.drawing.texts}
    bare = tilt_quadrant(dataclasses.replace(mount, tilt_marks=None), 250.0, WORDS)
    assert bare.scale.marks == tuple(float(k) for k in range(-24, 25))


def test_crowded_marks_are_counted_not_piled_up() -> None:
    marks = tuple(0.1 * k * k for k in range(30))
    quadrant = tilt_quadrant(Mount(kind="swivel-tilt", tilt_marks=marks), 100.0, WORDS)
    assert quadrant.scale.bare > 0
    boxes = [text.box() for text in quadrant.scale.drawing.texts]
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


def test_crossed_tubes_are_seen_lengthwise(scene_path: Path) -> None:
    # A tube at 90 deg to the grooves lies in the view across them; one along the grooves is seen as a circle.
    scene_file = read_scene(scene_path)
    drawing = side_view(scene_file.scene, scene_file.mount, WORDS)
    tubes = scene_file.scene.tubes
    outline = max(
        (line for line in drawing.lines if line.stroke == "cut" and len(line.points) > 6), key=lambda line: line.points
    )
    xs, ys = (np.array(values) for values in zip(*outline.points, strict=True))
    angle = math.radians(tubes.angle_to_grooves)
    share = abs(math.sin(angle) if scene_file.mount.grooves == "level" else math.cos(angle))
    wide = 1e3 * (tubes.length * share + tubes.outer_diameter * math.sqrt(max(0.0, 1.0 - share**2)))
    assert np.ptp(xs) == pytest.approx(wide, abs=1e-6)
    assert np.ptp(ys) == pytest.approx(1e3 * tubes.outer_diameter, abs=1e-6)


def test_pin_target_of_a_flat_response(simple_scene: Path) -> None:
    # Where all directions bring the same share, only the cosine counts: the ring of 10 % is h tan(acos(0.9)) wide.
    mount = read_scene(simple_scene).mount
    target = pin_target(mount, flat_table(tubes=2), 50.0, (186.0, 170.0), WORDS)
    expected = 50.0 * math.tan(math.acos(0.9))
    assert target.rings[1].radii == pytest.approx(expected, rel=2e-3)
    told = [text.words for text in target.drawing.texts]
    assert f"10 %: A {expected:.1f} mm, B {expected:.1f} mm" in told


@pytest.mark.parametrize("language", sorted(TEMPLATE_WORDS))
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_foot_of_the_page_in_all_languages(paper: Paper, language: str) -> None:
    page = Page(paper, TEMPLATE_WORDS[language])
    page.foot()
    check_pages({language: [page.figure]})


def texts_of(page: Figure) -> Iterator[tuple[str, float, tuple[float, float, float, float]]]:
    renderer = FigureCanvasAgg(page).get_renderer()
    for text in page.axes[0].texts:
        box = text.get_window_extent(renderer)
        if not text.get_clip_on():  # what runs on, on the next sheet of a tiled drawing, is cut at the sheet's edge
            yield text.get_text(), float(text.get_fontsize()), (box.x0, box.y0, box.x1, box.y1)


def check_pages(pages: dict[str, list[Figure]]) -> None:
    for title, figures in pages.items():
        for page in figures:
            width, height = page.get_size_inches() * page.dpi
            found = list(texts_of(page))
            assert found
            for words, size, box in found:
                assert size >= 11.0
                assert not re.match(r"\d\d:\d\d", words) or size >= 14.0
                assert box[0] > 0, (title, words)
                assert box[1] > 0, (title, words)
                assert box[2] < width, (title, words)
                assert box[3] < height, (title, words)
            for (one, _, a), (other, _, b) in itertools.combinations(found, 2):
                # Boxes hold room for tails and accents: a pixel and a half of common room is no contact.
                apart = a[2] <= b[0] + 1.5 or b[2] <= a[0] + 1.5 or a[3] <= b[1] + 1.5 or b[3] <= a[1] + 1.5
                assert apart, f"{title}: {one!r} over {other!r}"


def test_nothing_overlaps_and_nothing_is_cut_off(small: Made) -> None:
    check_pages(small.pages)


@pytest.mark.long
@pytest.mark.parametrize(
    ("scene", "paper", "language"), [("south", "Letter", "es"), ("tropics", "A4", "fr"), ("north", "Letter", "pt")]
)
def test_nothing_overlaps_in_other_languages(scene: str, paper: str, language: str) -> None:
    scene_file = read_scene(ROOT / "scenes" / f"{scene}.toml")
    settings = TemplateSettings(
        date=DATE, paper="Letter" if paper == "Letter" else "A4", language=language, magnetic=True
    )
    with keeping_pages(printing=False) as pages:
        template_files(scene_file, flat_table(tubes=scene_file.scene.tubes.count), settings)
    check_pages(pages)


def test_each_hour_and_month_of_the_level_target_is_named(small: Made) -> None:
    for half, months in (("1", "Dec Jan Feb Mar Apr May Jun"), ("2", "Jun Jul Aug Sep Oct Nov Dec")):
        root = ET.fromstring(small.read(f"level-target-{half}.svg"))  # noqa: S314  our own file
        told = [text.text or "" for text in root.findall("svg:text", SVG)]
        for month in months.split():
            assert f"21 {month}" in told
        hours = {int(words) for words in told if words.isdigit()}
        assert hours >= set(range(9, 16))
        assert len(root.findall("svg:circle", SVG)) >= 40  # the dots
        # Madrid's clock: the figure in brackets is an hour ahead, in summer time.
        assert all(f"({hour + 1})" in told for hour in hours)


def test_true_north_says_the_sentence(small: Made) -> None:
    text = small.pdf("true-north.pdf")[0].extract_text()
    assert re.search(r"On 20 March 2026 at 13:\d\d:\d\d \(UTC\+01:00\) the shadow of a plumb line", text)
    assert "points to true north" in text.replace("\n", " ")
    assert "Worked example" in text
    first = small.numbers["true_north"]["dates"][0]
    # The two columns, by the rule of the magnetic model: compass = true - declination.
    assert first["true_azimuth_deg"] == 0.0
    assert f"{first['compass_azimuth_deg']:.1f}°" in text


def test_command_tells_what_it_took(small: Made) -> None:
    assert small.numbers["pin_target"]["pin_mm"] == 60.0
    assert small.numbers["level_target"]["pin_mm"] == pytest.approx(38.1)
    assert small.numbers["level_target"]["other_utc_offset"] == "+02:00"
    assert small.numbers["swivel_dial"]["radius_mm"] == RADIUS
    assert small.numbers["tilt_quadrant"]["marks_deg"] == [10.0 * k for k in range(10)]
    assert small.numbers["side_view"]["lens_height_mm"] == pytest.approx(490.0)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "--templates"),
        (["--out", "x", "--pin", "50 mm"], "--pin: it is given without --templates"),
        (["--templates", "x", "--pin", "50"], "--pin"),
        (["--templates", "x", "--pin", "2 m"], "--pin"),
        (["--templates", "x", "--radius", "5 mm"], "--radius"),
        (["--templates", "x", "--paper", "A5"], "A4 or Letter"),
        (["--templates", "x", "--language", "xx"], "en, es, fr, pt"),
        (["--templates", "x", "--magnetic", "--date", "2040-01-01"], "--magnetic"),
    ],
)
def test_wrong_options_are_refused(
    focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    arguments: list[str], told: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    run = focalrow("draw", simple_scene, *arguments)
    assert run.status == 2
    assert told in run.err
    assert not (tmp_path / "x").exists()


@pytest.mark.long
def test_rings_hold_the_power_that_direct_traces_find(simple_scene: Path) -> None:
    """Points of the rings, traced by themselves: the share that is left is the ring's, within the table's error."""
    from raytrace.trace import trace
    from tracking.response import response_table

    scene_file = read_scene(simple_scene)
    table = response_table(scene_file)

    def power(tan_t: float, tan_g: float) -> float:
        traced = trace(
            scene_file.scene,
            transversal_angle=math.degrees(math.atan(tan_t)),
            longitudinal_angle=math.degrees(math.atan(tan_g)),
            rays=1 << 18,
            seed=5,
        )
        return traced.absorbed_fraction.value / math.hypot(1.0, tan_t, tan_g)

    best = power(0.0, 0.0)
    for ring in loss_rings(relative_power(table), pin_height=1.0, reach=2.0):
        for k in range(0, len(ring.radii), 15):
            turn, radius = math.radians(ring.directions[k]), float(ring.radii[k])
            left = power(radius * math.cos(turn), radius * math.sin(turn)) / best
            # The table is good to 0.0015 of the aperture power between nodes, and 0.003 at worst on this scene.
            assert left == pytest.approx(1.0 - ring.loss, abs=0.012)


def test_a_sign_never_begins_a_line() -> None:
    # French sets a space before these signs: Lexique des règles typographiques en usage à l'Imprimerie nationale
    # (rule from memory, to be confirmed).
    assert lines_that_fit("un deux ; trois 10 % quatre", 11.0, 12.0) == ["un", "deux ;", "trois", "10 %", "quatre"]
    assert lines_that_fit("uno 10 %. dos", 11.0, 12.0) == ["uno", "10 %.", "dos"]
