"""Dowel holes as drilled or milled, and how they meet the pins after turning over."""

import numpy as np
import pytest

from simkit.compare.dowels import dowel_holes, pins
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.job.model import Blank, Dowel, Setup
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice

BLANK = Blank(60.0, 30.0, 8.0)
CUTTERS = {1: Cutter(1, "drill", 6.0), 2: Cutter(2, "flat", 3.0)}
LEFT, RIGHT = Dowel("left", (8.0, 15.0), 6.0), Dowel("right", (48.0, 15.0), 6.0)


def plunge(x, y, low, tool=1):
    return {"start": [[x, y, 12.0]], "end": [[x, y, low]], "tool": [tool]}


def holes_of(dowels, **columns):
    moves = make_moves(programs=("p.nc",), **columns)
    field = blank_field(
        blank_lattice(BLANK.length, BLANK.width, 0.2), BLANK.length, BLANK.width, BLANK.thickness
    )
    field = cut(field, moves, CUTTERS, IDENTITY).field
    return dowel_holes(dowels, field, moves, [slice(0, len(moves))], [IDENTITY], CUTTERS)


def test_dowel_holes__drilled_place_is_exact():
    (hole,) = holes_of((LEFT,), **plunge(8.3, 14.6, -3.0))
    assert hole.how == "drilled"
    assert hole.at == pytest.approx((8.3, 14.6), abs=1e-12)
    assert hole.off == pytest.approx(0.5, abs=1e-12)  # 3-4-5
    assert hole.is_through
    assert hole.row == 0


def test_dowel_holes__a_shallow_one_is_not_through():
    (hole,) = holes_of((LEFT,), **plunge(8.0, 15.0, 2.0))
    assert hole.how == "drilled"
    assert not hole.is_through


def test_dowel_holes__milled_with_a_smaller_cutter_is_found_within_its_bound():
    # Two turns of a helix of radius 1.5 with a 3 mm cutter make a 6 mm hole.
    start = [[9.7, 15.1, 8.0], [9.7, 15.1, 3.0], [9.7, 15.1, -1.0]]
    end = [[9.7, 15.1, 3.0], [9.7, 15.1, -1.0], [9.7, 15.1, -1.0]]
    (hole,) = holes_of(
        (LEFT,),
        kind=[ARC] * 3,
        start=start,
        end=end,
        centre=[[8.2, 15.1]] * 3,
        sweep=[2 * np.pi] * 3,
        tool=[2] * 3,
    )
    assert hole.how == "milled"
    assert hole.at == pytest.approx((8.2, 15.1), abs=hole.bound)
    assert hole.diameter == pytest.approx(6.0, abs=0.1)
    assert hole.is_through


def test_dowel_holes__one_drilled_far_off_is_that_hole_in_the_wrong_place():
    (hole,) = holes_of((LEFT,), **plunge(30.0, 15.0, -3.0))
    assert (hole.how, hole.off) == ("drilled", pytest.approx(22.0))


def test_dowel_holes__a_plunge_of_another_size_is_none():
    (hole,) = holes_of((LEFT,), **plunge(8.0, 15.0, -3.0, tool=2))
    assert (hole.how, hole.at) == ("not made", (8.0, 15.0))
    assert hole.other == (0, 3.0)
    # Half a diameter beside it goes down elsewhere.
    assert holes_of((LEFT,), **plunge(11.1, 15.0, -3.0, tool=2))[0].other is None


def test_dowel_holes__rapids_and_level_moves_drill_nothing():
    columns = {
        "kind": [LINE, LINE],
        "rapid": [True, False],
        "start": [[8, 15, 12], [8, 15, 9]],
        "end": [[8, 15, 9], [9, 15, 9]],
        "tool": [1, 1],
    }
    assert holes_of((LEFT,), **columns)[0].how == "not made"


def pins_after(turn, stated=None):
    setups = (Setup("one", ()), Setup("two", (), turn=turn, pins=stated))
    start, end = [[8, 15, 12], [48, 15, 12]], [[8, 15, -3], [48, 15, -3]]
    return pins(holes_of((LEFT, RIGHT), start=start, end=end, tool=[1, 1]), setups, BLANK)


def test_pins__holes_on_the_line_of_turning_meet_themselves():
    assert [pin.miss for pin in pins_after("about x")] == pytest.approx([0.0, 0.0])


def test_pins__turned_end_over_end_the_nearest_hole_is_the_other_one():
    # x -> 60 - x: the hole at 48 lies at 12, that at 8 lies at 52; the pins stand at 8 and 48.
    left, right = pins_after("about y")
    assert (left.dowel, left.nearest.dowel) == (LEFT, RIGHT)
    assert left.hole == pytest.approx((12.0, 15.0))
    assert left.miss == pytest.approx(4.0)
    assert right.hole == pytest.approx((52.0, 15.0))
    assert right.miss == pytest.approx(4.0)


def test_pins__stated_pins_are_taken():
    left, right = pins_after("about y", stated=((52.0, 15.3), (12.0, 15.0)))
    assert (left.nearest.dowel, right.nearest.dowel) == (LEFT, RIGHT)
    assert left.miss == pytest.approx(0.3)
    assert right.miss == pytest.approx(0.0)
