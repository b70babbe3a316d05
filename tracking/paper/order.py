"""The order of work as five small pictures: cover on, fill, open the feed, uncover, aim."""

from matplotlib.patches import Circle, Polygon, Rectangle

from tracking.paper.page import MARGIN, READ, Page
from tracking.paper.typeset import leading
from tracking.paper.words import Words

PICTURE = 24.0
"""Side of a picture of the order of work [mm]."""


def draw_order(page: Page, y: float, words: Words) -> float:
    """Five pictures of the order of work; the baseline of what comes next."""
    pitch = page.room / len(words.order)
    for k, caption in enumerate(words.order):
        x = MARGIN + k * pitch + 0.5 * (pitch - PICTURE)
        page.axes.add_patch(Rectangle((x, y), PICTURE, PICTURE * 0.75, fill=False, linewidth=0.8))
        _PICTURES[k](page, x + 0.5 * PICTURE, y + 0.375 * PICTURE)
        page.text(x + 0.5 * PICTURE, y + PICTURE * 0.75 + 5.0, f"{k + 1} {caption}", READ, align="center")
    return y + PICTURE * 0.75 + 5.0 + leading(READ)


def _lens(page: Page, x: float, y: float) -> None:
    page.line([x - 7.0, x + 7.0], [y - 1.0, y - 1.0], 2.2)
    page.axes.add_patch(Circle((x, y + 6.0), 1.3, fill=False, linewidth=1.4))


def _draw_cover_on(page: Page, x: float, y: float) -> None:
    _lens(page, x, y)
    page.axes.add_patch(Rectangle((x - 8.0, y - 3.6), 16.0, 2.0, color="black"))
    page.arrow((x, y - 8.0), (x, y - 3.4))


def _draw_fill(page: Page, x: float, y: float) -> None:
    page.axes.add_patch(Rectangle((x - 2.5, y - 2.5), 5.0, 9.5, fill=False, linewidth=1.4))
    page.axes.add_patch(Rectangle((x - 2.5, y + 1.5), 5.0, 5.5, color="0.6"))
    page.arrow((x, y - 8.0), (x, y + 1.0))


def _draw_open(page: Page, x: float, y: float) -> None:
    page.line([x - 8.0, x + 8.0], [y + 2.0, y + 2.0], 1.6)
    for sign in (-1.0, 1.0):
        page.axes.add_patch(
            Polygon([(x, y + 2.0), (x + sign * 4.0, y - 0.8), (x + sign * 4.0, y + 4.8)], fill=False, linewidth=1.4)
        )
    page.line([x, x], [y + 2.0, y - 4.0], 1.4)
    page.line([x - 3.0, x + 3.0], [y - 4.0, y - 4.0], 2.2)


def _draw_uncover(page: Page, x: float, y: float) -> None:
    _lens(page, x - 2.0, y)
    page.axes.add_patch(Rectangle((x - 1.0, y - 5.6), 9.0, 2.0, color="black"))
    page.arrow((x - 6.0, y - 4.6), (x - 1.0, y - 4.6))


def _draw_aim(page: Page, x: float, y: float) -> None:
    page.axes.add_patch(Circle((x - 7.0, y - 5.5), 1.9, fill=False, linewidth=1.4))
    page.line([x - 3.0, x + 6.0], [y + 3.0, y - 3.5], 2.2)
    page.axes.add_patch(Circle((x + 5.0, y + 6.0), 1.3, fill=False, linewidth=1.4))
    page.arrow((x - 5.4, y - 4.2), (x + 1.0, y - 0.6))
    page.line([x + 1.8, x + 4.3], [y + 0.2, y + 4.8], 1.0)


_PICTURES = (_draw_cover_on, _draw_fill, _draw_open, _draw_uncover, _draw_aim)
