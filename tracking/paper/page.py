"""A page of large black type with its own scale in millimetres, cautions at its foot, and pages as a PDF."""

import datetime as dt
from collections.abc import Sequence
from io import BytesIO
from typing import Literal

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from tracking.paper.typeset import FAMILY, MM_PER_INCH, leading, lines_that_fit, width
from tracking.paper.words import Words

Paper = Literal["A4", "Letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height [mm]: ISO 216, and ANSI/ASME Y14.1 (values from memory, to be confirmed)."""
MARGIN = 12.0
"""White edge that any printer keeps [mm]: common practice, no source."""
ACTED_ON, READ = 15.0, 11.0
"""Type of what is acted on and of the rest [pt]: readable at arm's length in the sun. Common practice, no source."""
TITLE = 20.0


class Page:
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
        """Write a line from a place [mm] on, its type in [pt]; a letter that the type lacks is an error."""
        width(words, size, bold=bold)  # a missing glyph is an error
        self.axes.text(
            x,
            y,
            words.replace("$", r"\$"),
            fontsize=size,
            family=FAMILY,
            weight="bold" if bold else "normal",
            ha=align,
            va="baseline",
            color="black",
        )

    def paragraph(self, y: float, words: str, size: float, room: float) -> float:
        """Write lines from the baseline y on; the baseline of the next."""
        for line in lines_that_fit(words, size, room):
            self.text(MARGIN, y, line, size)
            y += leading(size)
        return y

    def line(self, x: Sequence[float], y: Sequence[float], thickness: float = 1.2) -> None:
        """Draw a line through places [mm], its thickness in [pt]."""
        self.axes.plot(x, y, color="black", linewidth=thickness, solid_capstyle="round")

    def arrow(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Draw an arrow between two places [mm]."""
        self.axes.annotate("", xy=end, xytext=start, arrowprops={"arrowstyle": "-|>", "color": "black", "lw": 1.4})


def offset_words(time: dt.datetime) -> str:
    """Offset of a time from UTC, such as +01:00."""
    return f"{time:%z}"[:3] + ":" + f"{time:%z}"[3:5]


def date_words(words: Words, day: dt.date) -> str:
    """A date in words."""
    return words.date.format(day=day.day, month=words.months[day.month - 1], year=day.year)


def short_date_words(words: Words, day: dt.date) -> str:
    """A date without its year in words."""
    return words.day.format(day=day.day, month=words.months[day.month - 1])


def _foot_lines(page: Page, words: Words) -> list[str]:
    return lines_that_fit(" ".join(words.cautions), READ, page.room)


def foot_height(page: Page, words: Words) -> float:
    """Height that the cautions take at the foot of a page [mm]."""
    return len(_foot_lines(page, words)) * leading(READ) + 3.0


def draw_foot(page: Page, words: Words) -> None:
    """The cautions: they cannot be switched off."""
    y = page.height - MARGIN - foot_height(page, words) + 3.0
    page.line([MARGIN, page.width - MARGIN], [y - 1.5, y - 1.5], 1.5)
    for line in _foot_lines(page, words):
        y += leading(READ)
        page.text(MARGIN, y - 1.5, line, READ)


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
