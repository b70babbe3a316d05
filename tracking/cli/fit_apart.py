"""The questions that `focalrow fit` answers instead of the search for height and tilt, one at a time."""

from pathlib import Path

from tracking.cli import options


def check_apart(*, widths: Path | None, frame: bool, places: Path | None, scheduler: str | None, more: bool) -> None:
    """Refuse options that do not go together.

    Parameters
    ----------
    widths, frame, places, scheduler
        As given to the command.
    more
        Whether further answers are asked for, which take one place at a time.

    Raises
    ------
    InputError
        Naming the options and what is allowed.
    """
    if (widths is not None) + frame + (places is not None) > 1:
        raise options.wrong("--widths, --frame, --places", "more than one of them is given", "one of the three")
    if scheduler is not None and places is None:
        raise options.wrong("--scheduler", "it is given without --places", "both, or neither")
    if more and (places is not None or frame or widths is not None):
        raise options.wrong(
            "--builds, --tolerances, --marks",
            "one of them is given together with --widths, --frame or --places",
            "with height and tilt, for one place",
        )
