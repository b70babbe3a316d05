"""What mounting the sheet the wrong way round costs, as text for people and as JSON for programs."""

from typing import Any

from tracking.cli import console
from tracking.cli.fit_numbers import estimate_object
from tracking.cli.tables import number, paragraph, section
from tracking.energy.fit.fit import Fitted
from tracking.energy.fit.sample import Effort
from tracking.energy.fit.wrong_way import Mounted, WrongWay, wrong_way

OTHER_FACE = {"tubes": "toward the tubes, the smooth face to the sun", "sun": "toward the sun, the smooth face down"}


def turned_over(fitted: Fitted, effort: Effort) -> WrongWay | None:
    """The cost at the height that a fit has found; None where the search was stopped before, or is now."""
    if fitted.fit.interrupted:
        return None
    scene_file = fitted.scene_file
    try:
        with console.progress_bar("Turning the sheet over") as progress:
            return wrong_way(
                scene_file.scene, scene_file.mount, seed=effort.seed, threads=effort.threads, progress=progress
            )
    except KeyboardInterrupt:
        return None


def wrong_way_sections(found: WrongWay | None, mounted: str, *, width: int) -> list[str]:
    """The section for people, or none."""
    if found is None:
        return []
    return [section("The wrong way round", *wrong_way_parts(found, mounted, width=width))]


def wrong_way_words(found: WrongWay, mounted: str) -> str:
    """The cost in words.

    Parameters
    ----------
    found
        What was traced.
    mounted
        The side on which the grooves lie in the scene.
    """
    right, wrong = found.right, found.wrong
    words = (
        f"This sheet is cut for grooves {OTHER_FACE[right.grooves_toward]}. The other way round it "
        f"{_loses(found.loss)} of what the tubes absorb with the sun on the lens normal (absorbed "
        f"{_share(wrong, best=False)} instead of {_share(right, best=False)} of the aperture power at "
        f"{1e3 * found.height:.0f} mm), and {_loses(found.least_loss)} with each at the height that is best for it "
        f"({_share(wrong, best=True)} at {1e3 * wrong.best_height:.0f} mm instead of {_share(right, best=True)} at "
        f"{1e3 * right.best_height:.0f} mm). With the sun aslant it may lose far more: a report tells it over the year."
    )
    return words + turn_words(right.grooves_toward, mounted, found.least_loss)


def turn_words(cut_for: str, mounted: str, least_loss: float) -> str:
    """What to do where the sheet is cut for one side and mounted with its grooves on the other.

    `least_loss` is the share that is lost so with each way at the height that is best for it.
    """
    if mounted == cut_for:
        return ""
    if least_loss <= 0.0:
        return " The scene mounts it that way round."
    return " The scene mounts it the wrong way round: turn it over. The light that misses the tubes burns too."


def _loses(share: float) -> str:
    return f"{'loses' if share >= 0.0 else 'gains'} {number(100.0 * abs(share), 1)} %"


def _share(mounted: Mounted, *, best: bool) -> str:
    estimate = mounted.absorbed_at_best if best else mounted.absorbed
    return f"{estimate.value:.3f}"


def wrong_way_parts(found: WrongWay, mounted: str, *, width: int) -> list[str]:
    """The section's text."""
    return [paragraph(wrong_way_words(found, mounted), width=width)]


def wrong_way_object(found: WrongWay | None) -> dict[str, Any] | None:
    """The numbers for programs."""
    if found is None:
        return None
    return {
        "height_m": found.height,
        "loss": found.loss,
        "least_loss": found.least_loss,
        "right": _mounted(found.right),
        "wrong": _mounted(found.wrong),
    }


def _mounted(mounted: Mounted) -> dict[str, Any]:
    return {
        "grooves_toward": mounted.grooves_toward,
        "absorbed_fraction": estimate_object(mounted.absorbed),
        "best_height_m": mounted.best_height,
        "absorbed_fraction_at_best": estimate_object(mounted.absorbed_at_best),
    }
