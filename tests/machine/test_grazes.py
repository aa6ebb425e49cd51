"""Rapids that graze wood between the centres of cells, held against what their sizes say."""

import math

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.machine.grazes import WoodThen, grazes, under
from simkit.moves.table import make_moves
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay

CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "vee", 6.0, point=60.0)}
TOP = 12.0
LATTICE = blank_lattice(40.0, 30.0, 0.2)


def whole(points):
    x, y = points.T
    return np.full(len(points), TOP), (x > 0) & (x < 40) & (y > 0) & (y < 30)


def told(*ways, tool=1):
    """What the cells tell and what is told beside them; ways: (is_rapid, places)."""
    moves = make_moves(
        programs=("a.nc",),
        rapid=[rapid for rapid, *_ in ways],
        start=[start for _, start, _ in ways],
        end=[end for _, _, end in ways],
        tool=[tool] * len(ways),
    )
    before = blank_field(LATTICE, 40.0, 30.0, TOP)
    met = replay(before, moves, CUTTERS, IDENTITY)
    is_told = moves.rapid & (met.depth > 0.01)
    wood = WoodThen(moves, slice(0, len(moves)), IDENTITY, CUTTERS, whole)
    return np.flatnonzero(is_told).tolist(), grazes(wood, before, is_told)


SLOT = (False, (-5, 15, 6), (45, 15, 6))  # from Y12 to Y18, 6 deep


def test_rapid__a_graze_narrower_than_half_a_cell():
    for aside, depth in ((0.0, None), (0.005, None), (0.05, 6.0), (-0.05, 6.0)):
        cells, found = told(SLOT, (True, (45, 15 + aside, 6), (5, 15 + aside, 6)))
        assert cells == []
        assert [one.row for one in found] == ([] if depth is None else [1])
        if found:
            assert found[0].depth == pytest.approx(TOP - 6.0, abs=1e-6)
            assert found[0].at[1] == pytest.approx(15 + aside + math.copysign(2.99, aside), abs=1e-6)
    # 3 mm over the floor of the slot it is 3 mm deep in its wall, and over the blank in nothing.
    _, (one,) = told(SLOT, (True, (45, 15.05, 9), (5, 15.05, 9)))
    assert one.depth == pytest.approx(3.0, abs=1e-6)
    assert told(SLOT, (True, (45, 15.05, 12), (5, 15.05, 12)))[1] == []


def test_rapid__straight_down_beside_a_wall_and_up_again():
    down = (True, (20, 15.05, 30), (20, 15.05, 6.5))
    cells, found = told(SLOT, down)
    assert cells == []
    assert found[0].depth == pytest.approx(TOP - 6.5, abs=1e-6)
    assert told(SLOT, (True, (20, 15, 30), (20, 15, 6.5)), (True, (20, 15, 6.5), (20, 15, 30)))[1] == []


def test_rapid__the_tip_of_a_vee_scratches_between_two_rows():
    # Centres of cells lie 0.1 to both sides of Y15: there a vee of 60 degrees is 0.1 / tan 30 over its tip.
    rise = 0.1 / math.tan(math.radians(30.0))
    for depth in (0.03, 0.1, rise - 0.005):
        cells, (one,) = told((True, (45, 15, TOP - depth), (-5, 15, TOP - depth)), tool=2)
        assert cells == []
        assert one.depth == pytest.approx(depth, abs=1e-9)
        assert one.at[1:] == pytest.approx((15.0, TOP - depth), abs=1e-9)
    assert told((True, (45, 15, TOP - rise - 0.05), (-5, 15, TOP - rise - 0.05)), tool=2) == ([0], [])
    assert told((True, (45, 15, TOP), (-5, 15, TOP)), tool=2) == ([], [])


def test_rapid__wood_counts_as_it_stood_then():
    """Behind the cut that opens a slot a rapid in it is free, before it not."""
    rapid = (True, (45, 15.0, 6), (-5, 15.0, 6))
    assert told(SLOT, rapid) == ([], [])
    assert told(rapid, SLOT)[0] == [0]


def test_points__no_farther_apart_than_asked_and_none_outside():
    points = under(np.array([0.0, 0.0]), np.array([3.0, 4.0]), 2.0, 0.1)
    along = np.array([0.6, 0.8])
    s = np.clip(points @ along, 0, 5)
    away = np.linalg.norm(points - s[:, None] * along, axis=1)
    assert away.max() == pytest.approx(2.0, abs=1e-9)
    rng = np.random.default_rng(1)
    some = rng.uniform(-2, 6, (500, 2))
    inside = np.linalg.norm(some - np.clip(some @ along, 0, 5)[:, None] * along, axis=1) < 1.9
    nearest = np.linalg.norm(some[inside][:, None] - points[None], axis=2).min(axis=1)
    assert nearest.max() < 0.1
    assert len(under(np.zeros(2), np.array([5000.0, 0.0]), 3.0, 0.1)) < 320_000
