"""`focalrow draw`: every file is there and valid, and carries the numbers of `focalrow light`."""

import io
import json
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh
from conftest import Run

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
    for name in ("w50_m", "w90_m", "w95_m"):
        assert drawn["focal-line"][name] == light["focal_line"][name]
    assert f"{100 * light['ledger']['absorbed']:.1f} % is absorbed" in drawn["ledger"]["alt"]
    assert np.shape(drawn["efficiency"]["absorbed_fraction"]) == (21, 31)
    for kind in ("stl", "ply"):
        lens = trimesh.load(io.BytesIO((out / f"lens.{kind}").read_bytes()), file_type=kind, force="mesh")
        volume = numbers["machine"]["solids"][0]["volume_m3"]
        assert lens.volume == pytest.approx(volume, rel=1e-3)  # float32 over grooves some 0.1 mm deep
    glb = trimesh.load(io.BytesIO((out / "machine.glb").read_bytes()), file_type="glb")
    assert {"lens", "absorber 1", "absorber 2", "arm 1", "base plate", "rays"} <= set(glb.geometry)
    assert 'src="http' not in (out / "viewer.html").read_text(encoding="utf-8")


def test_draw_needs_a_folder(focalrow: Callable[..., Run], simple_scene: Path) -> None:
    run = focalrow("draw", simple_scene)
    assert run.status == 2
    assert "--out" in run.err
