"""`focalrow draw`: every file is there and valid, and carries the numbers of `focalrow light`."""

import datetime as dt
import io
import json
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from conftest import Run
from matplotlib.image import imread

from raytrace.scene import RowPose
from raytrace.trace import trace
from tracking.paper.light_figures import focal_line
from tracking.paper.light_view import LightView
from tracking.paper.reach_figure import _hour
from tracking.paper.sun_figures import _half_width, band_words
from tracking.paper.tube_figures import _middle_of, flux
from tracking.scenefile import read_scene

PICTURES = {
    "section", "focal-line", "flux-maps", "flux-rings", "ledger", "sun-and-reach", "efficiency", "heights",
}  # fmt: skip
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"  # ISO/IEC 15948:2004, 5.2


@pytest.mark.long
def test_draw_writes_pictures_and_solids_with_the_numbers_of_light(
    focalrow: Callable[..., Run], simple_scene: Path, tmp_path: Path
) -> None:
    out = tmp_path / "drawn"
    run = focalrow("draw", simple_scene, "--out", out, "--date", "2026-06-21", "--rays", "65536", "--json",
                   "--longitudinal", "5 deg")  # fmt: skip
    assert run.status == 0, run.err
    numbers = json.loads(run.out)
    assert numbers == json.loads((out / "draw.json").read_text(encoding="utf-8"))
    assert set(numbers["pictures"]) == PICTURES
    for name, picture in numbers["pictures"].items():
        assert (out / f"{name}.png").read_bytes().startswith(PNG_SIGNATURE)
        root = ET.fromstring((out / f"{name}.svg").read_bytes())  # noqa: S314  our own file
        assert root.tag.endswith("svg")
        assert len(picture["alt"]) > 60
    light = json.loads(focalrow("light", simple_scene, "--longitudinal", "5 deg", "--rays", "65536", "--json").out)
    drawn = numbers["pictures"]
    assert {k: v for k, v in drawn["ledger"].items() if k in light["ledger"]} == light["ledger"]
    assert drawn["section"]["intercepted_fraction"] == light["intercepted_fraction"]["value"]
    assert drawn["flux-maps"]["peak_flux_w_m2"] == [tube["peak_flux_w_m2"] for tube in light["tubes"]]
    peaks = [tube["peak_flux_w_m2"] for tube in light["tubes"]]
    highest = f"the highest peak is {max(peaks) / 1e3:.1f} kW/m2, on tube {1 + peaks.index(max(peaks))}"
    assert highest in drawn["flux-maps"]["alt"]
    assert highest in drawn["flux-rings"]["alt"]
    for name in ("w50_m", "w90_m", "w95_m"):
        assert drawn["focal-line"][name] == light["focal_line"][name]
        assert f"within {1e3 * light['focal_line'][name]:.1f} mm" in drawn["focal-line"]["alt"]
    assert "the 2 absorbers are 38 mm across, 40 mm from axis to axis" in drawn["focal-line"]["alt"]
    assert f"{100 * light['ledger']['absorbed']:.1f} % is absorbed" in drawn["ledger"]["alt"]
    check_day_and_efficiency(focalrow, simple_scene, drawn)
    for kind in ("stl", "ply"):
        lens = trimesh.load(io.BytesIO((out / f"lens.{kind}").read_bytes()), file_type=kind, force="mesh")
        volume = numbers["machine"]["solids"][0]["volume_m3"]
        assert lens.volume == pytest.approx(volume, rel=1e-3)  # float32 over grooves some 0.1 mm deep
    glb = trimesh.load(io.BytesIO((out / "machine.glb").read_bytes()), file_type="glb")
    assert {"lens", "absorber 1", "absorber 2", "arm 1", "base plate", "rays"} <= set(glb.geometry)
    assert 'src="http' not in (out / "viewer.html").read_text(encoding="utf-8")


def check_day_and_efficiency(focalrow: Callable[..., Run], scene: Path, drawn: dict[str, Any]) -> None:
    day = json.loads(focalrow("day", scene, "--date", "2026-06-21", "--json").out)
    moves = drawn["sun-and-reach"]["moves"]
    assert len(moves) > 3
    for key in ("set_at_local", "good_until_local", "tilt_deg", "swivel_deg"):
        assert [move[key] for move in moves] == [row[key] for row in day["plan"]["moves"]]
    assert drawn["sun-and-reach"]["tilt_deg"] == [i["tilt_deg"] for i in day["instants"] if i["tilt_deg"] is not None]
    assert f"sets the lens {len(moves)} times" in drawn["sun-and-reach"]["alt"]
    efficiency = np.array(drawn["efficiency"]["absorbed_fraction"])
    across, along = (np.array(drawn["efficiency"][f"{name}_angle_deg"]) for name in ("transversal", "longitudinal"))
    assert efficiency.shape == (len(along), len(across))
    row, column = int(np.argmin(abs(along - 5.0))), len(across) // 2
    light = json.loads(
        focalrow("light", scene, "--longitudinal", f"{along[row]:.6f} deg", "--rays", "262144", "--json").out
    )
    # Table and trace: four times the table's rms, which counts with errors of 3e-4 and more at its nodes.
    assert efficiency[row, column] == pytest.approx(light["absorbed_fraction"]["value"], abs=0.005)
    heights = drawn["heights"]
    here = heights["lens_height_m"].index(0.49)
    day_of = heights["dates"].index("2026-06-21")
    # A sum over full hours against one over quarters of an hour: 3 % is what the two rules may differ by.
    assert heights["absorbed_kwh"][day_of][here] == pytest.approx(day["totals"]["absorbed_kwh"], rel=0.03)


def test_draw_needs_a_folder(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("draw", simple_scene)
    assert run.status == 2
    assert "--out" in run.err


def test_words_of_pictures_hold_where_curves_are_lopsided_or_broken() -> None:
    along = np.array([-20.0, -10.0, 0.0, 10.0, 20.0])
    # Half of the best is kept up to -10 and +10 deg; what comes again farther out does not count.
    assert _half_width(along, np.array([0.9, 0.4, 1.0, 0.6, 0.4])) == 0.0
    assert _half_width(along, np.array([0.2, 0.6, 1.0, 0.6, 0.9])) == 10.0
    assert _half_width(along, np.array([0.9, 0.9, 0.9, 1.0, 0.9])) == 10.0  # no end within the map on the near side
    edges = np.linspace(0.0, 360.0, 73)
    ring = np.zeros(72)
    ring[[0, 71]] = 1.0
    assert _middle_of(ring, edges) == pytest.approx(0.0, abs=1e-9)
    ring[[0, 71]], ring[70] = 0.0, 2.0  # between 350 and 355 deg
    assert _middle_of(ring, edges) == pytest.approx(-7.5)
    tried = np.array([0.5, 0.6, 0.7])
    assert band_words(tried[[0, 2]], tried) == "best anywhere from 500 to 700 mm"
    assert band_words(tried[[0, 1]], tried) == "best 600 mm or lower"
    assert band_words(tried[[1, 1]], tried) == "best at 600 mm"
    assert band_words(None, tried) == "no light"


def test_a_plan_that_ends_at_midnight_ends_at_24_h() -> None:
    date = dt.date(2026, 6, 21)
    assert _hour(dt.datetime(2026, 6, 21, 23, 30, tzinfo=dt.UTC), date) == 23.5
    assert _hour(dt.datetime(2026, 6, 22, 0, 0, tzinfo=dt.UTC), date) == 24.0


def test_absorbers_stand_in_the_profile_where_they_are(simple_scene: Path) -> None:
    scene = read_scene(simple_scene).scene
    bands = {}
    for angle in (0.0, 90.0):
        row = RowPose.level(angle)
        found = trace(scene, transversal_angle=1.0, longitudinal_angle=0.0, rays=4096, row=row)
        view = LightView(scene=scene, trace=found, row=row, dni=800.0)
        assert view.along_grooves == (angle == 0.0)
        maps, rings = flux(view)
        # Colours end at the peak that the tables tell, not at the brightest of noisy patches.
        assert maps.figure.axes[0].collections[0].get_clim() == (0.0, max(maps.numbers["peak_flux_w_m2"]) / 1e3)
        assert imread(io.BytesIO(rings.png()))[0].min() == 1.0, "the titles of the rings are cut off"
        top = focal_line(view).figure.axes[0]
        boxes = [patch.get_extents().transformed(top.transData.inverted()) for patch in top.patches]
        bands[angle] = sorted((box.x0, box.x1) for box in boxes if box.width < 100.0)
    # Two tubes of 38 mm, 40 mm apart, about the middle of the row, though the line lies 9 mm beside it.
    assert np.array(bands[0.0]) == pytest.approx(np.array([[-39.0, -1.0], [1.0, 39.0]]), abs=1e-6)
    assert bands[90.0] == []
