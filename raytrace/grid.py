"""Interpolation between nodes of their own spacing: weights of the nodes, for cubics and for straight lines."""

import numpy as np

from raytrace.arrays import Floats, Ints

STENCIL = 4
"""Nodes that a value between two of them hangs on, along one axis."""


def slope_weights(nodes: Floats) -> Floats:
    """Weights of the slope at each node on its neighbours before, itself, and after, (n, 3) float.

    The slope of the parabola through the three; at the two ends that of the outermost piece.
    """
    step = np.diff(nodes)
    weights = np.zeros((len(nodes), 3))
    weights[0, 1:] = -1.0 / step[0], 1.0 / step[0]
    weights[-1, :2] = -1.0 / step[-1], 1.0 / step[-1]
    before, after = step[:-1], step[1:]
    weights[1:-1, 0] = -after / (before * (before + after))
    weights[1:-1, 1] = (after - before) / (before * after)
    weights[1:-1, 2] = before / (after * (before + after))
    return weights


def axis_weights(nodes: Floats, where: Floats) -> tuple[Ints, Floats]:
    """Cubic Hermite interpolation along one axis: nodes to read and their weights, (m, 4) each, for (m,) places.

    Places beyond the ends are moved to them. An axis of one node gives its value everywhere.
    """
    count = len(nodes)
    if count == 1:
        weights = np.zeros((len(where), STENCIL))
        weights[:, 1] = 1.0
        return np.zeros((len(where), STENCIL), dtype=np.int64), weights
    at = np.clip(where, nodes[0], nodes[-1])
    cell = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, count - 2)
    width = nodes[cell + 1] - nodes[cell]
    t = (at - nodes[cell]) / width
    # The Hermite basis: values at both ends, then slopes times the width.
    low, high = (1.0 + 2.0 * t) * (1.0 - t) ** 2, t * t * (3.0 - 2.0 * t)
    slope_low, slope_high = t * (1.0 - t) ** 2 * width, t * t * (t - 1.0) * width
    slopes = slope_weights(nodes)
    first, second = slopes[cell], slopes[cell + 1]
    weights = np.zeros((len(at), STENCIL))
    weights[:, :3] += slope_low[:, None] * first
    weights[:, 1:] += slope_high[:, None] * second
    weights[:, 1] += low
    weights[:, 2] += high
    read = np.clip(cell[:, None] + np.arange(-1, 3), 0, count - 1)
    return read, weights


def linear_weights(nodes: Floats, where: Floats) -> tuple[Ints, Floats]:
    """Linear interpolation along one axis, in the shape of `axis_weights`."""
    read, weights = axis_weights(nodes, where)
    if len(nodes) > 1:
        cell = np.clip(np.searchsorted(nodes, where, side="right") - 1, 0, len(nodes) - 2)
        share = np.clip((where - nodes[cell]) / (nodes[cell + 1] - nodes[cell]), 0.0, 1.0)
        weights = np.stack([np.zeros_like(share), 1.0 - share, share, np.zeros_like(share)], axis=1)
    return read, weights
