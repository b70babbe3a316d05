"""Moves and energy lost over the distance of the marks, a line for each way of building."""

from collections.abc import Sequence

from tracking.paper.style import BLACK, BLUE, GREEN, ORANGE, Picture, drawing, new_figure
from tracking.plans.compare import Compared

HEIGHT = 3.6  # [in]
LOOKS = ((BLACK, "-", "o"), (ORANGE, "--", "s"), (BLUE, "-.", "^"), (GREEN, ":", "D"))
"""Colour, dashes and marker of each build: none is told by its colour alone."""


def compare_picture(rows: Sequence[Compared], names: Sequence[str]) -> Picture:
    """The comparison as a picture.

    Parameters
    ----------
    rows : (n,)
        Builds and spacings of marks.
    names : (n,) str
        Each row's build in words; rows of one build have the same.
    """
    with drawing():
        figure = new_figure(HEIGHT)
        moves, lost = figure.subplots(1, 2)
        for name, (colour, dashes, marker) in zip(dict.fromkeys(names), LOOKS, strict=False):
            chosen = [row for row, its in zip(rows, names, strict=True) if its == name]
            marks = [row.spacing for row in chosen]
            look = {"color": colour, "linestyle": dashes, "marker": marker, "markersize": 5.0, "linewidth": 1.6}
            moves.plot(marks, [row.plan.moves for row in chosen], label=name, **look)
            lost.plot(marks, [100.0 * row.plan.loss for row in chosen], **look)
        for axes, title in ((moves, "Moves on the day"), (lost, "Energy lost against perfect aiming [%]")):
            axes.set_title(title)
            axes.set_xlabel("distance of the marks [deg]")
            axes.set_xticks(sorted({row.spacing for row in rows}))
            axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
        figure.legend(loc="outside lower center", ncols=2)
        if any(row.plan.loss < 0.0 for row in rows):
            lost.axhline(0.0, color=BLACK, linewidth=0.6)
    fewest = min(rows, key=lambda row: row.plan.moves)
    name = names[list(rows).index(fewest)]
    return Picture(
        name="compare",
        title="Which build is easiest to tend",
        alt=f"Fewest moves: {fewest.plan.moves}, with {name} and marks {fewest.spacing:g} deg apart, "
        f"{100.0 * abs(fewest.plan.loss):.0f} % {'less' if fewest.plan.loss >= 0.0 else 'more'} energy than perfect "
        f"aiming.",
        figure=figure,
        numbers={
            "mark_spacing_deg": [row.spacing for row in rows],
            "build": list(names),
            "moves": [row.plan.moves for row in rows],
            "loss": [row.plan.loss for row in rows],
        },
    )
