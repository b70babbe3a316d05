"""`focalrow setpoints`: setpoints for two motors, their schedule, exports for firmware, and calibration."""

from pathlib import Path
from typing import Annotated

import typer


def setpoints(
    scene: Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)],
    date: Annotated[
        str | None, typer.Option(metavar="DATE", help="One day, as year-month-day.", show_default="today at the site")
    ] = None,
    first: Annotated[
        str | None, typer.Option("--from", metavar="DATE", help="First day of a period.", show_default=False)
    ] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="DATE", help="Last day of it, included.", show_default=False)
    ] = None,
    step: Annotated[str, typer.Option(metavar="TIME", help="Time between setpoints.")] = "10 min",
    table_bytes: Annotated[
        int, typer.Option("--bytes", metavar="N", help="Bytes that the arrays for firmware may have in all.")
    ] = 8192,
    loss: Annotated[
        float, typer.Option(metavar="X", help="Share of the energy that moves may cost, for the best dead band.")
    ] = 0.01,
    observations: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="CSV of observed aimings (time_utc, tilt_counts, swivel_counts): find the mount's errors and correct.",
            show_default=False,
        ),
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the numbers as JSON, for programs.")] = False,  # noqa: FBT002
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Also write CSV, JSON with its schema, and C99 there.", show_default=False),
    ] = None,
) -> None:
    """Setpoints and moves of the motors through a day or a period, and their exports for firmware."""
    from tracking.cli import console, files, options
    from tracking.cli.scene_words import scene_errors
    from tracking.cli.tables import console_width

    if date is not None and (first is not None or last is not None):
        raise options.wrong("--date", "it is given together with --from or --to", "either --date, or --from and --to")
    if (first is None) != (last is None):
        raise options.wrong("--to" if last is None else "--from", "it is missing", "--from and --to together")
    interval = options.step("--step", step)
    if not 256 <= table_bytes <= MOST_BYTES:
        raise options.wrong("--bytes", f"{table_bytes} is out of range", f"a whole number from 256 to {MOST_BYTES}")
    options.small_fraction("--loss", loss)
    files.check_folder(out)
    begin = options.date("--from", first) if first is not None else None
    end = options.date("--to", last) if last is not None else None
    day = options.date("--date", date) if date is not None else None

    import datetime as dt

    from tracking.motors.calibration import calibrated, calibration_object, read_observations
    from tracking.motors.export_json import plan_object
    from tracking.motors.firmware import exports, firmware
    from tracking.motors.mount_errors import NO_ERRORS
    from tracking.motors.plan import motor_plan
    from tracking.motors.schedule import prepare_drive
    from tracking.scenefile import read_scene
    from tracking.stray.ways_out import traced_ways_out, ways_out_object

    scene_file = read_scene(scene)
    if begin is None or end is None:
        begin = end = dt.datetime.now(scene_file.site.zone).date() if day is None else day
    found, errors = None, NO_ERRORS
    with scene_errors(scene), console.progress_bar("Planning (the very first run compiles and traces)") as progress:
        if observations is not None:
            drive = prepare_drive(scene_file, [begin], progress)
            found = calibrated(drive, read_observations(observations, drive.actuators))
            errors = found.errors
        plan = motor_plan(scene_file, begin, end, interval, wanted_loss=loss, errors=errors, progress=progress)
        export = firmware(plan, table_bytes)
        ways = traced_ways_out(plan)
    from tracking.cli.setpoints_table import table_text

    more: dict[str, object] = {}
    if ways is not None:
        more["ways_out_traced"] = ways_out_object(ways)
    if found is not None:
        more["calibration"] = calibration_object(found)
    text = table_text(plan, export, found, ways, width=console_width())
    if out is not None:
        texts = {"setpoints.txt": text} | exports(plan, export, more)
        files.write_files(out, texts)
        console.talk(f"Wrote {', '.join(texts)} to {out}.")
    numbers = plan_object(plan, export) | more
    console.result(console.as_json(numbers) if json else text)


MOST_BYTES = 1_000_000
"""Bytes of a table: a year of every day at the finest slots needs fewer."""
