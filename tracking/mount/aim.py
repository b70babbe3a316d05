"""Which setting aims the lens: least |transversal angle|, then least |longitudinal angle|, then least swivel travel.

In the base frame (see tracking.mount.pose) the sun stands at (h, l, u) = (h0 + h1 cos q, c sin q, u0 + u1 cos q), where
q is the swivel less the swivel at which the sun stands before the mount. With alpha = atan2(h, u) and r = hypot(h, u)
a lean T leaves s_d = r sin(alpha - T) downhill, s_n = r cos(alpha - T) along the normal, and l along the tilt axis.

At a given swivel both angles are least at the lean nearest alpha: with level grooves the transversal angle is
alpha - T; with upslope grooves the lean only shortens the other side of the triangle, and is best where s_n is largest.
So only the swivel is to be found. Between the ends of its range, the least angles can lie only where
    sin q = 0                       the sun stands in the plane of the lean,
    alpha = an end of the tilts     from there on the tilt cannot follow, or
    d(tan transversal)/dq = 0       at an end of the tilts: with s_n = P cos q + Q there, cos q = -P / Q.
All of these are tried, so a found setting is the best there is, not only one that an iteration liked.
"""

import itertools
import math
from typing import NamedTuple

import numpy as np

from raytrace.arrays import AnyArray, ArrayLike, Floats
from tracking.mount.pose import Mount, Setting, equator_axes, lean_sign, sun_vector

MIN_ELEVATION = 5.0
"""Below this apparent elevation of the sun [deg] nothing is aimed. Common practice, no source."""
ZENITH_CONE = 1.0
"""Nearer to the zenith than this [deg] a swivel with level grooves may stand still. The tilt still brings the
transversal angle to 0, and the longitudinal angle left over is at most this large: it costs 0.02 % of the aperture,
where a strict aim would spin the swivel by up to half a turn within minutes. Chosen for this, no source."""

_TIE = 1e-6
"""Angles that differ by less than this [deg] count as equal."""
_REPEAT_DIGITS = 8
"""Decimals of a swivel in [deg] that tell two settings apart."""
_NEGATIVE_TILT_COST = 1e-3
"""Swivel travel [deg] that a setting with positive tilt is worth: it decides where both signs travel the same."""


class _Sun(NamedTuple):
    """The sun in the base frame: amplitudes (n, 1) and the swivel that faces it, (n, 1) [deg]."""

    facing: Floats
    h0: Floats
    h1: Floats
    u0: Floats
    u1: Floats
    c: Floats


class _Aims(NamedTuple):
    """Settings tried, one a column, and the angles they leave, all (n, k) [deg]."""

    swivel: Floats
    tilt: Floats
    transversal: Floats
    longitudinal: Floats


def aim(mount: Mount, sun_azimuth: float, sun_elevation: float, previous_swivel: float | None = None) -> Setting | None:
    """Best setting for one position of the sun.

    Parameters
    ----------
    mount : Mount
        The mount and its ranges.
    sun_azimuth, sun_elevation : float
        Apparent position of the sun [deg].
    previous_swivel : float, optional
        Where the swivel stands now [deg]; among equally good settings the nearest is taken, and an unlimited swivel is
        counted on from there. Without it a tilt that is not negative is taken, nearest to the middle of the range.

    Returns
    -------
    Setting or None
        Within the ranges; None below MIN_ELEVATION, where nothing is aimed.
    """
    return aim_path(mount, [sun_azimuth], [sun_elevation], previous_swivel)[0]


def aim_path(
    mount: Mount, sun_azimuth: ArrayLike, sun_elevation: ArrayLike, previous_swivel: float | None = None
) -> tuple[Setting | None, ...]:
    """Best settings along the sun's path, chosen together so that the swivel travels least in all.

    Parameters
    ----------
    mount : Mount
        The mount and its ranges.
    sun_azimuth, sun_elevation : (n,) float
        Apparent positions of the sun in order of time, of one day as a rule [deg].
    previous_swivel : float, optional
        Where the swivel stands before the first instant [deg].

    Returns
    -------
    (n,) tuple of Setting or None
        None below MIN_ELEVATION. An unlimited swivel is unwrapped: it runs on through 360 or below 0 and never jumps by
        more than half a turn. Its first value lies in [0, 360), for `polar` in [-180, 180), or next to previous_swivel.

    Notes
    -----
    Equally good settings (the poses (A, T) and (A + 180, -T), the two sides of the sun where the tilt has reached its
    end, whole turns within the range) are the nodes of a graph whose shortest path is found stage by stage
    (R. Bellman, Dynamic Programming, 1957).
    """
    azimuth, elevation = np.broadcast_arrays(
        np.atleast_1d(np.asarray(sun_azimuth, dtype=np.float64)), np.atleast_1d(np.asarray(sun_elevation, np.float64))
    )
    settings: list[Setting | None] = [None] * len(azimuth)
    aimed = np.flatnonzero(elevation >= MIN_ELEVATION)
    if len(aimed) == 0:
        return tuple(settings)
    sun = _sun_in_base(mount, azimuth[aimed], elevation[aimed])
    choices = _best_settings(mount, sun)
    if mount.kind == "swivel-tilt" and mount.grooves == "level":
        _let_swivel_rest(mount, sun, choices, elevation[aimed] > 90.0 - ZENITH_CONE, previous_swivel)
    for index, setting in zip(aimed, _least_travel(mount, choices, previous_swivel), strict=True):
        settings[index] = setting
    return tuple(settings)


def _sun_in_base(mount: Mount, azimuth: Floats, elevation: Floats) -> _Sun:
    zero = np.zeros((len(azimuth), 1))
    if mount.kind != "polar":
        level, up = np.cos(np.radians(elevation))[:, np.newaxis], np.sin(np.radians(elevation))[:, np.newaxis]
        return _Sun(facing=azimuth[:, np.newaxis], h0=zero, h1=level, u0=up, u1=zero, c=level)
    pole, meridian, west = equator_axes(mount)
    vector = sun_vector(azimuth, elevation)
    to_meridian, to_west, to_pole = (np.sum(vector * axis, axis=-1)[:, np.newaxis] for axis in (meridian, west, pole))
    in_equator = np.hypot(to_meridian, to_west)
    hour_angle = np.degrees(np.arctan2(to_west, to_meridian))
    return _Sun(facing=hour_angle, h0=-to_pole, h1=zero, u0=zero, u1=in_equator, c=in_equator)


def _lean_limits(mount: Mount) -> tuple[float, float]:
    low, high = sorted(lean_sign(mount) * tilt for tilt in mount.tilt_limits)
    return math.radians(low), math.radians(high)


def _best_settings(mount: Mount, sun: _Sun) -> list[list[Setting]]:
    """All settings that tie for the least angles, one list an instant; whole turns apart only in a limited range."""
    aims = _aims_at(mount, sun, _swivels_to_try(mount, sun))
    reachable = np.isfinite(aims.swivel)
    transversal = np.where(reachable, np.abs(aims.transversal), np.inf)
    best = transversal <= np.min(transversal, axis=1, keepdims=True) + _TIE
    longitudinal = np.where(best, np.abs(aims.longitudinal), np.inf)
    best &= longitudinal <= np.min(longitudinal, axis=1, keepdims=True) + _TIE
    return [
        _without_repeats(tilts[row], swivels[row])
        for tilts, swivels, row in zip(aims.tilt, aims.swivel, best, strict=True)
    ]


def _without_repeats(tilts: Floats, swivels: Floats) -> list[Setting]:
    """Settings apart by more than a rounding: the formulas for different candidates often meet in one."""
    found: dict[float, Setting] = {}
    for tilt, swivel in zip(tilts, swivels, strict=True):
        found.setdefault(round(float(swivel), _REPEAT_DIGITS), Setting(float(tilt), float(swivel)))
    return list(found.values())


def _swivels_to_try(mount: Mount, sun: _Sun) -> Floats:
    """Swivels (n, k) among which the best one is [deg]; NaN where one of them does not exist or is out of reach."""
    limits = mount.swivel_limits
    if limits is not None and limits[0] == limits[1]:
        return np.full_like(sun.facing, limits[0])
    turns = [np.zeros_like(sun.facing), np.full_like(sun.facing, 180.0)]
    for lean in _lean_limits(mount):
        sin, cos = math.sin(lean), math.cos(lean)
        followed = _arccos_of_ratio(sin * sun.u0 - cos * sun.h0, cos * sun.h1 - sin * sun.u1)
        turning = _arccos_of_ratio(-(sin * sun.h1 + cos * sun.u1), sin * sun.h0 + cos * sun.u0)
        turns += [followed, -followed, turning, -turning]
    swivels = sun.facing + np.concatenate(turns, axis=1)
    if limits is None:
        return swivels
    first, last = limits
    onward = first + (swivels - first) % 360.0
    whole_turns = 360.0 * np.arange(math.floor((last - first) / 360.0) + 1)
    lifted = (onward[:, :, np.newaxis] + whole_turns).reshape(len(swivels), -1)
    within = np.where(lifted <= last, lifted, np.nan)  # what rounding shuts out is the end itself
    ends = np.broadcast_to(np.array([first, last]), (len(swivels), 2))
    return np.concatenate([within, ends], axis=1)


def _arccos_of_ratio(numerator: Floats, denominator: Floats) -> Floats:
    """Arccos of a quotient [deg], NaN where there is none."""
    there = np.abs(numerator) <= np.abs(denominator)
    there &= denominator != 0.0
    ratio = np.where(there, numerator, 0.0) / np.where(there, denominator, 1.0)
    return np.where(there, np.degrees(np.arccos(ratio)), np.nan)


def _aims_at(mount: Mount, sun: _Sun, swivel: Floats) -> _Aims:
    """The best tilt at each swivel (n, k) and the angles it leaves; NaN in, NaN out."""
    turn = np.radians(swivel - sun.facing)
    towards, up, along = sun.h0 + sun.h1 * np.cos(turn), sun.u0 + sun.u1 * np.cos(turn), sun.c * np.sin(turn)
    alpha, low_high = np.arctan2(towards, up), _lean_limits(mount)
    nearer_end = np.where(np.cos(alpha - low_high[0]) >= np.cos(alpha - low_high[1]), *low_high)
    lean = np.where((alpha >= low_high[0]) & (alpha <= low_high[1]), alpha, nearer_end)
    radius = np.hypot(towards, up)
    downhill, normal = radius * np.sin(alpha - lean), radius * np.cos(alpha - lean)
    across, along_grooves = (downhill, along) if mount.grooves == "level" else (-along, downhill)
    # Degrees and back may step over an end of the range by a rounding: the tilt stays within what was asked.
    tilt = np.clip(lean_sign(mount) * np.degrees(lean), *mount.tilt_limits)
    return _Aims(
        swivel=swivel,
        tilt=tilt,
        transversal=np.degrees(np.arctan2(across, normal)),
        longitudinal=np.degrees(np.arctan2(along_grooves, normal)),
    )


def _let_swivel_rest(
    mount: Mount, sun: _Sun, choices: list[list[Setting]], near_zenith: AnyArray, previous_swivel: float | None
) -> None:
    """Add to the instants near the zenith the swivels of the instants before and after, where the tilt can follow."""
    limits = mount.swivel_limits
    index = 0
    while index < len(choices):
        if not near_zenith[index]:
            index += 1
            continue
        end = index
        while end < len(choices) and near_zenith[end]:
            end += 1
        rests = [setting.swivel for setting in choices[index - 1]] if index > 0 else []
        rests += [setting.swivel for setting in choices[end]] if end < len(choices) else []
        if index == 0 and previous_swivel is not None:
            rests.append(previous_swivel)
        if limits is not None:
            rests = [swivel for swivel in rests if limits[0] <= swivel <= limits[1]]
        for instant in range(index, end) if rests else ():
            here = _Sun(*(part[instant : instant + 1] for part in sun))
            aims = _aims_at(mount, here, np.array([rests]))
            strict_aim = _aims_at(mount, here, np.array([[choices[instant][0].swivel]]))
            least = abs(float(strict_aim.transversal[0, 0]))
            for swivel, tilt, transversal in zip(rests, aims.tilt[0], aims.transversal[0], strict=True):
                if abs(transversal) <= least + _TIE:
                    choices[instant].append(Setting(float(tilt), swivel))
        index = end


def _least_travel(mount: Mount, choices: list[list[Setting]], previous_swivel: float | None) -> list[Setting]:
    """One setting an instant, so that the swivel's whole way is shortest."""
    limits = mount.swivel_limits

    def travel(start: float, end: float) -> float:
        return abs(end - start) if limits is not None else abs(_within_half_turn(end - start))

    def own_cost(setting: Setting) -> float:
        return _NEGATIVE_TILT_COST if setting.tilt < 0.0 and mount.kind == "swivel-tilt" else 0.0

    if previous_swivel is not None:
        costs = [travel(previous_swivel, setting.swivel) + own_cost(setting) for setting in choices[0]]
    elif limits is not None:
        middle = 0.5 * (limits[0] + limits[1])
        tie = _NEGATIVE_TILT_COST / (1.0 + limits[1] - limits[0])
        costs = [own_cost(setting) + tie * abs(setting.swivel - middle) for setting in choices[0]]
    else:
        costs = [own_cost(setting) for setting in choices[0]]
    came_from: list[list[int]] = []
    for earlier, now in itertools.pairwise(choices):
        before = list(enumerate(zip(costs, earlier, strict=True)))
        ways = [min((cost + travel(setting.swivel, here.swivel), k) for k, (cost, setting) in before) for here in now]
        came_from.append([k for _, k in ways])
        costs = [cost + own_cost(here) for (cost, _), here in zip(ways, now, strict=True)]
    pick = costs.index(min(costs))
    path = [choices[-1][pick]]
    for stage in range(len(came_from) - 1, -1, -1):
        pick = came_from[stage][pick]
        path.append(choices[stage][pick])
    path.reverse()
    return path if limits is not None else _unwrapped(mount, path, previous_swivel)


def _unwrapped(mount: Mount, path: list[Setting], previous_swivel: float | None) -> list[Setting]:
    if previous_swivel is not None:
        swivel = previous_swivel + _within_half_turn(path[0].swivel - previous_swivel)
    elif mount.kind == "polar":
        swivel = _within_half_turn(path[0].swivel)
    else:
        swivel = path[0].swivel % 360.0
    unwrapped = [Setting(path[0].tilt, swivel)]
    for setting in path[1:]:
        swivel += _within_half_turn(setting.swivel - swivel)
        unwrapped.append(Setting(setting.tilt, swivel))
    return unwrapped


def _within_half_turn(angle: float) -> float:
    """The same direction, in [-180, 180) [deg]."""
    return (angle + 180.0) % 360.0 - 180.0
