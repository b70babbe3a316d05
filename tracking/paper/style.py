"""How pictures look: sizes, letters, colours that survive colour blindness and a grey printer, PNG and SVG."""

import io
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patheffects import AbstractPathEffect, withStroke

PAGE_WIDTH = 7.1
"""Width of a picture [in]: 180 mm, what A4 and Letter leave between margins of 15 mm and more."""

SCREEN_DPI = 144
"""Dots per inch of the PNG: 1022 across."""

BLACK, ORANGE, SKY, GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, RED, PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
"""Okabe and Ito's colours: Color Universal Design, 2008. Lines that carry them differ in dashes or markers too."""

LINE_COLOURS = (BLUE, RED, GREEN, PURPLE)
"""Those that stand out from white by 3:1 and more, as WCAG 2.1, 1.4.11 asks of lines; the others fill areas."""

MAP = "cividis"
"""Colours of maps: even steps of lightness, made for colour-blind readers (Nunez, Anderton and Renslow, PLoS ONE 13
(2018) e0199239); on a grey printer light stays more and dark stays less."""

_SETTINGS: Mapping[str, Any] = {
    "font.size": 9.0,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 9.0,
    "xtick.labelsize": 8.5,
    "ytick.labelsize": 8.5,
    "legend.fontsize": 8.5,
    "legend.frameon": True,
    "legend.framealpha": 0.92,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
    "figure.facecolor": "white",
    "svg.hashsalt": "focalrow",
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "mathtext.default": "regular",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A picture with its file name (no suffix), title, a text that states the finding, and the numbers behind it."""

    name: str
    title: str
    alt: str
    figure: Figure = field(repr=False)
    numbers: Mapping[str, Any] = field(repr=False)

    def png(self) -> bytes:
        """The picture as PNG, the same bytes each time."""
        return self._saved("png", {"Software": None})

    def svg(self) -> bytes:
        """The picture as SVG, the same bytes each time, its title within."""
        return self._saved("svg", {"Date": None, "Title": self.title, "Description": self.alt})

    def _saved(self, kind: str, metadata: Mapping[str, str | None]) -> bytes:
        buffer = io.BytesIO()
        with drawing():
            self.figure.savefig(buffer, format=kind, dpi=SCREEN_DPI, metadata=dict(metadata))
        return buffer.getvalue()


@contextmanager
def drawing() -> Iterator[None]:
    """The settings under which pictures are drawn and saved."""
    settings: Any = dict(_SETTINGS)
    with mpl.rc_context(settings):
        yield


def new_figure(height: float) -> Figure:
    """An empty picture of the page's width; height in [in]."""
    return Figure(figsize=(PAGE_WIDTH, height), layout="constrained")


def halo() -> AbstractPathEffect:
    """A white rim for letters that stand on lines."""
    return withStroke(linewidth=2.5, foreground="white")


def dark_rim(width: float) -> AbstractPathEffect:
    """A black rim of that line width [pt] for white lines and letters on a map, whose colours may be light."""
    return withStroke(linewidth=width, foreground="black")
