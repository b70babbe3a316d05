"""The errors that a design bears, found by `focalrow fit --tolerances`, as text for people and as JSON for programs."""

from typing import Any

from tracking.cli.fit_numbers import estimate_object
from tracking.cli.tables import Column, number, paragraph, table
from tracking.energy.fit.height import LOSSES
from tracking.energy.fit.tolerances import LIMIT, Sensitivity, Tolerances

NAMES = {
    "slope_error": "slope error of the facets, rms, in all",
    "aiming_error": "aim that trembles, rms, in all",
    "aim_across": "aim that is off across the grooves",
    "aim_along": "aim that is off along the grooves",
    "tube_offset": "tubes beside their place, across the grooves",
    "too_high": "lens too high",
    "too_low": "lens too low",
    "sag_down": "sheet that hangs down further in its middle",
    "sag_up": "sheet that arches up in its middle",
}
UNITS = {"mrad": ("mrad", 1.0, 1), "deg": ("deg", 1.0, 2), "m": ("mm", 1e3, 1)}
"""Unit shown, factor to it, and decimals."""


def tolerances_parts(found: Tolerances, *, width: int) -> list[str]:
    """The section on tolerances."""
    texts = [
        (
            f"At the lens height of {1e3 * found.height:.0f} mm. One error at a time, all else as in the scene: the "
            "size at which so much of the energy is gone, +- one standard error. The first two are rms values of the "
            "whole error, the scene's own one included; all others come on top of what the scene has. A lens whose aim "
            "is off is turned away from the sun by so much, which costs light on its aperture too."
        ),
    ]
    together = []
    if found.together:
        percent = 100.0 * LIMIT
        rows = found.together
        columns = [
            Column(heading=("median", "loss, %"), cells=tuple(number(100.0 * row.median, 1) for row in rows)),
            Column(
                heading=("19 of 20 lose", "at most, %"), cells=tuple(number(100.0 * r.worst_of_20, 1) for r in rows)
            ),
        ]
        key = Column(
            heading=("errors up to, of", f"their {percent:g} % sizes"),
            cells=tuple(f"{100.0 * row.scale:.0f} %" for row in rows),
        )
        words = (
            f"All together: {found.machines} machines, each with every error drawn evenly up to a part of its own "
            f"{percent:g} % size."
        )
        if found.scale is not None and len(rows) and rows[-1].worst_of_20 <= LIMIT:
            words += f" With all errors at their {percent:g} % sizes 19 of 20 machines still keep {100 - percent:g} %."
        elif found.scale is not None:
            words += (
                f" To keep {100.0 - percent:g} % on 19 machines of 20, hold every error within about "
                f"{100.0 * found.scale:.0f} % of its {percent:g} % size."
            )
        together = ["", paragraph(words, width=width), table(key, [columns], width=width)]
    if found.interrupted:
        texts.append("Interrupted: what is missing was not looked at.")
    return [*(paragraph(text, width=width) for text in texts), _alone(found.sensitivities, width), *together]


def _alone(rows: tuple[Sensitivity, ...], width: int) -> str:
    def size(row: Sensitivity, k: int) -> str:
        unit, factor, digits = UNITS[row.unit]
        estimate = row.sizes[k]
        if estimate is None:
            return f"> {factor * row.most:.0f} {unit}"
        return f"{factor * estimate.value:.{digits}f} +- {factor * estimate.standard_error:.{digits}f} {unit}"

    def own(row: Sensitivity) -> str:
        unit, factor, _ = UNITS[row.unit]
        return f"{factor * row.own:g} {unit}" if row.own else "0"

    columns = [
        Column(heading=("in the", "scene"), cells=tuple(own(row) for row in rows)),
        *(
            Column(heading=(f"{100.0 * loss:g} % gone", "at"), cells=tuple(size(row, k) for row in rows))
            for k, loss in enumerate(LOSSES)
        ),
    ]
    key = Column(heading=("error",), cells=tuple(NAMES[row.key] for row in rows), left=True)
    return table(key, [columns], width=width)


def tolerances_object(found: Tolerances) -> dict[str, Any]:
    """The tolerances as numbers for programs."""
    return {
        "height_m": found.height,
        "errors": [
            {
                "error": row.key,
                "unit": row.unit,
                "own": row.own,
                "most_tried": row.most,
                "sizes": [
                    {"loss": loss, "size": estimate_object(size)}
                    for loss, size in zip(LOSSES, row.sizes, strict=True)
                ],
            }
            for row in found.sensitivities
        ],
        "together": [
            {"scale": row.scale, "median_loss": row.median, "loss_of_19_in_20": row.worst_of_20}
            for row in found.together
        ],
        "scale_for_19_in_20": found.scale,
        "machines": found.machines,
        "interrupted": found.interrupted,
    }
