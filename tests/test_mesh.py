"""Solids: closed, of the volume that geometry gives them, and files that a general library reads back."""

import io
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from raytrace import mesh
from raytrace.lens import grooves_of
from raytrace.optics.materials import material_named
from raytrace.paths import RayPath
from raytrace.scene import Envelope, Lens, RowPose, Scene, SunOptics, Tubes
from tracking.mount import row_pose
from tracking.paper.solids import machine
from tracking.scenefile import read_scene

LENS = Lens(width=0.3, length=0.4, focal_length=0.5, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.002)
GLASS = Envelope(outer_diameter=0.058, wall=0.0016, material=material_named("borosilicate"))
TUBES = Tubes(count=3, length=0.8, absorber_diameter=0.047, spacing=0.07, envelope=GLASS)
SCENE = Scene(lens=LENS, tubes=TUBES, sun=SunOptics(), lens_height=0.5)
RAYS = (
    RayPath(points=np.array([[0.0, 0.0, 0.2], [0.0, 0.0, 0.0], [0.1, 0.0, -0.5]]), fate="missed", tube=None,
            wavelength=500.0, weight=0.9),
)  # fmt: skip


@pytest.mark.parametrize("toward", ["tubes", "sun"])
@pytest.mark.parametrize("draft", [0.0, 3.0, 15.0])
@pytest.mark.parametrize("sag", [0.0, 0.01])
def test_lens_is_a_closed_body_of_the_sheet_less_its_grooves(toward: str, draft: float, sag: float) -> None:
    lens = replace(LENS, grooves_toward=toward, cut_for=toward, draft_angle=draft, sag=sag)  # type: ignore[arg-type]
    solid = mesh.lens_solid(lens)
    assert solid.is_watertight
    grooves = grooves_of(lens)
    # A groove is a triangle of air, pitch wide and depth high; two of each. Bending by a shear along z keeps volumes,
    # but for the chords of the bent face between its vertices: less than 1e-4 of the sheet.
    volume = lens.length * (lens.width * lens.thickness - float((grooves.pitch * grooves.depth).sum()))
    assert solid.volume == pytest.approx(volume, rel=1e-12 if sag == 0.0 else 1e-4)
    low, high = solid.vertices.min(axis=0), solid.vertices.max(axis=0)
    assert high - low == pytest.approx([0.3, 0.4, lens.thickness + sag], rel=1e-9, abs=5e-4 if sag else 1e-9)
    assert solid.mass == pytest.approx(lens.material.density * solid.volume)


def test_coarse_lens_stays_within_its_sheet() -> None:
    coarse = mesh.lens_solid(LENS, grooves_a_half=2)
    assert coarse.is_watertight
    assert len(coarse.faces) < len(mesh.lens_solid(LENS).faces)
    assert coarse.vertices[:, 2].min() == 0.0
    assert coarse.vertices[:, 2].max() == LENS.thickness


def test_tubes_have_the_volume_of_cylinders_and_lie_where_the_row_does() -> None:
    w = math.radians(30.0)
    row = RowPose(row=(math.cos(w), math.sin(w), 0.0), tube=(-math.sin(w), math.cos(w), 0.0))
    solids = mesh.tube_solids(SCENE, row)
    assert [solid.name for solid in solids[:2]] == ["absorber 1", "envelope 1"]
    assert len(solids) == 2 * TUBES.count
    assert all(solid.is_watertight for solid in solids)
    assert solids[0].volume == pytest.approx(math.pi * 0.0235**2 * 0.8)
    assert solids[1].volume == pytest.approx(math.pi * (0.029**2 - 0.0274**2) * 0.8)
    middle = solids[4].vertices.mean(axis=0)
    assert middle == pytest.approx(0.07 * np.array(row.row) + [0.0, 0.0, -0.5], abs=1e-9)


def test_files_are_read_back_by_trimesh() -> None:
    solids = [mesh.lens_solid(LENS, grooves_a_half=8), *mesh.tube_solids(SCENE)]
    solids += mesh.arm_solids(SCENE, axis_along_grooves=True)
    assert all(solid.is_watertight and solid.volume > 0.0 for solid in solids)
    for kind in ("stl", "ply"):
        read = trimesh.load(io.BytesIO(mesh.mesh_bytes(solids, kind)), file_type=kind, force="mesh")
        assert read.volume == pytest.approx(sum(solid.volume for solid in solids), rel=1e-5)  # files hold float32
    glb = trimesh.load(io.BytesIO(mesh.glb_bytes(solids, RAYS)), file_type="glb")
    assert {solid.name for solid in solids} <= set(glb.geometry)
    assert "rays" in glb.geometry
    # GLB counts y up: what is 0.5 m below the lens has y = -0.5 m.
    assert glb.bounds[0][1] == pytest.approx(-0.5 - 0.03, abs=1e-6)


def test_lines_go_to_ply_with_their_edges() -> None:
    lines = mesh.lines_ply(RAYS).splitlines()
    assert lines[-2:] == ["0 1", "1 2"]
    assert "element edge 2" in lines


def test_viewer_needs_no_network() -> None:
    page = mesh.viewer_html([mesh.lens_solid(LENS, grooves_a_half=4)], RAYS)
    assert 'src="http' not in page
    assert 'href="http' not in page


def test_bodies_of_a_glb_file_are_matt_and_keep_their_colour() -> None:
    # glTF 2.0, 3.9.2: a material without metallicFactor counts as metal, and colours are in proportion to light.
    data = mesh.glb_bytes([mesh.lens_solid(LENS, grooves_a_half=4), mesh.box("post", (0, 0, 0), (1, 1, 1), mesh.WOOD)])
    length = int.from_bytes(data[12:16], "little")
    materials = json.loads(data[20 : 20 + length])["materials"]
    assert [each["pbrMetallicRoughness"]["metallicFactor"] for each in materials] == [0.0, 0.0]
    assert [each["alphaMode"] for each in materials] == ["BLEND", "OPAQUE"]
    red = materials[1]["pbrMetallicRoughness"]["baseColorFactor"][0]
    # IEC 61966-2-1 for 222 of 255: ((0.8706 + 0.055) / 1.055)**2.4 = 0.730; an exponent of 2.2 is 0.737.
    assert red == pytest.approx(0.730, abs=0.01)


def test_viewer_names_what_it_shows_and_may_be_enlarged() -> None:
    page = mesh.viewer_html([mesh.lens_solid(LENS, grooves_a_half=4)], RAYS, title="Lens & tubes")
    assert "<title>Lens &amp; tubes</title>" in page
    assert "user-scalable=no" not in page
    assert page.count(mesh.VIEWER_NOTE) == 1
    assert page.count(mesh.LIGHT) == 1  # the library's page still has the lamp that it stands for


def test_sheet_has_the_mass_of_its_volume() -> None:
    # Density of cast PMMA sheet, as data sheets print it: 1190 kg/m3 (value from memory, to be confirmed).
    solid = mesh.lens_solid(LENS)
    assert solid.mass is not None
    assert solid.mass / solid.volume == pytest.approx(1190.0, rel=0.01)
    # A sheet of 0.3 m x 0.4 m x 3 mm without its grooves weighs 0.43 kg: with them it is lighter, but not by half.
    assert 0.2 < solid.mass < 0.3 * 0.4 * 0.003 * 1190.0


def test_machine_stands_on_the_ground_of_closed_bodies(simple_scene: Path) -> None:
    scene_file = read_scene(simple_scene)
    row = row_pose(scene_file.mount, 30.0, scene_file.scene.tubes.angle_to_grooves)
    made = machine(scene_file, tilt=30.0, swivel=135.0, row=row)
    names = [solid.name for solid in made.solids]
    assert names == ["lens", "absorber 1", "absorber 2", "arm 1", "arm 2", "base plate", "base post"]
    bodies = (made.true_lens, *made.solids)
    assert all(solid.is_watertight and solid.volume > 0.0 for solid in bodies)
    assert min(solid.vertices[:, 2].min() for solid in bodies) == pytest.approx(0.0, abs=1e-12)
    # The plate is a square as long as the sheet's longer side, 0.6 m, and 30 mm thick; the scene knows no density.
    plate = made.solids[names.index("base plate")]
    assert plate.volume == pytest.approx(0.6 * 0.6 * 0.03)
    assert plate.mass is None
    # The sheet is thin along its normal, which leans by 30 deg to azimuth 135 deg: south-east.
    spread = made.true_lens.vertices - made.true_lens.vertices.mean(axis=0)
    normal = np.linalg.svd(spread, full_matrices=False)[2][2]
    lean = math.sin(math.radians(30.0)) / math.sqrt(2.0)
    assert normal * np.sign(normal[2]) == pytest.approx([lean, -lean, math.cos(math.radians(30.0))], abs=1e-4)
