"""Thresholds of harm against the publications they were taken from.

Below a threshold the risk is lower, never nothing; local codes and licensed practice decide.
"""

import pytest
from published_table import Published, Source

from tracking.motors.safety import IGNITION_FLUX
from tracking.stray.thresholds import DEFAULT_THRESHOLD, THRESHOLDS, band, skin_seconds

SKIN = Source(text="Handbook of Chemical Hazard Analysis Procedures, FEMA, DOT and EPA 1989, table 4.2", basis="seen")
BABRAUSKAS = Source(
    text="Babrauskas, Ignition of wood: a review of the state of the art, Interflam 2001, 71-88, abstract", basis="seen"
)
PLYWOOD = Source(text="Fire Safety Journal 41 (2006) 427-443, abstract: smouldering of 18 mm plywood", basis="seen")
RULES = Source(text="rules of thumb for wood, minutes", basis="memory")
SOFTENING = Source(text="a tenth taken in, 20 W/(m2 K) lost, 40 K above the air", basis="derived")
AS_PRINTED = "taken over as printed"

# Flux [kW/m2], time to pain and to a second-degree burn [s].
ROWS = [(1, 115, 663), (2, 45, 187), (3, 27, 92), (4, 18, 57), (5, 13, 40), (6, 11, 30), (8, 7, 20), (10, 5, 14),
        (12, 4, 11)]  # fmt: skip


def threshold(name: str) -> float:
    """Flux of a threshold by its name [kW/m2]."""
    return next(each.flux for each in THRESHOLDS if each.name == name) / 1e3


@pytest.mark.parametrize(("flux", "pain", "burn"), ROWS)
def test_times_to_pain_and_burn(flux: int, pain: int, burn: int, published: Published) -> None:
    found = skin_seconds(1e3 * flux)
    assert found is not None
    published(SKIN, f"second-degree burn at {flux} kW/m2 [s]", found[1], burn, within=1e-6, why=AS_PRINTED)
    published(SKIN, f"pain at {flux} kW/m2 [s]", found[0], pain, within=1e-6, why=AS_PRINTED)


# DoD DESR 6055.09, fit for thermal radiation on skin: q = (t / 200)^(-1 / 1.46) kW/m2 (seen in the source). Another
# measure of harm: it must lie between the first pain and the second-degree burn, between the rows too.
@pytest.mark.parametrize("flux", [1.0, 1.5, 2.5, 4.5, 7.0, 9.0, 11.0])
def test_a_second_source_lies_between_pain_and_burn(flux: float) -> None:
    found = skin_seconds(1e3 * flux)
    assert found is not None
    assert found[0] < 200.0 * flux**-1.46 < found[1]


def test_thresholds_of_wood(published: Published) -> None:
    least = threshold("wood ignites, least flux found")
    published(BABRAUSKAS, "least flux that ignites wood [kW/m2]", least, 4.3, within=1e-9, why=AS_PRINTED)
    assert IGNITION_FLUX == DEFAULT_THRESHOLD == 1e3 * least
    smoulders = threshold("plywood smoulders")
    published(PLYWOOD, "least flux for smouldering [kW/m2]", smoulders, 7.5, within=1e-9, why=AS_PRINTED)
    piloted = threshold("wood ignites with a flame or spark near")
    published(RULES, "piloted ignition [kW/m2]", piloted, 12.5, within=1e-9, why=AS_PRINTED)
    by_itself = threshold("wood ignites by itself")
    published(RULES, "ignition without a spark [kW/m2]", by_itself, 28.0, within=1e-9, why=AS_PRINTED)


def test_the_softening_sheet(published: Published) -> None:
    found = threshold("the lens sheet softens (acrylic)")
    published(
        SOFTENING, "flux that softens the sheet [kW/m2]", found, 40.0 * 20.0 / 0.1 / 1e3, within=0.5, why="rounded"
    )


def test_a_focal_line_exceeds_all_of_them() -> None:
    """Twenty to forty suns are more than the highest threshold; one sun is below the lowest and hurts in minutes."""
    assert band(30e3) == "wood ignites by itself"
    assert band(1e3) == "lower risk"
    assert skin_seconds(1e3) is not None
