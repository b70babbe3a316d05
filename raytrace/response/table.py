"""A response table and how it is read: cubic between the nodes of a grid over two angles of the sun, and the tilt.

Where the row stays level while the lens tilts, a tube moves in the lens frame as the tilt changes, and with it the
angles at which the focal line enters and leaves it. So each tube is read at the same distance from its own place at
each node of the tilt: between two tilts the answer then changes slowly, and few tilts do.
"""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from raytrace.arrays import ArrayLike, Floats
from raytrace.grid import STENCIL, axis_weights, linear_weights
from raytrace.scene import RowPose

WIDTHS = ("w50", "w90", "w95", "fwhm", "centroid")
"""What stands in a node's values behind the intercepted and absorbed fractions of the tubes."""

READ_AT_ONCE = 1024
"""Places read together: their values stay in the processor's cache."""

RowAt = Callable[[float], RowPose]
"""The row's pose in the lens frame at a tilt [deg]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Domain:
    """Angles [deg] between which something reaches a tube; outside, the table says zero."""

    transversal: tuple[float, float]
    longitudinal: tuple[float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class TableError:
    """Differences in intercepted fraction between the table and direct traces at random angles of its domain.

    The largest, the median, and the rms where more than `raytrace.response.build.LIT` reaches the row; half of the
    checks lie there.
    """

    worst: float
    typical: float
    where_lit: float
    checks: int


@dataclass(frozen=True, kw_only=True, slots=True)
class TubePlaces:
    """Tangents of the transversal angles at which the middle of the lens throws light on the middle of each tube.

    Over m tilts: `tilt` (m,) [deg], rising, and `tangent` (m, tubes).
    """

    tilt: Floats
    tangent: Floats

    def at(self, tilt: Floats, tube: int) -> Floats:
        """The tangent for one tube at n tilts [deg], (n,) float."""
        return np.interp(tilt, self.tilt, self.tangent[:, tube])


@dataclass(frozen=True, kw_only=True, slots=True)
class Response:
    """The table's answer at n directions: fractions of the aperture power (n, tubes), lengths (n,) [m]."""

    intercepted: Floats
    absorbed: Floats
    w50: Floats
    w90: Floats
    w95: Floats
    fwhm: Floats
    centroid: Floats


def _columns(tubes: int, *, apart: bool) -> Iterator[tuple[int | None, list[int]]]:
    """Columns of a node's values that are read at one place, and the tube whose place it is."""
    if not apart:
        yield None, list(range(2 * tubes + len(WIDTHS)))
        return
    for tube in range(tubes):
        yield tube, [tube, tubes + tube]
    yield None, list(range(2 * tubes, 2 * tubes + len(WIDTHS)))


def read_grid(
    axes: Sequence[Floats],
    values: Floats,
    places: TubePlaces,
    where: Sequence[Floats],
    *,
    straight_along: int | None = None,
) -> Floats:
    """Values between the nodes, (m, 2 tubes + widths).

    Parameters
    ----------
    axes : three of (n,) float
        Nodes of the transversal angle, the longitudinal angle and the tilt. [deg]
    values : (n1, n2, n3, 2 tubes + widths) float
        Values at the nodes.
    places
        Where the tubes lie.
    where : three of (m,) float
        Angles to read at. [deg]
    straight_along
        An axis along which straight lines are drawn between the nodes, instead of cubics.
    """
    result = np.zeros((len(where[0]), values.shape[-1]))
    for start in range(0, len(result), READ_AT_ONCE):
        some = slice(start, start + READ_AT_ONCE)
        _add(result[some], axes, values, places, [angles[some] for angles in where], straight_along)
    return result


def _add(
    result: Floats,
    axes: Sequence[Floats],
    values: Floats,
    places: TubePlaces,
    where: Sequence[Floats],
    straight_along: int | None,
) -> None:
    """Add the values at some places to their rows."""
    across, along, tilt = where
    weights = [linear_weights if axis == straight_along else axis_weights for axis in range(3)]
    read_g, weight_g = weights[1](axes[1], along)
    read_h, weight_h = weights[2](axes[2], tilt)
    levels = [(level, np.flatnonzero(weight_h[:, level])) for level in range(STENCIL)]
    for tube, columns in _columns(places.tangent.shape[1], apart=len(axes[2]) > 1):
        # Nodes in one row, so that a node is found by one number.
        nodes = np.ascontiguousarray(values[..., columns]).reshape(-1, len(columns))
        found = np.zeros((len(across), len(columns)))
        for level, rows in levels:
            if not len(rows):
                continue
            h, seen = read_h[rows, level], across[rows]
            if tube is not None:
                moved = places.at(axes[2][h], tube) - places.at(tilt[rows], tube)
                seen = np.degrees(np.arctan(np.tan(np.radians(seen)) + moved))
            read_t, weight_t = weights[0](axes[0], seen)
            for i, j in itertools.product(range(STENCIL), repeat=2):
                weight = weight_t[:, i] * weight_g[rows, j] * weight_h[rows, level]
                if weight.any():
                    node = (read_t[:, i] * len(axes[1]) + read_g[rows, j]) * len(axes[2]) + h
                    found[rows] += weight[:, None] * nodes.take(node, axis=0)
        result[:, columns] += found


@dataclass(frozen=True, kw_only=True, slots=True)
class ResponseTable:
    """Values at the nodes of a grid; see the module.

    `mirrored` names the angles of which only one sign is kept, as the other follows by symmetry, and `swaps` whether
    the tubes of the row change places in that mirror.
    """

    transversal: Floats
    longitudinal: Floats
    tilt: Floats
    values: Floats
    places: TubePlaces
    domain: Domain
    error: TableError
    mirrored: tuple[bool, bool]
    swaps: tuple[bool, bool]

    @property
    def tubes(self) -> int:
        """Number of tubes of the row."""
        return int(self.places.tangent.shape[1])

    def at(self, transversal: ArrayLike, longitudinal: ArrayLike, tilt: ArrayLike | None = None) -> Response:
        """Response at n directions of the sun.

        Parameters
        ----------
        transversal, longitudinal : (n,) float
            The sun's angles across and along the grooves. [deg]
        tilt : (n,) float, optional
            Tilt of the lens; read only where the row stays with the base and does not tilt. [deg]

        Returns
        -------
        Response
            Fractions are zero outside the domain.

        Raises
        ------
        ValueError
            If the table has a tilt axis and no tilt is given.
        """
        t, g = (np.atleast_1d(np.asarray(a, dtype=np.float64)) for a in (transversal, longitudinal))
        h = np.zeros_like(t) if tilt is None else np.broadcast_to(np.asarray(tilt, dtype=np.float64), t.shape)
        if len(self.tilt) > 1 and tilt is None:
            raise ValueError("the tilt is needed: the row of this scene does not tilt with the lens.")
        where_t, where_g, where_h = t, g, h
        swap = np.zeros(len(t), dtype=bool)
        sign_t = np.ones(len(t))
        if len(self.tilt) > 1:
            # Half a turn about the normal takes the row at a tilt to the row at the opposite tilt, read from its end.
            back = h < 0.0
            where_t, where_g, where_h = np.where(back, -t, t), np.where(back, -g, g), np.abs(h)
            sign_t = np.where(back, -1.0, 1.0)
            swap ^= back
        if self.mirrored[0]:
            back = where_t < 0.0
            where_t = np.abs(where_t)
            sign_t = np.where(back, -sign_t, sign_t)
            swap ^= back & self.swaps[0]
        if self.mirrored[1]:
            back = where_g < 0.0
            where_g = np.abs(where_g)
            swap ^= back & self.swaps[1]
        axes = self.transversal, self.longitudinal, self.tilt
        values = read_grid(axes, self.values, self.places, (where_t, where_g, where_h))
        inside = (where_t >= self.domain.transversal[0]) & (where_t <= self.domain.transversal[1])
        inside &= (where_g >= self.domain.longitudinal[0]) & (where_g <= self.domain.longitudinal[1])
        powers = np.where(inside[:, None], np.clip(values[:, : 2 * self.tubes], 0.0, 1.0), 0.0)
        intercepted, absorbed = powers[:, : self.tubes], powers[:, self.tubes :]
        intercepted = np.where(swap[:, None], intercepted[:, ::-1], intercepted)
        absorbed = np.where(swap[:, None], absorbed[:, ::-1], absorbed)
        widths = values[:, 2 * self.tubes :]
        return Response(
            intercepted=intercepted,
            absorbed=absorbed,
            w50=np.maximum(widths[:, 0], 0.0),
            w90=np.maximum(widths[:, 1], 0.0),
            w95=np.maximum(widths[:, 2], 0.0),
            fwhm=np.maximum(widths[:, 3], 0.0),
            centroid=sign_t * widths[:, 4],
        )
