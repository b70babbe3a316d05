# ruff: noqa: INP001  a plain script, no package
"""Draws the pictures of README.md: run it from a checkout with the tool installed, `python scenes/pictures/draw.py`."""

import shutil
import sys
import tempfile
from pathlib import Path

from tracking.cli.main import main

HERE = Path(__file__).parent
SHOWN = ("section", "focal-line", "sun-and-reach")


def draw() -> int:
    """Draw one of the scenes and keep the pictures that README.md shows."""
    with tempfile.TemporaryDirectory() as folder:
        status = main(["draw", str(HERE.parent / "north.toml"), "--out", folder, "--date", "2026-06-21"])
        for name in SHOWN if status == 0 else ():
            shutil.copyfile(Path(folder) / f"{name}.png", HERE / f"{name}.png")
    return status


if __name__ == "__main__":
    sys.exit(draw())
