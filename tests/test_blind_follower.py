"""Follows the printed plan blindly: its marks at its minutes, under a sun and a mount of its own, with direct traces.

Nothing is shared with the mount's or the plan's code but what the plan prints and the ray tracer. The sun follows
J. Meeus, Astronomical Algorithms, 2nd ed. 1998, ch. 25 (low accuracy, 0.01 deg; values from memory, to be confirmed),
with the refraction of Bennett's formula (ch. 16), so it stays within about 0.03 deg of the tool's own sun.
"""

import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest

from raytrace.scene import RowPose
from raytrace.trace import prepare, trace_prepared
from tracking.plans.moves import chosen_plan
from tracking.response import response_table
from tracking.scenefile import SceneFile, read_scene

SHARE = 0.9
TOLERANCE = 0.03
"""Two traces of 16,384 rays (each about 0.5 %), the table's own error, and the sun's step within a minute."""
RAYS = 16_384
DATES = (dt.date(2026, 3, 20), dt.date(2026, 6, 21), dt.date(2026, 12, 21))

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


def follow(scene: Path, date: dt.date, *, every: int, stretches: int = 1) -> list[str]:
    """What falls short, in words, at each `every`-th minute of each `stretches`-th stretch of the plan."""
    file = read_scene(scene)
    plan = chosen_plan(file, date, response_table(file), share=SHARE)
    assert plan.moves > 0
    machine, prepared = Machine(file), prepare(file.scene)

    def power(tilt: float, swivel: float, sun: Vector) -> float:
        transversal, longitudinal, cosine, row = machine.seen(tilt, swivel, sun)
        trace = trace_prepared(
            prepared, transversal_angle=transversal, longitudinal_angle=longitudinal, row=row, rays=RAYS, seed=1
        )
        return cosine * trace.absorbed_fraction.value

    def perfect(sun: Vector) -> float:
        """The best aim that this mount has, found by its own search: least angle across the grooves, then along."""
        kind, limits = machine.mount.kind, machine.mount.tilt_limits
        if kind == "polar":
            phi = math.radians(file.site.latitude)
            to_pole = sun[1] * math.cos(phi) + sun[2] * math.sin(phi)
            to_equator = -sun[1] * math.sin(phi) + sun[2] * math.cos(phi)
            hour_angle = math.degrees(math.atan2(-sun[0], to_equator))
            return power(min(max(math.degrees(math.asin(to_pole)), limits[0]), limits[1]), hour_angle, sun)
        if kind == "tilt":
            facing = math.radians(machine.mount.facing or 0.0)
            towards = sun[0] * math.sin(facing) + sun[1] * math.cos(facing)
            return power(
                min(max(math.degrees(math.atan2(towards, sun[2])), limits[0]), limits[1]),
                math.degrees(facing),
                sun,
            )
        tilt = 90.0 - math.degrees(math.asin(sun[2]))
        return power(min(max(tilt, limits[0]), limits[1]), math.degrees(math.atan2(sun[0], sun[1])), sun)

    short = []
    for stretch in plan.stretches[::stretches]:
        promised = min(SHARE, stretch.least_share)
        minutes = round((stretch.until - stretch.start) / dt.timedelta(minutes=1))
        # The last minute of a stretch is the hardest: it is always looked at, and so is the first.
        for minute in sorted({0, minutes, *range(0, minutes, every)}):
            moment = stretch.start.astimezone(dt.UTC) + dt.timedelta(minutes=minute)
            sun = sun_at(moment, file.site.latitude, file.site.longitude)
            share = power(stretch.setting.tilt, stretch.setting.swivel, sun) / perfect(sun)
            if share < promised - TOLERANCE:
                short.append(f"{moment:%H:%M} UTC: {share:.3f} of the {promised:.3f} promised, {stretch.setting}")
    return short


def test_the_plan_keeps_its_promise_on_an_equinox(simple_scene: Path) -> None:
    assert follow(simple_scene, DATES[0], every=100, stretches=8) == []


@pytest.mark.hours
@pytest.mark.parametrize("date", DATES, ids=str)
def test_the_plan_keeps_its_promise_at_every_minute(scene_path: Path, date: dt.date) -> None:
    assert follow(scene_path, date, every=1) == []
