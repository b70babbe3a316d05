"""Interpolation between nodes of uneven spacing."""

import numpy as np
import pytest

from raytrace.grid import axis_weights, interpolate

NODES = np.array([0.0, 0.3, 1.0, 1.2, 2.5, 4.0])


def test_nodes_give_their_own_values() -> None:
    values = np.sin(NODES)[:, None]
    assert interpolate((NODES,), values, (NODES,))[:, 0] == pytest.approx(values[:, 0], abs=1e-15)


def test_a_parabola_is_exact_away_from_the_ends_and_a_line_everywhere() -> None:
    places = np.linspace(0.31, 2.49, 50)
    values = np.stack([NODES**2 - NODES, 2.0 * NODES + 1.0], axis=1)
    found = interpolate((NODES,), values, (places,))
    assert found[:, 0] == pytest.approx(places**2 - places, abs=1e-12)
    everywhere = np.linspace(0.0, 4.0, 50)
    assert interpolate((NODES,), values, (everywhere,))[:, 1] == pytest.approx(2.0 * everywhere + 1.0, abs=1e-12)


def test_weights_add_to_one_and_places_beyond_the_ends_take_the_end() -> None:
    places = np.linspace(-3.0, 9.0, 100)
    assert axis_weights(NODES, places)[1].sum(axis=1) == pytest.approx(np.ones(100), abs=1e-12)
    values = np.cos(NODES)[:, None]
    assert interpolate((NODES,), values, (np.array([-3.0, 9.0]),))[:, 0] == pytest.approx(np.cos([0.0, 4.0]), abs=1e-12)


def test_three_axes_one_of_a_single_node() -> None:
    axes = (NODES, np.array([0.0]), np.array([0.0, 1.0, 2.0]))
    values = (NODES[:, None, None] + 10.0 * np.array([0.0, 1.0, 2.0])[None, None, :])[..., None]
    found = interpolate(axes, values, (np.array([1.1, 3.0]), np.array([7.0, -7.0]), np.array([0.5, 1.75])))
    assert found[:, 0] == pytest.approx([6.1, 20.5], abs=1e-12)
