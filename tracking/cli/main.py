"""The command `focalrow`: its subcommands, and the one place where errors become messages and an exit status."""

import errno
import os
import sys
import traceback
from collections.abc import Sequence

import typer

from tracking.cli.console import talk
from tracking.cli.day import day
from tracking.cli.draw import draw
from tracking.cli.fit import fit
from tracking.cli.light import light
from tracking.cli.new import new
from tracking.cli.report import report
from tracking.cli.setpoints import setpoints
from tracking.cli.stray import stray
from tracking.cli.year import year
from tracking.errors import InputError

DONE, FAILED, WRONG_INPUT, INTERRUPTED = 0, 1, 2, 130

NOT_WRITABLE = frozenset({errno.ENOSPC, errno.EFBIG, errno.EROFS, errno.EACCES, errno.EPERM, errno.EIO})
"""What a system answers where output cannot be written: disk full, file too large, read-only, no right, broken."""

app = typer.Typer(
    name="focalrow",
    help="Optics, aiming and plans for a solar boiler: a flat linear Fresnel lens above a row of tubes.",
    epilog="Each command explains its options: focalrow COMMAND --help.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)
app.command(short_help="One trace: power on each tube, focal line, ledger.")(light)
app.command(short_help="A day's settings and power, and its sums.")(day)
app.command(short_help="Choose lens height and tilt.")(fit)
app.command(short_help="Two-axis setpoints and actuator schedule.")(setpoints)
app.command(short_help="Pictures, solids and full-size templates of a scene.")(draw)
app.command(short_help="All of it as one page for people.")(report)
app.command(short_help="A year: months, solstices, energy, losses, distillate.")(year)
app.command(short_help="Where an unattended focus goes.")(stray)
app.command(short_help="Write a starter scene.")(new)


@app.callback()
def _options() -> None:
    """Optics, aiming and plans for a solar boiler: a flat linear Fresnel lens above a row of tubes."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status: 0 done, 2 the input is wrong, 1 anything else, 130 interrupted."""
    command = typer.main.get_command(app)
    try:
        answer = command.main(
            args=None if arguments is None else list(arguments), prog_name="focalrow", standalone_mode=False
        )
        sys.stdout.flush()
    except InputError as error:
        talk(f"focalrow: {error}")
        return WRONG_INPUT
    except BrokenPipeError:
        return _reader_is_gone()
    except OSError as error:
        return _cannot_write(error) if error.errno in NOT_WRITABLE else _failure(error)
    except (KeyboardInterrupt, typer.Abort):
        talk("focalrow: interrupted, nothing was written.")
        return INTERRUPTED
    except Exception as error:  # noqa: BLE001  the last line of defence: what comes here is told in words, status 1
        return _failure(error)
    if answer == INTERRUPTED:  # typer turns Ctrl-C into this answer
        talk("focalrow: interrupted, nothing was written.")
    return answer if isinstance(answer, int) else DONE


def _failure(error: Exception) -> int:
    # typer raises the usage errors of its parser with its own class or with click's, by version: both have this method.
    usage_message = getattr(error, "format_message", None)
    if callable(usage_message):
        told = str(usage_message()).rstrip(".")
        talk(f"focalrow: {told}. See 'focalrow --help' or 'focalrow COMMAND --help'.")
        return WRONG_INPUT
    talk(f"focalrow: this went wrong: {type(error).__name__}: {error}")
    if os.environ.get("FOCALROW_DEBUG"):
        traceback.print_exception(error)
    else:
        talk("focalrow: with FOCALROW_DEBUG=1 in the environment the place in the program is shown.")
    return FAILED


def _cannot_write(error: OSError) -> int:
    """Say which output cannot be written and why; nor must the flush at exit complain once more."""
    talk(f"focalrow: {error.filename or 'the output'} cannot be written: {error.strerror}.")
    try:
        sys.stdout.flush()
    except OSError:
        _silence()
    return FAILED


def _silence() -> None:
    """Let what is left for standard output vanish."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _reader_is_gone() -> int:
    """Leave without a word when standard output was closed, as by `head`; nor must the flush at exit complain."""
    _silence()
    return FAILED


if __name__ == "__main__":
    sys.exit(main())
