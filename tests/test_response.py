"""The response table against direct traces, its symmetries, and how it is kept."""

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import raytrace.response.build as build_module
import raytrace.response.keep as keep_module
from raytrace.response import ResponseTable, build_response, load_or_build
from raytrace.scene import Lens, RowPose, Scene, SunOptics, Tubes
from raytrace.trace import prepare, trace_prepared
from tracking.mount import row_pose
from tracking.response import response_table
from tracking.scenefile import read_scene

LENS = Lens(width=0.4, length=0.5, focal_length=0.6, grooves_toward="tubes", cut_for="tubes", groove_pitch=0.002)
SCENE = Scene(
    lens=LENS,
    tubes=Tubes(count=3, spacing=0.06, length=0.7, absorber_diameter=0.05),
    sun=SunOptics(wavelength=587.6),
    lens_height=0.59,
)


def level(_tilt: float) -> RowPose:
    return RowPose.level(0.0)


def sloped(tilt: float) -> RowPose:
    t = math.radians(tilt)
    return RowPose(row=(math.cos(t), 0.0, math.sin(t)), tube=(0.0, 1.0, 0.0))


@pytest.fixture(scope="module")
def small() -> Iterator[None]:
    """Coarse tables: their errors are larger than those of real ones, their construction is the same."""
    with pytest.MonkeyPatch.context() as patch:
        for care, most_rays in (("CARE", 500_000), ("CARE_WITH_TILT", 6_000_000)):
            few = replace(
                getattr(build_module, care), rays_of_a_node=((0.05, 1 << 9), (math.inf, 1 << 11)), most_rays=most_rays
            )
            patch.setattr(build_module, care, few)
        patch.setattr(build_module, "CHECK_RAYS", 1 << 12)
        patch.setattr(build_module, "SCAN_STEP", 12.0)
        yield


@pytest.fixture(scope="module")
def table(small: None) -> ResponseTable:  # noqa: ARG001  (the patches must be in force)
    return build_response(SCENE, row_at=level, threads=2)


def test_a_table_says_what_traces_say(table: ResponseTable) -> None:
    rng = np.random.default_rng(3)
    angles = np.stack([rng.uniform(-8.0, 8.0, 8), rng.uniform(-40.0, 40.0, 8)])
    said = table.at(*angles)
    prepared = prepare(SCENE)
    for k, (across, along) in enumerate(angles.T):
        direct = trace_prepared(prepared, transversal_angle=across, longitudinal_angle=along, rays=1 << 14, seed=9)
        for n, tube in enumerate(direct.tubes):
            # A fortieth of the rays of a real table.
            assert said.intercepted[k, n] == pytest.approx(tube.intercepted_fraction.value, abs=0.02)
            assert said.absorbed[k, n] == pytest.approx(tube.absorbed_fraction.value, abs=0.02)
        assert said.centroid[k] == pytest.approx(direct.focal_line.centroid, abs=0.006)


def test_mirrored_suns_swap_the_tubes_and_nothing_comes_from_outside(table: ResponseTable) -> None:
    assert table.mirrored == (True, True)
    assert table.swaps == (True, False)
    right, left = table.at([3.0], [10.0]), table.at([-3.0], [-10.0])
    assert right.intercepted[0].tolist() == left.intercepted[0][::-1].tolist()
    assert right.centroid[0] == -left.centroid[0]
    end = table.domain.transversal[1]
    assert table.at([end + 0.1, -end - 0.1], [0.0, 0.0]).intercepted.sum() == 0.0


@pytest.mark.long
@pytest.mark.usefixtures("small")
def test_half_a_turn_takes_a_tilt_to_its_opposite() -> None:
    table = build_response(SCENE, row_at=sloped, tilts=(-60.0, 60.0), threads=2)
    up, down = table.at([1.0], [5.0], [40.0]), table.at([-1.0], [-5.0], [-40.0])
    assert up.intercepted[0].tolist() == down.intercepted[0][::-1].tolist()
    direct = trace_prepared(
        prepare(SCENE), transversal_angle=-1.0, longitudinal_angle=-5.0, row=sloped(-40.0), rays=1 << 16
    )
    assert [t.intercepted_fraction.value for t in direct.tubes] == pytest.approx(down.intercepted[0].tolist(), abs=0.02)
    with pytest.raises(ValueError, match="the tilt is needed"):
        table.at([1.0], [5.0])


def test_a_kept_table_is_read_back_and_a_damaged_one_built_anew(
    table: ResponseTable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    built: list[Scene] = []

    def build(scene: Scene, **_: object) -> ResponseTable:
        built.append(scene)
        return table

    monkeypatch.setattr(keep_module, "build_response", build)
    folder = tmp_path / "kept"

    def load(scene: Scene = SCENE) -> ResponseTable:
        return load_or_build(scene, row_at=level, folder=folder)

    load()
    (kept,) = folder.iterdir()
    again = load()
    assert len(built) == 1
    assert np.array_equal(table.values, again.values)
    assert again.error == table.error
    assert again.domain == table.domain
    whole = kept.read_bytes()
    for count, damage in enumerate((b"", b"no table", whole[: len(whole) // 2]), start=2):
        kept.write_bytes(damage)
        assert np.array_equal(load().values, table.values)
        assert len(built) == count
        assert kept.read_bytes() == whole
    load(replace(SCENE, lens_height=0.6))
    assert len(list(folder.iterdir())) == 2

    blocked = tmp_path / "a file"
    blocked.write_text("")
    assert load_or_build(SCENE, row_at=level, folder=blocked / "kept") is table


@pytest.mark.long
@pytest.mark.parametrize("path", sorted(Path("scenes").glob("*.toml")), ids=lambda p: p.stem)
def test_the_table_of_each_shipped_scene(path: Path) -> None:
    scene_file = read_scene(path)
    table, prepared = response_table(scene_file), prepare(scene_file.scene)
    rng = np.random.default_rng(11)
    count = 60
    across = rng.normal(0.0, 3.0, count)
    along, tilts = rng.uniform(-60.0, 60.0, count), rng.uniform(*scene_file.mount.tilt_limits, count)
    said = table.at(across, along, tilts).intercepted.sum(axis=1)
    direct = np.array(
        [
            trace_prepared(
                prepared,
                transversal_angle=t,
                longitudinal_angle=g,
                rays=1 << 18,
                seed=5,
                row=row_pose(scene_file.mount, h, scene_file.scene.tubes.angle_to_grooves),
            ).intercepted_fraction.value
            for t, g, h in zip(across, along, tilts, strict=True)
        ]
    )
    off = np.abs(said - direct)
    # The table's own promise, from 16 lit angles of its 32: an rms from so few is good to a factor of 1.5, and these
    # angles lie where most light arrives.
    assert np.sqrt((off**2).mean()) < 1.5 * table.error.where_lit + 1e-3
    assert off.max() < 4.0 * (1.5 * table.error.where_lit + 1e-3)
