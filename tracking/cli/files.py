"""Writes a command's files whole or not at all."""

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from tracking.cli import console
from tracking.cli.options import wrong


def check_folder(folder: Path | None, *, option: str = "--out") -> None:
    """Refuse a folder that cannot be written, before any long work.

    Raises
    ------
    InputError
        If there is a file in its place, or no right to write.
    """
    if folder is None:
        return
    if folder.exists() and not folder.is_dir():
        raise wrong(option, f"{folder} is a file", "a folder, there already or not")
    parent = next(place for place in (folder.absolute(), *folder.absolute().parents) if place.exists())
    if not parent.is_dir() or not os.access(parent, os.W_OK):
        raise wrong(option, f"{parent} cannot be written to", "a folder that you may write to")


def write_if_asked(folder: Path | None, texts: Mapping[str, str | bytes]) -> None:
    """Write texts into a folder, where there is one, and say so on standard error."""
    if folder is not None:
        write_files(folder, texts)
        console.talk(f"Wrote {', '.join(texts)} to {folder}.")


def write_files(folder: Path, texts: Mapping[str, str | bytes]) -> None:
    """Write texts and bytes, named by file, into `folder`: a reader sees no half-written file, nor some without others.

    All texts are written aside first, on the same disk, and take their names only when all are complete.
    """
    folder.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder if folder.is_dir() else folder.parent))
    try:
        for name, text in texts.items():
            if isinstance(text, bytes):
                (aside / name).write_bytes(text)
            else:
                (aside / name).write_text(text.rstrip("\n") + "\n", encoding="utf-8", newline="\n")
        folder.mkdir(exist_ok=True)
        for name in texts:
            (aside / name).replace(folder / name)
    finally:
        shutil.rmtree(aside, ignore_errors=True)
