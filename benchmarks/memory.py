"""Peak memory of commands at their defaults, and of traces whose numbers of rays differ a hundredfold."""

import tempfile
from pathlib import Path

from measuring import SCENES, is_quick, print_heading, print_table
from measuring.commands import focalrow, run

DAY = "2026-03-20"


def main() -> None:
    """Measure and print."""
    quick = is_quick(__doc__ or "")
    scenes = SCENES[:1] if quick else SCENES
    counts = ("1000000", "10000000") if quick else ("1000000", "100000000")
    print_heading("Peak memory of whole processes", threads="all", scene="each row", runs=1)
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder)
        for scene in scenes:
            cold = run(focalrow("light", scene), cache)
            rows.append([f"light {scene.stem}, first run ever, compiles", f"{cold.peak:.0f}"])
            rows.append([f"light {scene.stem}", f"{run(focalrow('light', scene), cache).peak:.0f}"])
            for count in counts:
                peak = run(focalrow("light", scene, "--rays", count), cache).peak
                rows.append([f"light {scene.stem} --rays {count}", f"{peak:.0f}"])
            if not quick:
                for words in (("day", scene, "--date", DAY, "--table"), ("day", scene, "--date", DAY), ("year", scene)):
                    peak = run(focalrow(*words), cache).peak
                    building = ", builds the table" if "--table" in words else ""
                    rows.append([f"{words[0]} {scene.stem}{building}", f"{peak:.0f}"])
    print_table(["command", "peak, MB"], rows)
    print("\nwanted: below 600 MB, and as much for many rays as for few")


if __name__ == "__main__":
    main()
