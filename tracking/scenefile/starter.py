"""The starter scene: a file with every key explained, to be changed by its owner."""

import os
from importlib import resources
from pathlib import Path

from tracking.errors import InputError


def starter_text() -> str:
    """The starter scene as TOML, with comments."""
    return resources.files("tracking").joinpath("cli", "starter.toml").read_text(encoding="utf-8")


def write_starter(path: str | Path, *, force: bool = False) -> None:
    """Write the starter scene, whole or not at all.

    Parameters
    ----------
    path
        The file to write.
    force
        Whether a file that is there already may be lost.

    Raises
    ------
    InputError
        If there is a file already and `force` is not set, or if none can be written there.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise InputError(file=str(path), problem="this is a folder", allowed="Allowed: the name of a new file.")
        if path.exists() and not force:
            raise InputError(
                file=str(path),
                problem="there is a file of this name already",
                allowed="Allowed: another name, or --force to write over it.",
            )
        _write_whole(path, starter_text())
    except (OSError, ValueError) as error:  # ValueError: a path with a zero byte
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            file=str(path),
            problem=f"this file cannot be written: {reason}",
            allowed="Allowed: a name in a folder that is there and may be written to.",
        ) from None


def _write_whole(path: Path, text: str) -> None:
    """Write aside first, on the same disk, so that nobody ever sees half a file."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        aside.write_text(text, encoding="utf-8", newline="\n")
        aside.replace(path)
    finally:
        aside.unlink(missing_ok=True)
