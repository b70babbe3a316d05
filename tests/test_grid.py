"""Interpolation between nodes of uneven spacing."""

import numpy as np
import pytest

from raytrace.arrays import Floats
from raytrace.grid import axis_weights, linear_weights
from raytrace.response import TubePlaces
from raytrace.response.table import WIDTHS, read_grid

NODES = np.array([0.0, 0.3, 1.0, 1.2, 2.5, 4.0])


def cubic(values: Floats, where: Floats) -> Floats:
    read, weights = axis_weights(NODES, where)
    return np.einsum("mk,mkq->mq", weights, values[read])


def test_nodes_give_their_own_values() -> None:
    values = np.sin(NODES)[:, None]
    assert cubic(values, NODES)[:, 0] == pytest.approx(values[:, 0], abs=1e-15)


def test_a_parabola_is_exact_away_from_the_ends_and_a_line_everywhere() -> None:
    places = np.linspace(0.31, 2.49, 50)
    values = np.stack([NODES**2 - NODES, 2.0 * NODES + 1.0], axis=1)
    found = cubic(values, places)
    assert found[:, 0] == pytest.approx(places**2 - places, abs=1e-12)
    everywhere = np.linspace(0.0, 4.0, 50)
    assert cubic(values, everywhere)[:, 1] == pytest.approx(2.0 * everywhere + 1.0, abs=1e-12)


def test_weights_add_to_one_and_places_beyond_the_ends_take_the_end() -> None:
    places = np.linspace(-3.0, 9.0, 100)
    for kind in (axis_weights, linear_weights):
        assert kind(NODES, places)[1].sum(axis=1) == pytest.approx(np.ones(100), abs=1e-12)
    values = np.cos(NODES)[:, None]
    assert cubic(values, np.array([-3.0, 9.0]))[:, 0] == pytest.approx(np.cos([0.0, 4.0]), abs=1e-12)


def test_straight_lines_between_the_nodes_are_those_of_a_general_library() -> None:
    places = np.linspace(-1.0, 5.0, 80)
    read, weights = linear_weights(NODES, places)
    values = np.exp(-NODES)
    # Outside source: numpy.interp, which takes the end values beyond the ends too.
    assert (weights * values[read]).sum(axis=1) == pytest.approx(np.interp(places, NODES, values), abs=1e-15)


def test_three_axes_one_of_a_single_node() -> None:
    axes = (NODES, np.array([0.0]), np.array([0.0, 1.0, 2.0]))
    one = (NODES[:, None, None] + 10.0 * np.array([0.0, 1.0, 2.0])[None, None, :])[..., None]
    values = np.repeat(one, 2 + len(WIDTHS), axis=-1)
    still = TubePlaces(tilt=np.array([0.0]), tangent=np.array([[0.0]]))
    where = np.array([1.1, 3.0]), np.array([7.0, -7.0]), np.array([0.5, 1.75])
    for column in read_grid(axes, values, still, where).T:
        assert column == pytest.approx([6.1, 20.5], abs=1e-12)
    rounded = np.repeat((NODES**2)[:, None, None, None], values.shape[-1], axis=-1)
    straight = read_grid((NODES, np.array([0.0]), np.array([0.0])), rounded, still, where, straight_along=0)
    assert straight[:, 0] == pytest.approx(np.interp(where[0], NODES, NODES**2), abs=1e-12)


def test_between_two_tilts_a_tube_is_read_at_its_own_distance_from_where_it_lies() -> None:
    # A tube that takes all light within 2 deg of its own place, which wanders by 20 deg while the lens tilts by 60.
    across, tilts = np.linspace(-40.0, 40.0, 321), np.array([0.0, 30.0, 60.0])
    steps = np.linspace(0.0, 1.0, 121)
    place = TubePlaces(tilt=60.0 * steps, tangent=np.tan(np.radians(20.0 * steps))[:, None])
    own = np.degrees(np.arctan(place.at(tilts, 0)))
    line = np.exp(-(((np.tan(np.radians(across[:, None])) - np.tan(np.radians(own))) / np.tan(np.radians(2.0))) ** 2))
    values = np.repeat(line[:, None, :, None], 2 + len(WIDTHS), axis=-1)
    where = np.full(1, 5.0), np.zeros(1), np.full(1, 15.0)
    found = read_grid((across, np.zeros(1), tilts), values, place, where)[0]
    assert found[:2] == pytest.approx([1.0, 1.0], abs=2e-3)
    assert found[2] < 0.1  # a width of the focal line does not wander with the tube
