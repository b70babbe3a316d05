"""How much flux does harm, after how long, by published sources. Below a threshold the risk is lower, never nothing."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tracking.motors.safety import IGNITION_FLUX

Harms = Literal["skin", "burns", "lens"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Threshold:
    """A flux [W/m2] at which harm begins, the exposure for which it holds, and where that is written."""

    name: str
    flux: float
    exposure: str
    harms: Harms
    source: str


_SKIN = (
    "Handbook of Chemical Hazard Analysis Procedures, FEMA, DOT and EPA 1989, table 4.2; seen in the source. Infra-red "
    "data: the order of magnitude for sunlight"
)

THRESHOLDS = (
    Threshold(
        name="pain on bare skin", flux=2000.0, exposure="45 s (at 10 kW/m2: 5 s)", harms="skin", source=_SKIN
    ),
    Threshold(
        name="wood ignites, least flux found", flux=IGNITION_FLUX, exposure="very long, of the order of hours",
        harms="burns",
        source=(
            "V. Babrauskas, Ignition of wood: a review of the state of the art, Interflam 2001, 71-88 (one study); "
            "seen in the source's abstract"
        ),
    ),
    Threshold(
        name="second-degree burn of bare skin", flux=6000.0, exposure="30 s (at 12 kW/m2: 11 s)", harms="skin",
        source=_SKIN,
    ),
    Threshold(
        name="plywood smoulders", flux=7500.0, exposure="up to 8 h, 18 mm thick", harms="burns",
        source="Fire Safety Journal 41 (2006) 427-443; seen in the source's abstract",
    ),
    Threshold(
        name="the lens sheet softens (acrylic)", flux=8000.0, exposure="some minutes, until its heat is in balance",
        harms="lens",
        source=(
            "derived: a sheet that takes in a tenth and loses 20 W/(m2 K) over both faces is then 40 K above the air, "
            "near the 80 degC at which cast acrylic bends under load; the tenth and the loss are common practice, no "
            "source; colours or dirt take in far more"
        ),
    ),
    Threshold(
        name="wood ignites with a flame or spark near", flux=12500.0, exposure="minutes", harms="burns",
        source="rule of thumb; value from memory, to be confirmed",
    ),
    Threshold(
        name="wood ignites by itself", flux=28000.0, exposure="minutes, far less above", harms="burns",
        source="rule of thumb; value from memory, to be confirmed",
    ),
)  # fmt: skip
"""In order of rising flux."""

DEFAULT_THRESHOLD = IGNITION_FLUX
"""[W/m2]: the least flux that is known to set wood on fire."""

LOWER_RISK = "lower risk"
"""What stands where a flux is below all thresholds. Cover the lens all the same."""

SKIN_FLUX = (1e3, 2e3, 3e3, 4e3, 5e3, 6e3, 8e3, 10e3, 12e3)  # [W/m2]
SKIN_PAIN = (115.0, 45.0, 27.0, 18.0, 13.0, 11.0, 7.0, 5.0, 4.0)  # [s]
SKIN_BURN = (663.0, 187.0, 92.0, 57.0, 40.0, 30.0, 20.0, 14.0, 11.0)  # [s]
"""Times to pain and to a second-degree burn of bare skin: the same table 4.2."""


def skin_seconds(flux: float) -> tuple[float, float] | None:
    """Times to pain and to a second-degree burn of bare skin under a flux [W/m2]; None below the table's 1 kW/m2.

    By straight lines in logarithms between the rows; above 12 kW/m2 along the last of these lines, which is a guess.
    """
    if flux < SKIN_FLUX[0]:
        return None
    x, log_flux = float(np.log(flux)), np.log(SKIN_FLUX)
    found = []
    for times in (SKIN_PAIN, SKIN_BURN):
        y = np.log(times)
        slope = (y[-1] - y[-2]) / (log_flux[-1] - log_flux[-2])
        value = y[-1] + slope * (x - log_flux[-1]) if x > log_flux[-1] else np.interp(x, log_flux, y)
        found.append(float(np.exp(value)))
    return (found[0], found[1])


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """All fluxes [W/m2] from `low` up to `high`, None for no end, and what may happen there."""

    low: float
    high: float | None
    name: str


BANDS = tuple(
    Band(low=low, high=high, name=name)
    for low, high, name in zip(
        (0.0, *(each.flux for each in THRESHOLDS)),
        (*(each.flux for each in THRESHOLDS), None),
        (LOWER_RISK, *(each.name for each in THRESHOLDS)),
        strict=True,
    )
)
"""The bands between the thresholds, in order of rising flux."""


def band_of(flux: float) -> Band:
    """The band in which a flux [W/m2] lies."""
    return next(each for each in reversed(BANDS) if flux >= each.low or each.low == 0.0)


def band(flux: float) -> str:
    """The highest threshold that a flux [W/m2] reaches, by name; LOWER_RISK where it reaches none."""
    return band_of(flux).name
