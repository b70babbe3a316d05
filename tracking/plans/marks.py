"""What each setting of the mount's marks gives at each minute of a day: the ground that plans of moves are made on."""

import datetime as dt
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from raytrace.arrays import AnyArray, Floats, Ints
from raytrace.response import ResponseTable, TubePlaces
from tracking.errors import InputError
from tracking.mount import (
    MIN_ELEVATION,
    Marks,
    Mount,
    Setting,
    lens_angles,
    lens_axes,
    marked_swivels,
    marked_tilts,
    sun_vector,
)
from tracking.plans.instant import Instant, instants_at
from tracking.scenefile import SceneFile
from tracking.sky.sunpath import clock_multiples, sun_path

MINUTE = dt.timedelta(minutes=1)
MINUTE_SECONDS = 60.0
FREE_STEPS = (0.5, 1.0, 2.0)
"""Steps of the settings of an axis without marks [deg]; the first is what a protractor of wood still shows. Chosen, no
source."""
STEPS_PER_WINDOW = 8.0
"""An axis without marks gets the widest of those steps that parts the window in which light is left so often."""
FAINT = 0.25
"""Share of the power of perfect aiming below which a setting counts as off the tubes: chosen, no source."""
DIMMEST = 0.03
"""Share of the day's best fraction of light below which a minute is not worth a setting, and the lens stays covered.
Chosen, no source."""
FAIR = 0.1
"""Share of the day's best fraction of light from which a minute widens the search for settings."""
SURE = 2.0
"""How many times the table's error a share may be wrong; so much is taken off before it is promised."""
CELL, WIDEST = 1.0, 80.0
"""Width of the cells of sun angles that tell where a setting is worth a look, and the end of them [deg]."""
CHUNK = 4_000_000
"""Settings times minutes that are looked at together: a matter of memory alone."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class DaySettings:
    """A day in minutes, and what each setting of the mount gives at each of them.

    `power` (settings, n) and `perfect` (n,) in [W] at the n whole minutes of `times`, the power 0 where it is far below
    FAINT; `linked` (n - 1,) says whether a minute follows the one before. The steps [deg] are those of an axis that has
    evenly spaced settings. `margin` (n,) is taken off each share, and `worth` (n,) says at which minutes there is light
    to be had; None: 0, and at all. `worst_shares` (settings, n - 1) stand for the own shares where some days are one.
    """

    date: dt.date
    times: tuple[dt.datetime, ...]
    settings: tuple[Setting, ...]
    power: Floats
    perfect: Floats
    linked: AnyArray
    tilt_step: float | None
    swivel_step: float | None
    margin: Floats | None = None
    worth: AnyArray | None = None
    worst_shares: Floats | None = None

    def shares_of(self, power: Floats) -> Floats:
        """Shares (..., n) of the power of perfect aiming that powers (..., n) surely are; 1 where that is nothing."""
        lit = self.perfect > 0.0
        margin = 0.0 if self.margin is None else self.margin
        return np.where(lit, power / np.where(lit, self.perfect, 1.0) - margin, 1.0)

    def shares(self) -> Floats:
        """The lesser share of the two ends of each minute, (settings, n - 1)."""
        if self.worst_shares is not None:
            return self.worst_shares
        shares = self.shares_of(self.power)
        return np.minimum(shares[:, :-1], shares[:, 1:])

    @property
    def doubt(self) -> Floats:
        """The margin of each minute, (n - 1,)."""
        margin = np.zeros(len(self.times)) if self.margin is None else self.margin
        return np.maximum(margin[:-1], margin[1:])

    @property
    def counts(self) -> AnyArray:
        """Minutes (n - 1,) that a setting has to serve."""
        return self.linked if self.worth is None else self.linked & self.worth[:-1] & self.worth[1:]

    def energies(self, power: Floats) -> Floats:
        """Energy (k, n - 1) of each minute by the trapezoidal rule, from powers (k, n) [J]."""
        return np.where(self.linked, 0.5 * (power[:, :-1] + power[:, 1:]) * MINUTE_SECONDS, 0.0)


def day_settings(scene_file: SceneFile, date: dt.date, table: ResponseTable) -> DaySettings:
    """The power that each setting gives at each whole minute of a day at which the sun is high enough.

    Parameters
    ----------
    scene_file
        The scene; its mount's marks, where it has any, are the only settings tried.
    date
        Civil date at the site.
    table
        The scene's response table.

    Raises
    ------
    InputError
        If the sun is not high enough for a whole minute on that day: there is nothing to plan.
    """
    instants = minute_instants(scene_file, date)
    if len(instants) <= 1:
        raise InputError(
            file=str(scene_file.path),
            problem=f"there are no moves to plan on {date.isoformat()}: the sun does not reach {MIN_ELEVATION:g} deg",
            allowed="Allowed: a day on which the lens is aimed for a minute or longer",
        )
    mount = scene_file.mount
    perfect = perfect_powers(scene_file, instants, table)
    worth = _worth_a_look(scene_file, table, instants, perfect)
    for_tilt, for_swivel = _free_steps(worth, mount)
    tilts, swivels = np.array(marked_tilts(mount, for_tilt)), np.array(marked_swivels(mount, for_swivel))
    settings, power = _powers_of_settings(scene_file, instants, table, tilts, swivels, worth)
    linked = [after.time_utc - before.time_utc == MINUTE for before, after in itertools.pairwise(instants)]
    return DaySettings(
        date=date,
        times=tuple(instant.time_local for instant in instants),
        settings=settings,
        power=power,
        perfect=perfect,
        linked=np.array(linked, dtype=bool),
        tilt_step=_step(mount.tilt_marks, for_tilt) if len(tilts) > 1 else None,
        swivel_step=_step(mount.swivel_marks, for_swivel) if len(swivels) > 1 else None,
        margin=table_margin(scene_file, instants, table, perfect),
        worth=worth_a_setting(scene_file, instants, perfect),
    )


def table_margin(scene_file: SceneFile, instants: Sequence[Instant], table: ResponseTable, perfect: Floats) -> Floats:
    """What the table's own error may make of a share of the powers `perfect` (n,) at most, (n,).

    A mount that nobody sets stands as in perfect aiming: its share is 1, whatever the table says.
    """
    if not any(mount_axes(scene_file.mount)):
        return np.zeros(len(perfect))
    fraction = _fractions(scene_file, instants, perfect)
    known = fraction > 0.0
    return np.where(known, np.minimum(1.0, SURE * table.error.where_lit / np.where(known, fraction, 1.0)), 0.0)


def worth_a_setting(scene_file: SceneFile, instants: Sequence[Instant], perfect: Floats) -> AnyArray:
    """At which instants (n,) perfect aiming brings at least `DIMMEST` of the day's best fraction to the tubes."""
    fraction = _fractions(scene_file, instants, perfect)
    return np.asarray((fraction > 0.0) & (fraction >= DIMMEST * fraction.max(initial=0.0)))


def _fractions(scene_file: SceneFile, instants: Sequence[Instant], power: Floats) -> Floats:
    """Powers (n,) over the light that the sun's direction would bring on the whole lens; 0 where there is no light."""
    lens = scene_file.scene.lens
    light = np.array([instant.dni for instant in instants]) * lens.width * lens.length
    return np.where(light > 0.0, power / np.where(light > 0.0, light, 1.0), 0.0)


def minute_instants(scene_file: SceneFile, date: dt.date) -> tuple[Instant, ...]:
    """The whole minutes of a day at which the lens is aimed."""
    site = scene_file.site
    minutes = clock_multiples(site.zone, date, MINUTE)
    high = sun_path(site, minutes).elevation >= MIN_ELEVATION
    return instants_at(scene_file, [minute for minute, aimed in zip(minutes, high, strict=True) if aimed])


def perfect_powers(scene_file: SceneFile, instants: Sequence[Instant], table: ResponseTable) -> Floats:
    """Absorbed power (n,) of the lens kept aimed [W]."""
    settings = [instant.aim.setting if instant.aim else Setting(0.0, 0.0) for instant in instants]
    return setting_powers(scene_file, instants, table, [s.tilt for s in settings], [s.swivel for s in settings])


def setting_powers(
    scene_file: SceneFile,
    instants: Sequence[Instant],
    table: ResponseTable,
    tilt: Sequence[float],
    swivel: Sequence[float],
) -> Floats:
    """Absorbed power (n,) [W] at each instant with the lens at a tilt and a swivel of its own, (n,) each [deg]."""
    return np.asarray(tube_powers(scene_file, instants, table, tilt, swivel).sum(axis=1))


def tube_powers(
    scene_file: SceneFile,
    instants: Sequence[Instant],
    table: ResponseTable,
    tilt: Sequence[float],
    swivel: Sequence[float],
) -> Floats:
    """As `setting_powers`, for each tube of the row (n, tubes) [W]."""
    tilts = np.asarray(tilt, dtype=np.float64)
    angles = lens_angles(
        scene_file.mount,
        tilts,
        np.asarray(swivel, dtype=np.float64),
        np.array([instant.solar_azimuth for instant in instants]),
        np.array([instant.solar_elevation for instant in instants]),
    )
    return _absorbed(scene_file, np.array([i.dni for i in instants]), table, angles, tilts)


def mount_axes(mount: Mount) -> tuple[bool, bool]:
    """Whether somebody sets the tilt, and whether somebody sets the swivel."""
    limits = mount.swivel_limits
    return mount.tilt_limits[0] != mount.tilt_limits[1], limits is None or limits[0] != limits[1]


def _absorbed(
    scene_file: SceneFile, dni: Floats, table: ResponseTable, angles: tuple[Floats, Floats, Floats], tilt: Floats
) -> Floats:
    """Absorbed power of each tube (n, tubes) [W]."""
    transversal, longitudinal, incidence = angles
    if len(transversal) == 0:
        return np.zeros((0, table.tubes))
    lens = scene_file.scene.lens
    before = incidence < 90.0
    fractions = table.at(np.where(before, transversal, 0.0), np.where(before, longitudinal, 0.0), tilt).absorbed
    cosine = np.where(before, np.cos(np.radians(incidence)), 0.0)
    return np.asarray((dni * lens.width * lens.length * cosine)[:, np.newaxis] * fractions)


def _at_any_tilt(table: ResponseTable) -> ResponseTable:
    """A table over the two angles alone: at each node the most that each tube gets at any tilt of the nodes."""
    places = TubePlaces(tilt=np.zeros(1), tangent=table.places.tangent[:1])
    return replace(table, tilt=np.zeros(1), values=table.values.max(axis=2, keepdims=True), places=places)


def _worth_a_look(
    scene_file: SceneFile, table: ResponseTable, instants: Sequence[Instant], perfect: Floats
) -> AnyArray:
    """Cells (n, n) of transversal and longitudinal angle in which a setting may give `FAINT` of perfect aiming.

    Where the table holds the tilt, at the most of its tilts; a cell further on all sides stands for what lies between
    the places looked at.
    """
    edges = np.arange(-WIDEST, WIDEST + 0.5 * CELL, CELL)
    t, g = (grid.ravel() for grid in np.meshgrid(edges, edges, indexing="ij"))
    cosine = 1.0 / np.sqrt(1.0 + np.tan(np.radians(t)) ** 2 + np.tan(np.radians(g)) ** 2)
    any_tilt = _at_any_tilt(table)
    # At an opposite tilt the row is seen from its other end.
    signs = (1.0,) if len(table.tilt) == 1 else (1.0, -1.0)
    best = np.max([any_tilt.at(sign * t, sign * g).absorbed.sum(axis=1) for sign in signs], axis=0) * cosine
    fraction = _fractions(scene_file, instants, perfect)
    fair = fraction[(fraction > 0.0) & (fraction >= FAIR * fraction.max(initial=0.0))]
    level = FAINT * float(fair.min(initial=1.0))
    bright = (best >= level).reshape(len(edges), -1)
    grown = bright.copy()
    for shift in (-1, 1):
        grown |= np.roll(bright, shift, axis=0)
    wide = grown.copy()
    for shift in (-1, 1):
        wide |= np.roll(grown, shift, axis=1)
    return np.asarray(wide)


def _cell_of(tangent: Floats) -> Ints:
    """Number of the cell of an angle whose tangent this is, of the same shape."""
    return np.rint((np.degrees(np.arctan(np.clip(tangent, -STEEPEST, STEEPEST))) + WIDEST) / CELL).astype(np.intp)


STEEPEST = math.tan(math.radians(WIDEST))


def _free_steps(worth: AnyArray, mount: Mount) -> tuple[float, float]:
    """Steps [deg] of a tilt and of a swivel without marks: fine across the grooves, coarse where a line is lenient."""

    def step(lit: AnyArray) -> float:
        window = 0.5 * CELL * int(lit.sum())
        return max([s for s in FREE_STEPS if s * STEPS_PER_WINDOW <= window], default=FREE_STEPS[0])

    across, along = (step(np.asarray(worth.any(axis=axis))) for axis in (1, 0))
    return (across, along) if mount.grooves == "level" else (along, across)


def _step(marks: Marks | None, free_step: float) -> float | None:
    """Distance of the settings of an axis [deg]; None where its marks are a list."""
    return None if isinstance(marks, tuple) else marks or free_step


def _powers_of_settings(
    scene_file: SceneFile,
    instants: Sequence[Instant],
    table: ResponseTable,
    tilts: Floats,
    swivels: Floats,
    worth: AnyArray,
) -> tuple[tuple[Setting, ...], Floats]:
    """Settings that serve at some minute, and their powers (settings, n) [W]; zero where the focus is far off."""
    mount = scene_file.mount
    azimuth = np.array([instant.solar_azimuth for instant in instants])
    elevation = np.array([instant.solar_elevation for instant in instants])
    dni = np.array([instant.dni for instant in instants])
    sun = sun_vector(azimuth, elevation)
    all_tilts, all_swivels = (grid.ravel() for grid in np.meshgrid(tilts, swivels, indexing="ij"))
    found: list[Setting] = []
    rows: list[Floats] = []
    for chosen in np.array_split(np.arange(len(all_tilts)), max(1, len(all_tilts) * len(instants) // CHUNK)):
        axes = lens_axes(mount, all_tilts[chosen], all_swivels[chosen])
        across, along, normal = (axis @ sun.T for axis in axes)
        near = normal > math.cos(math.radians(WIDEST))
        ahead = np.where(near, normal, 1.0)
        near &= worth[_cell_of(np.where(near, across / ahead, 0.0)), _cell_of(np.where(near, along / ahead, 0.0))]
        which, minute = np.nonzero(near)
        tilt, swivel = all_tilts[chosen][which], all_swivels[chosen][which]
        angles = lens_angles(mount, tilt, swivel, azimuth[minute], elevation[minute])
        power = np.zeros((len(chosen), len(instants)))
        power[which, minute] = _absorbed(scene_file, dni[minute], table, angles, tilt).sum(axis=1)
        for k in np.flatnonzero(near.any(axis=1)):
            found.append(Setting(float(all_tilts[chosen[k]]), float(all_swivels[chosen[k]])))
            rows.append(power[k])
    return tuple(found), np.array(rows) if rows else np.zeros((0, len(instants)))
