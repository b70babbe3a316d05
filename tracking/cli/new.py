"""`focalrow new`: write a starter scene."""

from pathlib import Path
from typing import Annotated

import typer


def new(
    path: Annotated[
        Path, typer.Argument(metavar="PATH", help="The file to write, such as my-boiler.toml.", show_default=False)
    ],
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,  # noqa: FBT002
) -> None:
    """Write a starter scene with every key explained, to be changed to your own lens, tubes, mount and place."""
    from tracking.cli.console import talk
    from tracking.scenefile.starter import write_starter

    write_starter(path, force=force)
    talk(f"Wrote {path}. Change it to your own numbers, then run: focalrow light {path}")
