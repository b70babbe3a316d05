"""Follows the printed plan blindly: its marks at its minutes, under a sun and a mount of its own, with direct traces.

Nothing is shared with the mount's or the plan's code but what the plan prints and the ray tracer. The sun follows
J. Meeus, Astronomical Algorithms, 2nd ed. 1998, ch. 25 (low accuracy, 0.01 deg; values from memory, to be confirmed),
with the refraction of Bennett's formula (ch. 16), so it stays within about 0.03 deg of the tool's own sun.
"""

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import ROOT
from pandas import DatetimeIndex

from raytrace.kernels.path import STARTED
from raytrace.points import Replicates
from raytrace.profile import profile_window
from raytrace.response import ResponseTable
from raytrace.scene import RowPose
from raytrace.trace import mean_ratio, prepare, run_replicates
from tracking.mount import Setting
from tracking.plans.moves import MovesPlan, Stretch, chosen_plan
from tracking.plans.season import season_pieces
from tracking.plans.validity import valid_days
from tracking.response import response_table
from tracking.scenefile import SceneFile, read_scene

SHARE = 0.9
TOLERANCE = 0.02
"""Of the share: for a sun that is up to 0.03 deg off, where a line focus loses a tenth within half a degree, and for
the table's error where it is larger than twice its rms, which the plan has taken off already."""
DATES = (dt.date(2026, 3, 20), dt.date(2026, 6, 21), dt.date(2026, 12, 21))
RAYS = (1 << 11, 1 << 13, 1 << 15, 1 << 17)
"""Rays of the first trace of a minute, and of those that follow while its error leaves open whether the promise is
kept: most minutes are clear at once."""
REPLICATES = 16
SURE = 4.5
"""Standard errors that make a minute clear: of 6000 minutes none is misjudged by chance (odds of 7e-6 each way)."""

Vector = tuple[float, float, float]


def sun_at(moment: dt.datetime, latitude: float, longitude: float) -> Vector:
    """East, north, up."""
    days = (moment - dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)).total_seconds() / 86400.0
    century = days / 36525.0
    mean_longitude = math.radians(280.46646 + 36000.76983 * century)
    anomaly = math.radians(357.52911 + 35999.05029 * century)
    centre = (1.914602 - 0.004817 * century) * math.sin(anomaly) + 0.019993 * math.sin(2 * anomaly)
    node = math.radians(125.04 - 1934.136 * century)
    ecliptic = mean_longitude + math.radians(centre + 0.000289 * math.sin(3 * anomaly) - 0.00569)
    ecliptic -= math.radians(0.00478) * math.sin(node)
    obliquity = math.radians(23.4392911 - 0.0130042 * century + 0.00256 * math.cos(node))
    right_ascension = math.atan2(math.cos(obliquity) * math.sin(ecliptic), math.cos(ecliptic))
    declination = math.asin(math.sin(obliquity) * math.sin(ecliptic))
    hour_angle = math.radians(280.46061837 + 360.98564736629 * days + longitude) - right_ascension
    phi = math.radians(latitude)
    east = -math.cos(declination) * math.sin(hour_angle)
    north = math.sin(declination) * math.cos(phi) - math.cos(declination) * math.cos(hour_angle) * math.sin(phi)
    up = math.sin(declination) * math.sin(phi) + math.cos(declination) * math.cos(hour_angle) * math.cos(phi)
    height = math.degrees(math.asin(up))
    lifted = math.radians(height + 1.02 / 60.0 / math.tan(math.radians(height + 10.3 / (height + 5.11))))
    level = math.cos(lifted) / math.hypot(east, north)
    return (east * level, north * level, math.sin(lifted))


def turned(vector: np.ndarray, axis: np.ndarray, angle: float) -> np.ndarray:
    """Rodrigues' rotation, right-handed, angle in [deg]."""
    a = math.radians(angle)
    return (
        vector * math.cos(a)
        + np.cross(axis, vector) * math.sin(a)
        + axis * float(np.dot(axis, vector)) * (1.0 - math.cos(a))
    )


class Machine:
    """Lens and row as things of wood: laid out flat, then tilted about an axle, then swivelled about a post."""

    def __init__(self, file: SceneFile) -> None:
        self.mount, self.site = file.mount, file.site
        self.turn = file.scene.tubes.angle_to_grooves

    def frames(self, tilt: float, swivel: float) -> tuple[np.ndarray, np.ndarray]:
        """Columns x, y, n of the lens, and of what turns with the base only, in east, north, up."""
        up = np.array([0.0, 0.0, 1.0])
        if self.mount.kind == "polar":
            phi = math.radians(self.site.latitude)
            post = np.array([0.0, math.cos(phi), math.sin(phi)])  # the axis to the pole
            # Laid out at hour angle 0 and declination 0: the normal in the meridian, leaning away from the pole.
            normal, lean = turned(up, np.array([1.0, 0.0, 0.0]), self.site.latitude), -post
            # Afternoon, hour angle positive: the normal turns westward about the pole.
            turn, tip = lambda v: turned(v, post, -swivel), -tilt
        else:
            normal, lean = up, np.array([0.0, 1.0, 0.0])  # laid out facing north
            turn, tip = lambda v: turned(v, up, -swivel), tilt
        axle = np.cross(normal, lean)
        flat = [lean, axle, normal] if self.mount.grooves == "level" else [-axle, lean, normal]
        # The normal goes towards the lean: about the axle n x d, right-handed, n turns into d.
        lens = np.stack([turn(turned(v, axle, tip)) for v in flat])
        base = np.stack([turn(v) for v in flat])
        return lens, base

    def seen(self, tilt: float, swivel: float, sun: Vector) -> tuple[float, float, float, RowPose]:
        lens, base = self.frames(tilt, swivel)
        x, y, z = (lens @ np.array(sun)).tolist()
        w = math.radians(self.turn)
        holder = lens if self.mount.row_turns_with == "lens" else base
        row = lens @ (math.cos(w) * holder[0] + math.sin(w) * holder[1])
        tube = lens @ (-math.sin(w) * holder[0] + math.cos(w) * holder[1])
        pose = RowPose(row=tuple(row.tolist()), tube=tuple(tube.tolist()))
        return math.degrees(math.atan2(x, z)), math.degrees(math.atan2(y, z)), z, pose


class Light:
    """Absorbed power by direct traces, per watt of DNI on a square metre: its value and its standard error."""

    def __init__(self, file: SceneFile) -> None:
        self.file, self.machine, self.prepared = file, Machine(file), prepare(file.scene)
        self.known: dict[tuple[float, ...], tuple[float, float]] = {}

    def power(self, tilt: float, swivel: float, sun: Vector, rays: int) -> tuple[float, float]:
        transversal, longitudinal, cosine, row = self.machine.seen(tilt, swivel, sun)
        # A lens that is aimed with both axes sees the sun in one place all day.
        place = (round(transversal, 9), round(longitudinal, 9), *np.round([*row.row, *row.tube], 9).tolist(), rays)
        if place not in self.known:
            tangents = (math.tan(math.radians(transversal)), math.tan(math.radians(longitudinal)))
            window = profile_window(self.file.scene, tangents[0])
            inputs = self.prepared.inputs(*tangents, row, window)
            plan = Replicates(count=REPLICATES, rays_each=rays // REPLICATES, groups=REPLICATES)
            sums = run_replicates(inputs, plan=plan, seed=1, threads=1, with_flux=False)
            found = mean_ratio(sums.tubes[:, 1].sum(axis=1), sums.totals[:, STARTED])
            self.known[place] = (found.value, found.standard_error)
        value, error = self.known[place]
        return cosine * value, cosine * error

    def perfect(self, sun: Vector, rays: int) -> tuple[float, float]:
        """The best aim that this mount has, found by its own search: least angle across the grooves, then along."""
        mount = self.machine.mount
        limits = mount.tilt_limits
        if mount.kind == "polar":
            phi = math.radians(self.file.site.latitude)
            to_pole = sun[1] * math.cos(phi) + sun[2] * math.sin(phi)
            to_equator = -sun[1] * math.sin(phi) + sun[2] * math.cos(phi)
            swivel = math.degrees(math.atan2(-sun[0], to_equator))
            assert mount.swivel_limits is not None
            swivel = min(max(swivel, mount.swivel_limits[0]), mount.swivel_limits[1])
            turned_away = -sun[0] * math.sin(math.radians(swivel)) + to_equator * math.cos(math.radians(swivel))
            tilt = math.degrees(math.atan2(to_pole, turned_away))
        elif mount.kind == "tilt":
            swivel = mount.facing or 0.0
            facing = math.radians(swivel)
            towards = sun[0] * math.sin(facing) + sun[1] * math.cos(facing)
            tilt = math.degrees(math.atan2(towards, sun[2]))
        else:
            tilt, swivel = 90.0 - math.degrees(math.asin(sun[2])), math.degrees(math.atan2(sun[0], sun[1]))
        return self.power(min(max(tilt, limits[0]), limits[1]), swivel, sun, rays)

    def share(self, tilt: float, swivel: float, sun: Vector, least: float) -> tuple[float, float]:
        """Share of the power of perfect aiming and its error, as exact as it takes to tell it from `least`."""
        for rays in RAYS:
            (power, error), (best, best_error) = self.power(tilt, swivel, sun, rays), self.perfect(sun, rays)
            share = power / best
            uncertain = math.hypot(error, share * best_error) / best
            if abs(share - least) > SURE * uncertain:
                break
        return share, uncertain


def follow(
    file: SceneFile, plan: MovesPlan, *, every: int = 1, stretches: int = 1, least_elevation: float = 0.0
) -> list[str]:
    """What falls short, in words, at each `every`-th minute of each `stretches`-th row of the plan.

    Short is a minute whose traces say so beyond their error. Minutes with the sun below `least_elevation` [deg] do not
    count.
    """
    assert plan.moves > 0
    light = Light(file)
    short = []
    for stretch in plan.stretches[::stretches]:
        # What is printed: clock times to the minute, marks in degrees, and the share that the row promises.
        start = dt.datetime.fromisoformat(f"{stretch.start:%Y-%m-%d %H:%M%z}")
        minutes = round((stretch.until - start) / dt.timedelta(minutes=1))
        tilt, swivel = float(f"{stretch.setting.tilt:g}"), float(f"{stretch.setting.swivel:g}")
        promised = min(SHARE, stretch.least_share)
        # The last minute of a row is the hardest: it is always looked at, and so is the first.
        for minute in sorted({0, minutes, *range(0, minutes, every)}):
            moment = start.astimezone(dt.UTC) + dt.timedelta(minutes=minute)
            sun = sun_at(moment, file.site.latitude, file.site.longitude)
            if sun[2] < math.sin(math.radians(least_elevation)):
                continue
            share, error = light.share(tilt, swivel, sun, promised - TOLERANCE)
            if share + SURE * error < promised - TOLERANCE:
                short.append(f"{moment:%H:%M} UTC: {share:.3f} +- {error:.3f} of {promised:.3f}, {tilt:g} {swivel:g}")
    return short


def test_the_sun_of_the_follower_agrees_with_a_library() -> None:
    from pvlib.solarposition import spa_python  # a general library, by another algorithm than the one above

    moment = dt.datetime(2026, 3, 20, 16, 0, tzinfo=dt.UTC)
    there = spa_python(DatetimeIndex([moment]), 13.9, -90.4, altitude=700.0).iloc[0]
    azimuth, elevation = math.radians(there["azimuth"]), math.radians(there["apparent_elevation"])
    level = math.cos(elevation)
    other = (level * math.sin(azimuth), level * math.cos(azimuth), math.sin(elevation))
    assert math.degrees(math.acos(float(np.dot(other, sun_at(moment, 13.9, -90.4))))) < 0.03


def test_the_plan_keeps_its_promise_and_marks_beside_it_do_not(simple_scene: Path) -> None:
    file = read_scene(simple_scene)
    plan = chosen_plan(file, DATES[0], response_table(file), share=SHARE)
    assert follow(file, plan, every=100, stretches=8) == []
    beside = tuple(replace(s, setting=Setting(s.setting.tilt + 2.0, s.setting.swivel)) for s in plan.stretches)
    assert follow(file, replace(plan, stretches=beside), every=100, stretches=8)


@pytest.mark.long
@pytest.mark.parametrize("date", DATES, ids=str)
def test_the_plan_keeps_its_promise_at_every_minute(
    scene_path: Path, date: dt.date, shipped_table: Callable[[Path], ResponseTable]
) -> None:
    file = read_scene(scene_path)
    assert follow(file, chosen_plan(file, date, shipped_table(scene_path), share=SHARE)) == []


def on_day(plan: MovesPlan, date: dt.date, promised: float | None) -> MovesPlan:
    """The plan's marks at its clock times on another day, with another share promised in each row."""
    assert promised is not None

    def moved(stretch: Stretch) -> Stretch:
        start, until = (dt.datetime.combine(date, t.time(), tzinfo=t.tzinfo) for t in (stretch.start, stretch.until))
        return replace(stretch, start=start, until=until, least_share=promised)

    return replace(plan, stretches=tuple(moved(stretch) for stretch in plan.stretches))


AIMED_FROM = 5.1
"""Elevation [deg] from which a day of a season or of a sheet's validity counts: nothing is aimed below 5 deg, and the
two suns differ by some hundredths."""


@pytest.mark.long
def test_a_table_of_a_week_keeps_on_each_day_what_it_tells(
    scene_path: Path, shipped_table: Callable[[Path], ResponseTable]
) -> None:
    file = read_scene(scene_path)
    first = dt.date(2026, 9, 15)
    (piece,) = season_pieces(file, first, first + dt.timedelta(6), shipped_table(scene_path), days=7)
    for day in piece.days[1::4]:  # neither the first, the middle nor the last, for which it was planned
        plan = on_day(piece.plan, day.date, day.least_share)
        assert follow(file, plan, every=60, stretches=4, least_elevation=AIMED_FROM) == []


@pytest.mark.long
def test_a_sheet_keeps_its_share_on_the_days_for_which_it_is_valid(
    shipped_table: Callable[[Path], ResponseTable],
) -> None:
    path = ROOT / "scenes" / "tropics.toml"
    file, table = read_scene(path), shipped_table(path)
    plan = chosen_plan(file, DATES[0], table, share=SHARE)
    valid = valid_days(file, table, plan)
    assert valid.first < DATES[0] < valid.last
    for date in (valid.first, valid.last):
        there = on_day(plan, date, valid.least_share)
        assert follow(file, there, every=60, stretches=3, least_elevation=AIMED_FROM) == []
