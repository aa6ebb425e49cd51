"""Angles at glue planes from exact heights: planes, walls and a ball of known slope, by trigonometry."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from simkit.compare.feather import feather_edges, feathers
from simkit.compare.glue import FEATHER, SUSPECT, feather_spots
from simkit.stock.field import Lattice

LATTICE = Lattice((0.0, 0.0), 0.25, 160, 120)  # 40 x 30 mm
CENTRES = np.stack(np.meshgrid(LATTICE.x(), LATTICE.y()), axis=-1)
BOTH = (np.ones(LATTICE.shape, bool),) * 2


def edges_of(upper, axis, line, lower=-500.0):
    """Sample a surface upper(x, y) at the cells, and ask it exactly where those suspect a feather edge."""

    def columns(points):
        return SimpleNamespace(lower=np.full(len(points), lower), upper=upper(*points.T))

    heights = upper(*CENTRES.reshape(-1, 2).T).reshape(LATTICE.shape)
    floor = np.full(LATTICE.shape, lower)
    suspected = feather_spots(LATTICE, floor, heights, BOTH, axis, line, SUSPECT)
    return feather_edges(suspected, LATTICE, columns, axis)


@pytest.mark.parametrize("aslant", [3.0, 8.0, 12.0, 14.5, 15.5, 19.0])
@pytest.mark.parametrize("leaning", [0.0, 6.0])
def test_upright__a_wall_aslant_in_plan_and_leaning(aslant, leaning):
    """A wall y = 15.1 + tan(aslant) x + tan(leaning) z: its normal's angle to y, whatever the stairs say."""
    in_plan, back = (math.tan(math.radians(angle)) for angle in (aslant, leaning))

    def upper(x, y):
        away = y - 15.1 - in_plan * (x - 20)
        return np.where(away < 0, 4.0, np.minimum(4.0 + away / max(back, 1e-9), 12.0))

    expected = math.degrees(math.atan(math.hypot(in_plan, back)))
    spots = edges_of(upper, 1, 15.1)
    if expected > FEATHER:
        assert spots == []
    elif leaning == 0:
        assert spots
    for spot in spots:
        assert spot.least == pytest.approx(expected, abs=0.03)
        assert spot.bound < 0.05
        assert abs(spot.at[1] - 15.1) <= 0.25


def test_upright__boards_side_by_side_along_x_as_along_y():
    """The same wall stood the other way round, x = 20.1 + tan(8) y: the angle is the same."""

    def upper(x, y):
        return np.where(x - 20.1 - math.tan(math.radians(8)) * (y - 15) < 0, 4.0, 12.0)

    def columns(points):
        return SimpleNamespace(lower=np.full(len(points), -500.0), upper=upper(*points.T))

    floor = np.full(LATTICE.shape, -500.0)
    spots = feathers(LATTICE, floor, upper(*CENTRES.transpose(2, 0, 1)), BOTH, columns, 0, 20.1)
    assert spots
    for spot in spots:
        assert spot.least == pytest.approx(8.0, abs=0.03)
        assert abs(spot.at[0] - 20.1) <= 0.25
        assert abs(spot.at[1] - 15) <= 4
        assert spot.size[0] <= 0.5 < spot.size[1]


@pytest.mark.parametrize("slope", [4.0, 14.9, 15.1, 30.0])
def test_level__a_slope(slope):
    spots = edges_of(lambda x, y: 9 + math.tan(math.radians(slope)) * (x - 20.03), 2, 9.0)
    assert [(spot.least, spot.bound) for spot in spots] == (
        [pytest.approx((slope, 0), abs=1e-6)] if slope < FEATHER else []
    )


def test_level__ridges_are_what_the_bound_tells():
    """Ridges 0.5 mm apart on 10 degrees: the mean over their length is the slope's, half of it not."""

    def upper(x, y):
        return 9 + math.tan(math.radians(10)) * (x - 20.03) + 0.01 * np.cos(2 * np.pi * x / 0.5)

    (spot,) = edges_of(upper, 2, 9.0)
    assert spot.least == pytest.approx(10, abs=1e-6)
    most = 0.01 * 2 / 0.25  # of what ridges add to the slope over half of their length
    assert 0 < spot.bound <= math.degrees(most) + 0.1


def test_level__an_upright_edge_beside_it_is_none():
    """A floor at 9 that ends in a wall at x = 20.1: on the floor's last cell the mean runs over the edge."""
    (spot,) = edges_of(lambda x, y: np.where(x < 20.1, 9.0, 20.0), 2, 9.0)
    assert (spot.least, spot.bound) == (0.0, 0.0)
    assert spot.size == pytest.approx((19.75, 30.0))  # from the next cell a step to the right is the wall
