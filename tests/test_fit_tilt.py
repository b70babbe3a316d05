"""Tilts: closed forms for a surface that takes light from anywhere, seasons, the reach of a frame."""

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import flat_table

from tracking.energy.fit.hours import Span, aimed_settings, hours_of, sunlight
from tracking.energy.fit.judge import Judge, within_marks
from tracking.energy.fit.moving import by_plan, seasonal, standing_still
from tracking.energy.fit.reach import reaches
from tracking.energy.fit.seasons import best_parts, seasonal_tilts
from tracking.energy.fit.setting import best_setting
from tracking.mount import Mount
from tracking.scenefile import SceneFile, read_scene

EQUINOX, SUMMER = Span(year=2026, month=3, day=20), Span(year=2026, month=6, day=21)


def scene_at(path: Path, latitude: float, mount: Mount | None = None) -> SceneFile:
    file = read_scene(path)
    return replace(file, site=replace(file.site, latitude=latitude), mount=mount or file.mount)


def fixed(tilt: float = 10.0, facing: float = 180.0) -> Mount:
    return Mount(kind="fixed", tilt=tilt, facing=facing)


# With the sun in the equator's plane, cos(incidence) = cos(latitude - tilt) cos(hour angle) for a surface that faces
# the equator: J. A. Duffie and W. A. Beckman, Solar Engineering of Thermal Processes, eq. 1.6.2. So the best tilt of a
# surface that takes light from anywhere, under the same DNI at all times, is the latitude. The sun's declination on
# that day, -0.1 to +0.1 deg, and a grid of half a degree allow 1 deg.
@pytest.mark.parametrize(("latitude", "facing"), [(40.0, 180.0), (-35.0, 0.0)])
def test_the_best_fixed_tilt_at_the_equinox_is_the_latitude(simple_scene: Path, latitude: float, facing: float) -> None:
    file = scene_at(simple_scene, latitude, fixed())
    hours = hours_of(file, EQUINOX)
    found = best_setting(Judge(file, hours.only(np.arange(0, len(hours), 8)), flat_table(tubes=2)))
    assert found.tilt == pytest.approx(abs(latitude), abs=1.0)
    assert abs((found.swivel - facing + 180.0) % 360.0 - 180.0) <= 3.0


def test_at_noon_of_summer_the_best_tilt_is_less_by_the_declination(simple_scene: Path) -> None:
    """At the solstice the noon sun stands 23.44 deg from the equator; hours around noon alone count here."""
    file = scene_at(simple_scene, 50.0, fixed())
    hours = hours_of(file, SUMMER)
    noon = hours.only(np.flatnonzero(np.abs(hours.azimuth - 180.0) < 10.0)[::3])
    found = best_setting(Judge(file, noon, flat_table(tubes=2)))
    assert found.tilt == pytest.approx(50.0 - 23.44, abs=1.0)


def test_parts_of_the_year_against_all_cuts() -> None:
    rng = np.random.default_rng(5)
    energies = rng.random((8, 4))
    for count in (2, 3, 4):
        parts = best_parts(energies, count)
        best = max(
            sum(
                energies[[k % 8 for k in range(first, last)]].sum(axis=0).max()
                for first, last in zip(cuts, [*cuts[1:], cuts[0] + 8], strict=True)
            )
            for cuts in itertools.combinations(range(8), count)
        )
        ends = [first for first, _ in parts[1:]] + [parts[0][0] + 8]
        held = sum(
            energies[[k % 8 for k in range(first, last)], setting].sum()
            for (first, setting), last in zip(parts, ends, strict=True)
        )
        assert held == pytest.approx(best, rel=1e-12)
    assert best_parts(energies, 1) == ((0, int(np.argmax(energies.sum(axis=0)))),)


def test_more_settings_a_year_never_hold_less(simple_scene: Path) -> None:
    mount = Mount(kind="tilt", facing=180.0, tilt_range=(0.0, 90.0), tilt_marks=5.0)
    file = scene_at(simple_scene, 40.0, mount)
    hours = hours_of(file, Span(year=2026))
    judge = Judge(file, hours.only(np.arange(0, len(hours), 25)), flat_table(tubes=2))
    found = seasonal_tilts(judge, 180.0)
    held = [float(judge.absorbed(judge.light(each.tilt, each.swivel)).sum()) for each in found]
    assert [len(each.seasons) for each in found] == [1, 2, 4, 12]
    assert held[0] < held[1] < held[2] <= held[3] * 1.001
    summer = next(season.tilt for season in found[-1].seasons if season.start.month == 6)
    winter = next(season.tilt for season in found[-1].seasons if season.start.month == 12)
    # A surface that takes light from anywhere wants latitude -+ declination at noon. In the mornings and evenings of
    # summer the sun stands on its other side, beyond east and west, and in those of winter low: both take the tilt on.
    assert summer < 40.0 - 23.44
    assert 40.0 + 23.44 < winter < 80.0


def test_short_frames_lose_ever_more(simple_scene: Path) -> None:
    file = scene_at(simple_scene, 40.0)
    hours = hours_of(file, EQUINOX)
    judge = Judge(file, hours.only(np.arange(0, len(hours), 4)), flat_table(tubes=2))
    found = {(reach.axis, reach.end): reach for reach in reaches(judge)}
    assert set(found) == {("tilt", "lowest"), ("tilt", "highest"), ("swivel", "lowest"), ("swivel", "highest")}
    # The lens leans from 90 deg less the noon sun's 50 deg down to the least elevation for aiming, 5 deg.
    assert found["tilt", "lowest"].needed == pytest.approx(40.0, abs=0.5)
    assert found["tilt", "highest"].needed == pytest.approx(84.2, abs=0.8)
    for reach in found.values():
        losses = [0.0, *(short.loss for short in reach.short)]
        assert all(before <= after + 1e-12 for before, after in itertools.pairwise(losses))
        assert losses[-1] > 0.0


def test_marks_within_a_range() -> None:
    assert within_marks(5.0, (-7.0, 11.0), 1.0).tolist() == [-5.0, 0.0, 5.0, 10.0]
    assert within_marks((-20.0, 0.0, 10.0), (-7.0, 11.0), 1.0).tolist() == [0.0, 10.0]
    assert within_marks(None, (-1.5, 1.0), 1.0).tolist() == [-1.5, -1.0, 0.0, 1.0]


def test_ways_of_moving_on_a_day(simple_scene: Path) -> None:
    file = scene_at(simple_scene, 40.0, Mount(kind="swivel-tilt", tilt_marks=10.0, swivel_marks=20.0))
    hours = hours_of(file, EQUINOX)
    table = flat_table(tubes=2)
    judge = Judge(file, hours, table)
    aimed = sunlight(file, hours, *aimed_settings(file.mount, hours)).total
    still, moved = standing_still(judge), by_plan(file, EQUINOX, hours, table)
    assert still.setting is not None
    assert still.light.total < moved.light.total <= aimed * (1.0 + 1e-9)
    assert seasonal(judge).light.total == pytest.approx(still.light.total, rel=0.02)
    assert [plan.date for plan in moved.plans] == [file_date := hours.span.limits()[0]]
    assert file_date.month == 3
