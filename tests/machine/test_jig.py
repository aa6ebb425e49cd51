"""A jig against the cutters: a box with a pocket, held against what its sizes say."""

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.machine.jig import Standing, jig_contacts
from simkit.moves.table import make_moves

CUTTERS = {1: Cutter(1, "flat", 6.0)}
RIM, ISLAND = 6.0, 2.0  # over the lower face of the blank


def board(points):
    """Height over its own lower face: 10; a pocket of 30 x 20 down to 4, an island of 10 x 10 up to 6."""
    x, y = points.T
    is_pocket = (x > 0) & (x < 30) & (y > 0) & (y < 20)
    is_island = (abs(x - 15) < 5) & (abs(y - 10) < 5)
    is_board = (x > -15) & (x < 45) & (y > -15) & (y < 35)
    return np.where(is_board, np.where(is_pocket, np.where(is_island, 6.0, 4.0), 10.0), 0.0)


def under_wood(points):
    x, y = points.T
    return (x > 0) & (x < 30) & (y > 0) & (y < 20)


JIG = Standing("jig box", np.array([-15.0, -15.0, -4.0]), np.array([45.0, 35.0, 6.0]), board, under_wood)


def found(*places, clearance=2.0, cutters=CUTTERS, cell=0.2):
    places = np.array(places, float)
    moves = make_moves(
        programs=("a.nc",), start=places[:-1], end=places[1:], tool=[next(iter(cutters))] * (len(places) - 1)
    )
    return jig_contacts(moves, slice(0, len(moves)), IDENTITY, cutters, JIG, clearance, cell)


def test_wall__too_near_above_and_beside_it():
    # 1 mm over the rim, the cutter's edge at the wall: 2 mm are to be kept, so 1 mm too deep.
    (one,) = found((3, 5, 20), (3, 5, 7), (3, 15, 7))
    assert (one.fixture, one.part, one.row, one.clearance) == ("jig box", "cutting part", 0, 2.0)
    assert one.depth == pytest.approx(RIM + 2.0 - 7.0, abs=1e-5)
    assert -2.0 < one.at[0] < 2.0
    assert found((3, 5, 20), (3, 5, 8), (3, 15, 8)) == []
    # In plan: 2 mm between edge and wall are enough, and told is what comes nearer by two cells or more.
    assert found((5.001, 8, 20), (5.001, 8, 5), (5.001, 12, 5)) == []
    (one,) = found((4.6, 8, 20), (4.6, 8, 5), (4.6, 12, 5))
    assert one.depth == pytest.approx(RIM + 2.0 - 5.0, abs=1e-5)


@pytest.mark.parametrize("cell", [0.1, 0.23, 0.5])
def test_wall__what_keeps_the_clearance_is_never_told(cell):
    for clearance in (0.0, 1.0, 2.0):
        near = 3.0 + clearance + 1e-3
        around = [(near, near), (30 - near, near), (30 - near, 20 - near), (near, 20 - near), (near, near)]
        way = [(*around[0], 30), *((x, y, 3.0) for x, y in around)]
        assert found(*way, clearance=clearance, cell=cell) == []
        close = [(x + np.sign(x - 15) * 1.5 * cell, y, z) for x, y, z in way]
        assert len(found(*close, clearance=clearance, cell=cell)) == 1


def test_under_the_wood__the_cutter_may_come_up_to_the_jig_but_not_into_it():
    assert found((15, 10, 30), (15, 10, ISLAND), (15, 12, ISLAND)) == []
    (one,) = found((15, 10, 30), (15, 10, ISLAND - 0.5), (15, 12, ISLAND - 0.5))
    assert one.depth == pytest.approx(0.5, abs=1e-5)
    assert one.clearance == 0.0
    # Its floor is no higher than the lower face of the blank: the board under it, which `spoilboard` is for.
    assert found((6, 6, 30), (6, 6, -3), (6, 14, -3)) == []


def test_holder__over_the_rim():
    holder = {1: Cutter(1, "flat", 6.0, cutting_length=5, shank=6, stick_out=5, holder=((24, 24, 30),))}
    # Its edge reaches 12 mm from the axis, 3 over the rim, and stands 5 mm over the tip: 7.5 over the floor.
    (one,) = found((9, 8, 30), (9, 8, 2.5), (9, 12, 2.5), cutters=holder)
    assert (one.part, one.row) == ("holder", 0)
    assert one.depth == pytest.approx(RIM + 2.0 - 7.5, abs=1e-4)
    assert found((9, 8, 30), (9, 8, 3.0), (9, 12, 3.0), cutters=holder) == []


def test_far_above_and_beside__nothing_is_asked():
    def fails(points):
        raise AssertionError("heights were asked for")

    moves = make_moves(programs=("a.nc",), start=[(0, 0, 8.0)], end=[(30, 20, 8.0)], tool=[1])
    jig = Standing(JIG.name, JIG.low, JIG.high, fails, under_wood)
    assert jig_contacts(moves, slice(0, 1), IDENTITY, CUTTERS, jig, 2.0, 0.2) == []
    beside = make_moves(programs=("a.nc",), start=[(80, 0, 1.0)], end=[(80, 20, 1.0)], tool=[1])
    assert jig_contacts(beside, slice(0, 1), IDENTITY, CUTTERS, jig, 2.0, 0.2) == []
