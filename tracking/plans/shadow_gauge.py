"""The shadow of a pin on the lens frame as a gauge: how far a shift of it costs how much power.

A pin of height h stands square on a sheet. Where the sun stands at the angles t and g to the sheet's normal, across and
along the grooves, the shadow of its tip falls h (tan t, tan g) away from its foot, on the side away from the sun.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.response import ResponseTable

LOSSES = (0.05, 0.10, 0.20)
"""Losses of power to which rings are drawn."""

WIDEST_ANGLE = 80.0
"""Angle of the sun to the sheet's normal [deg] beyond which no ring is sought: the shadow is 5.7 times the pin."""

RING_DIRECTIONS = 120
RADII = 350
"""Places looked at on each way out from the centre, closer together near it."""

TILTS_TRIED = 5
"""Tilts over the mount's range at which the rings are found where the row does not tilt with the lens."""

FAINT = 0.05
"""Share of the power of perfect aiming below which a skew is of no use and gets no band."""

RelativePower = Callable[[Floats, Floats], Floats]
"""Power over that of perfect aiming, (k, n), for the sun at transversal and longitudinal angles (n,) [deg]: one row for
each tilt at which the row of tubes lies differently."""


def pin_shadow(pin_height: float, transversal: ArrayLike, longitudinal: ArrayLike) -> tuple[Floats, Floats]:
    """Where the tip's shadow falls on a sheet square to the lens frame, across and along the grooves.

    Parameters
    ----------
    pin_height : float
        In any unit of length; the answer has the same.
    transversal, longitudinal : (n,) float
        The sun's angles in the lens frame [deg].

    Returns
    -------
    (n,) float, (n,) float
        From the pin's foot, as seen from the sun: x across the grooves, y along them.
    """
    t, g = (np.radians(np.asarray(angle, dtype=np.float64)) for angle in (transversal, longitudinal))
    return -pin_height * np.tan(t), -pin_height * np.tan(g)


def sun_of_shadow(pin_height: float, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    """The sun's transversal and longitudinal angle [deg] where the tip's shadow falls at (x, y); see `pin_shadow`."""
    a, b = (np.asarray(offset, dtype=np.float64) for offset in (x, y))
    return np.degrees(np.arctan(-a / pin_height)), np.degrees(np.arctan(-b / pin_height))


def relative_power(table: ResponseTable, tilts: Sequence[float] | None = None) -> RelativePower:
    """Power on the tubes over that of perfect aiming, from a response table.

    The aperture power falls with the cosine of the incidence angle, whose tangent is hypot(tan t, tan g).

    Parameters
    ----------
    table : ResponseTable
        Of the scene.
    tilts : (k,) float, optional
        Tilts [deg] to look at where the table holds the tilt; each is compared with perfect aiming at itself.

    Raises
    ------
    ValueError
        If perfect aiming brings nothing at any of the tilts: then nothing can be lost.
    """
    looked_at = [0.0] if tilts is None else list(tilts)

    def absorbed(transversal: Floats, longitudinal: Floats, tilt: float) -> Floats:
        share = table.at(transversal, longitudinal, np.full(len(transversal), tilt)).absorbed.sum(axis=1)
        spread = np.hypot(np.tan(np.radians(transversal)), np.tan(np.radians(longitudinal)))
        return np.asarray(share / np.hypot(1.0, spread))

    zero = np.zeros(1)
    best = [float(absorbed(zero, zero, tilt)[0]) for tilt in looked_at]
    useful = [(tilt, power) for tilt, power in zip(looked_at, best, strict=True) if power >= FAINT * max(best) > 0.0]
    if not useful:
        raise ValueError("the sun straight above the lens brings nothing to the tubes: there is no aim to be shown.")

    def relative(transversal: Floats, longitudinal: Floats) -> Floats:
        return np.array([absorbed(transversal, longitudinal, tilt) / power for tilt, power in useful])

    return relative


def tilts_to_try(table: ResponseTable, tilt_limits: tuple[float, float]) -> tuple[float, ...] | None:
    """Tilts [deg] of the mount at which rings are compared; None where the row tilts with the lens."""
    if len(table.tilt) == 1:
        return None
    return tuple(np.linspace(*tilt_limits, TILTS_TRIED).tolist())


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LossRing:
    """The shift of the tip's shadow that costs a share of the power, in each direction.

    `directions` (n,) [deg] run counterclockwise from x, across the grooves; `radii` (n,) are in the pin's unit, and
    infinite where so much is not lost up to `reach`, as far as it was looked for.
    """

    loss: float
    directions: Floats
    radii: Floats
    reach: float

    @property
    def is_closed(self) -> bool:
        """Whether so much is lost in every direction."""
        return bool(np.isfinite(self.radii).all())

    def radius_at(self, direction: float) -> float | None:
        """The shift in the nearest direction [deg] looked at; None where so much is not lost."""
        away = np.abs((self.directions - direction + 180.0) % 360.0 - 180.0)
        radius = float(self.radii[int(away.argmin())])
        return radius if math.isfinite(radius) else None


def loss_rings(
    power: RelativePower, *, pin_height: float, reach: float, losses: Sequence[float] = LOSSES
) -> tuple[LossRing, ...]:
    """Rings around the pin's foot within which less than each share of the power is lost, on every way out.

    Parameters
    ----------
    power : RelativePower
        See `relative_power`. Of several tilts the strictest counts in each direction.
    pin_height, reach : float
        Height of the pin and the largest shift looked at, in one unit.
    losses : (m,) float
        Shares of the power at the centre.
    """
    reach = min(reach, pin_height * math.tan(math.radians(WIDEST_ANGLE)))
    way = reach * np.linspace(0.0, 1.0, RADII) ** 2
    axes = np.array([0.0, 90.0])
    ends = [np.where(np.isfinite(found), found, reach) for found in _first_losses(power, pin_height, axes, way, losses)]
    rings = []
    for loss, (across, along) in zip(losses, ends, strict=True):
        # Directions are close together where a narrow ring turns: evenly spread on a circle stretched to its shape.
        turn = np.linspace(0.0, 2.0 * math.pi, RING_DIRECTIONS, endpoint=False)
        directions = np.degrees(np.arctan2(along * np.sin(turn), across * np.cos(turn))) % 360.0
        (radii,) = _first_losses(power, pin_height, directions, way, (loss,))
        rings.append(LossRing(loss=loss, directions=directions, radii=radii, reach=reach))
    return tuple(rings)


def narrowest_tangent(power: RelativePower, *, transversal: bool, longitudinal: bool, loss: float = LOSSES[0]) -> float:
    """The smallest shift that costs a share of the power, over the pin's height: along either axis that is asked for.

    At most the tangent of WIDEST_ANGLE.
    """
    widest = math.tan(math.radians(WIDEST_ANGLE))
    directions = [0.0, 180.0] * transversal + [90.0, 270.0] * longitudinal
    way = widest * np.linspace(0.0, 1.0, RADII) ** 2
    (found,) = _first_losses(power, 1.0, np.array(directions), way, (loss,))
    return min(widest, float(found.min()))


def _first_losses(
    power: RelativePower, pin_height: float, directions: Floats, way: Floats, losses: Sequence[float]
) -> list[Floats]:
    """The shift (n,) at which each loss is first met in n directions; inf where it is not."""
    turn = np.radians(directions)[:, np.newaxis]
    t, g = sun_of_shadow(pin_height, way * np.cos(turn), way * np.sin(turn))
    kept = power(t.ravel(), g.ravel()).reshape(-1, len(directions), len(way))
    return [_first_crossings(kept, way, 1.0 - loss) for loss in losses]


def _first_crossings(kept: Floats, way: Floats, level: float) -> Floats:
    """Where (k, n, m) powers first fall below a level on their way (m,), the least over k; inf where they do not."""
    below = kept < level
    first = np.argmax(below, axis=2)
    rows, columns = np.indices(first.shape)
    before = np.maximum(first - 1, 0)
    high, low = kept[rows, columns, before], kept[rows, columns, first]
    share = np.clip((high - level) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
    at = way[before] + share * (way[first] - way[before])
    return np.asarray(np.where(below.any(axis=2), at, np.inf).min(axis=0))


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LossBand:
    """As `LossRing` for a lens that one axis alone aims: the shifts to either side of the line of perfect aiming.

    `along` (n,) is the shift that the mount cannot change; `low` and `high` (n,) bound the one that it sets. NaN never:
    infinite where so much is not lost within reach, and both 0 where hardly any power is left to be lost.
    """

    loss: float
    along: Floats
    low: Floats
    high: Floats


def loss_bands(
    power: RelativePower,
    *,
    pin_height: float,
    reach: float,
    half_length: float,
    sets_transversal: bool,
    losses: Sequence[float] = LOSSES,
) -> tuple[LossBand, ...]:
    """Bands around the line of perfect aiming, in shares of the power on that line at the same place along it.

    Parameters
    ----------
    power, pin_height, reach, losses
        As for `loss_rings`.
    half_length : float
        The bands run from minus to plus this shift along the line.
    sets_transversal : bool
        Whether the mount sets the angle across the grooves; otherwise that along them.
    """
    half_length = min(half_length, pin_height * math.tan(math.radians(WIDEST_ANGLE)))
    along = np.linspace(-half_length, half_length, RING_DIRECTIONS + 1)
    way = min(reach, pin_height * math.tan(math.radians(WIDEST_ANGLE))) * np.linspace(0.0, 1.0, RADII) ** 2
    sides = []
    for sign in (-1.0, 1.0):
        moved, stays = np.broadcast_arrays(sign * way, along[:, np.newaxis])
        x, y = (moved, stays) if sets_transversal else (stays, moved)
        kept = power(*(angle.ravel() for angle in sun_of_shadow(pin_height, x, y)))
        sides.append(kept.reshape(-1, len(along), len(way)))
    on_line = sides[0][:, :, :1]
    useful = on_line.min(axis=0)[:, 0] >= FAINT
    guarded = np.where(on_line > 0.0, on_line, 1.0)
    return tuple(
        LossBand(
            loss=loss,
            along=along,
            low=np.where(useful, -_first_crossings(sides[0] / guarded, way, 1.0 - loss), 0.0),
            high=np.where(useful, _first_crossings(sides[1] / guarded, way, 1.0 - loss), 0.0),
        )
        for loss in losses
    )
