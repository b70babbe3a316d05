"""How long whole processes take: the first run ever, which compiles, and the runs after it."""

import statistics
import tempfile
from pathlib import Path

from measuring import SCENES, is_quick, print_heading, print_table
from measuring.commands import Process, focalrow, run

DAY = "2026-03-20"
COLD_RUNS = 2


def row_of(name: str, wanted: str, processes: list[Process]) -> list[str]:
    """Medians of some processes."""
    wall, work = (statistics.median(getattr(p, name) for p in processes) for name in ("wall", "work"))
    return [name, f"{wall:.2f}", f"{work:.2f}", wanted]


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    runs = 1 if quick else 5
    scenes = SCENES[:1] if quick else SCENES
    threads, shown = "all", ", ".join(path.stem for path in scenes)
    print_heading("Whole processes, seconds", threads=threads, scene=shown, runs=runs)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        warm = Path(folder)
        for scene in scenes:
            name = scene.stem
            light, day = focalrow("light", scene), focalrow("day", scene, "--date", DAY)
            if quick:
                rows.append(row_of(f"light {name}, first run ever", "20", [run(light, warm)]))
                rows.append(row_of(f"light {name}", "2", [run(light, warm)]))
                continue
            for command, of in ((light, "light"), (day, "day")):
                cold = []
                for _ in range(COLD_RUNS):
                    with tempfile.TemporaryDirectory() as empty:
                        cold.append(run(command, Path(empty)))
                rows.append(row_of(f"{of} {name}, first run ever", "20", cold))
            run((*day, "--table"), warm)
            year = focalrow("year", scene)
            run(year, warm)
            for command, of, wanted in ((light, "light", "2"), (day, "day", "3.5"), (year, "year", "6")):
                kept = "" if of == "light" else ", table kept"
                rows.append(row_of(f"{of} {name}{kept}", wanted, [run(command, warm) for _ in range(runs)]))
        rows.append(row_of("--help", "0.4", [run(focalrow("--help"), warm) for _ in range(runs)]))
    print_table(["command", "clock", "processor time", "wanted, clock"], rows)
    print("\nA first run has an empty cache folder; the others use what one run before them has left there.")


if __name__ == "__main__":
    main()
