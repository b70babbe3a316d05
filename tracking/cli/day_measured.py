"""`focalrow day --measured`: a log of distillate against what the model gives."""

from pathlib import Path

from tracking.cli import console
from tracking.cli.scene_words import scene_errors
from tracking.scenefile import SceneFile


def compare(scene_file: SceneFile, scene: Path, log: Path, *, as_json: bool) -> None:
    """Read the log, predict each interval and print both.

    Raises
    ------
    InputError
        If the log cannot be read.
    """
    from tracking.energy.measured import COVERAGE, compared, read_log, table_words
    from tracking.response import response_table

    intervals = read_log(log, scene_file)
    with scene_errors(scene):
        with console.progress_bar("Building the response table, once for this scene") as progress:
            table = response_table(scene_file, progress=progress)
        results = compared(scene_file, intervals, table)
    if not as_json:
        console.result(table_words(results, scene_file))
        return
    console.result(
        console.as_json(
            {
                "intervals": [
                    {
                        "start_utc": each.interval.start.isoformat(),
                        "end_utc": each.interval.end.isoformat(),
                        "measured_ml": each.interval.measured,
                        "predicted_ml": each.predicted,
                        "allowed_difference_ml": COVERAGE * each.uncertainty,
                        "ratio": each.ratio,
                        "agrees": each.agrees,
                    }
                    for each in results
                ]
            }
        )
    )
