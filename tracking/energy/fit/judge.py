"""Energy that settings absorb, read from a response table: to search among many settings, which traces then confirm."""

import datetime as dt

import numpy as np

from raytrace.arrays import Floats, Ints
from tracking.energy.fit.hours import Hours, Sunlight, sunlight
from tracking.energy.year import Responds
from tracking.mount import Marks, Mount, Setting
from tracking.scenefile import SceneFile

THINNED = 8
"""Hours at which the focal line lies beside the row are looked at one in so many, which counts for all of them."""

LIT = 0.03
"""Share of the best absorbed fraction from which on the focal line counts as on the row."""

FREE_STEP = 1.0
"""Step of tilts that are tried where the mount has no marks [deg]."""

BIN_DAYS = 5
"""Days for which one sum is kept: the sun's declination changes by 2 degrees in it at most."""


class Judge:
    """Absorbed energy of a span at settings of the lens, from its response table."""

    def __init__(self, scene_file: SceneFile, hours: Hours, table: Responds) -> None:
        self.scene_file, self.hours, self.table = scene_file, hours, table
        self.best: Setting | None = None  # of a lens that stands still, as soon as it was searched
        angles = np.arange(0.0, 90.0, 0.25)
        best = np.zeros(len(angles))
        for sign in (-1.0, 1.0):
            for tilt in (0.0, 45.0):
                there = table.at(sign * angles, np.zeros_like(angles), np.full_like(angles, tilt))
                best = np.maximum(best, there.absorbed.sum(axis=1))
        bright = angles[best >= LIT * best.max()]
        self.window = float(bright.max()) + 1.0 if best.max() > 0.0 else 0.0

    def light(self, tilt: Floats | float, swivel: Floats | float, mount: Mount | None = None) -> Sunlight:
        """The light on the aperture with the lens at settings of its own, (n,), or at one for all [deg]."""
        return sunlight(self.scene_file, self.hours, tilt, swivel, mount)

    def absorbed(self, light: Sunlight) -> Floats:
        """Energy absorbed at each position of the sun (n,) [J]; far off the row, one in `THINNED` stands for all."""
        lit = light.energy > 0.0
        far = np.flatnonzero(lit & (np.abs(light.transversal) > self.window))
        near = np.flatnonzero(lit & (np.abs(light.transversal) <= self.window))
        picked = far[THINNED // 2 :: THINNED]
        which = np.concatenate([near, picked])
        found = np.zeros(len(light.energy))
        if len(which):
            found[which] = self.absorbed_each(light.only(which))
        if len(picked):
            found[picked] *= len(far) / len(picked)
        return found

    def absorbed_each(self, light: Sunlight) -> Floats:
        """Energy absorbed at each position of the sun (n,) [J], none standing for another."""
        response = self.table.at(light.transversal, light.longitudinal, light.tilt)
        return np.asarray(light.energy * response.absorbed.sum(axis=1))

    def guess(self, light: Sunlight) -> Floats:
        """What is absorbed where the focal line is near the row (n,) [J], 0 elsewhere: to draw hours by."""
        return np.where(np.abs(light.transversal) <= self.window, self.absorbed(light), 0.0)

    def total(self, tilt: Floats | float, swivel: Floats | float) -> float:
        """Energy absorbed over the span [J]."""
        return float(self.absorbed(self.light(tilt, swivel)).sum())

    def bins(self) -> Ints:
        """Which run of `BIN_DAYS` days each position falls into (n,); the last run takes what is left over."""
        return np.minimum(self.hours.day // BIN_DAYS, max(1, self.hours.days // BIN_DAYS) - 1)

    def bin_start(self, number: int) -> dt.date:
        """First day of a run."""
        return self.hours.span.limits()[0] + dt.timedelta(days=BIN_DAYS * number)


def tilts_to_try(mount: Mount, step: float = FREE_STEP) -> Floats:
    """The mount's marked tilts within its range, or tilts a step apart (k,) [deg]."""
    return within_marks(mount.tilt_marks, mount.tilt_limits, step)


def within_marks(marks: Marks | None, limits: tuple[float, float], step: float) -> Floats:
    """Marked settings within limits, or multiples of a step and the limits where nothing is marked (k,) [deg]."""
    low, high = limits
    if isinstance(marks, tuple):
        listed = np.array([mark for mark in marks if low - 1e-9 <= mark <= high + 1e-9])
        if len(listed):
            return listed
    spacing = float(marks) if isinstance(marks, (int, float)) else step
    first, last = int(np.ceil(low / spacing - 1e-9)), int(np.floor(high / spacing + 1e-9))
    multiples = np.arange(first, last + 1) * spacing
    if isinstance(marks, (int, float)) and len(multiples):
        return np.asarray(multiples, dtype=np.float64)
    return np.unique(np.concatenate([np.array([low]), multiples, np.array([high])]))
