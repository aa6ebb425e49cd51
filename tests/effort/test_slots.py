"""Deep ends of long moves, against depths and lengths known on paper."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.effort.bite import bites
from simkit.effort.motion import move_times
from simkit.effort.slots import deep_slots, is_deep_slot
from simkit.frames import IDENTITY, turned
from simkit.job.model import Machine
from simkit.moves.table import ARC, join_moves, make_moves
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay
from tests.effort.test_bite import SIZE, path

CUTTERS = {
    1: Cutter(1, "flat", 6.0, slot_depth=0.5),
    2: Cutter(2, "flat", 10.0),
    3: Cutter(3, "ball", 6.0, slot_depth=0.25),
}


def looked(moves, frame=IDENTITY, cell=0.2):
    """Stretches that are deep slots as a whole, and pieces that are."""
    before = blank_field(blank_lattice(SIZE[0], SIZE[1], cell), *SIZE)
    met = replay(before, moves, CUTTERS, frame)
    own = bites(moves, met, move_times(moves, Machine()), CUTTERS, cell)
    return is_deep_slot(own, CUTTERS), deep_slots(moves, met.depth, own, before, CUTTERS, frame)


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
def test_step_in_the_wood__the_deep_end_is_told(turn):
    # A shelf 10 wide along y, 4 deep, then 6 mm cutters along x, 5 deep: over the shelf they take
    # 1 mm, beyond it the 5 mm to its end.
    shelf = [[x, y, 8] for x in (8, 16, 24, 32) for y in ((-6, 46) if x % 16 else (46, -6))]
    moves = path([*shelf, [32, -6, 14], [8, 20, 14], [8, 20, 7], [50, 20, 7]], tool=2)
    moves.tool[-2:] = 1
    whole, pieces = looked(moves, turned(turn, *SIZE))
    assert not whole.any()
    assert set(pieces.row) == {len(moves) - 1}
    assert pieces.depth == pytest.approx(5.0, abs=1e-4)
    # The shelf ends at 32 + 5; the front meets its edge 3 before that.  Off by a piece at its beginning.
    assert pieces.length.sum() == pytest.approx(50 - (37 - 3), abs=1.5 + 1.5)
    place = turned(turn, *SIZE).inverse().apply(pieces.at)
    assert (place[:, 0] > 36.9).all()


def test_ramp_along_a_slot__is_told_from_where_it_is_too_deep():
    # From the top down to 6 over 40: 3, half the diameter, after 20.
    whole, pieces = looked(path([[10, 20, 12], [50, 20, 6]]))
    assert not whole.any()
    assert pieces.depth.max() == pytest.approx(6.0, abs=0.05)
    assert pieces.length.sum() == pytest.approx(20 * math.hypot(40, 6) / 40, abs=2 * 1.5)


@pytest.mark.parametrize("sense", [-1, 1])
def test_arc_over_a_step__the_deep_end_is_told(sense):
    # The shelf of before, left along an arc of radius 14 about its end: a quarter above it, a quarter behind.
    shelf = [[x, y, 8] for x in (8, 16, 24, 32) for y in ((-6, 46) if x % 16 else (46, -6))]
    y = 8 if sense < 0 else 32
    inside = path([*shelf, [32, -6, 14], [23, y, 14], [23, y, 7]], tool=2)
    inside.tool[-1:] = 1
    bend = make_moves(
        ("a.nc",), start=[[23, y, 7]], end=[[51, y, 7]], kind=[ARC], centre=[[37, y]], sweep=[sense * np.pi],
        tool=[1], speed=[18000], feed=[2400],
    )  # fmt: skip
    moves = replace(
        join_moves([inside, bend]), programs=("a.nc",), program=np.zeros(len(inside) + 1, np.int32)
    )
    whole, pieces = looked(moves)
    assert not whole[-1]
    assert set(pieces.row) == {len(moves) - 1}
    assert pieces.depth == pytest.approx(5.0, abs=1e-4)
    # From where the front meets the edge, 3 before it, or has passed it whole; off by a piece.
    assert 14 * math.pi / 2 - 1.5 <= pieces.length.sum() <= 14 * math.pi / 2 + 3.1 + 1.5
    off = np.hypot(pieces.at[:, 0] - 37, pieces.at[:, 1] - y)
    assert (np.abs(off - 14) <= 3.0 + 1e-6).all()
    assert (pieces.at[:, 0] > 36.9).all()


def test_wood_on_one_side__is_no_slot_however_deep():
    # A slot, 4.5 deep in all by two levels of 2.25; then a pass 3 beside it, at 4.5 at once.
    slot = [[10, 20, 9.75], [50, 20, 9.75], [50, 20, 7.5], [10, 20, 7.5], [10, 20, 14], [10, 17, 14]]
    whole, pieces = looked(path([*slot, [10, 17, 7.5], [50, 17, 7.5]]))
    assert not whole.any()
    assert len(pieces.row) == 0


@pytest.mark.parametrize(("z", "is_deep"), [(10.0, True), (10.6, False)])
def test_ball__a_slot_has_its_round_section(z, is_deep):
    # A quarter of the diameter is 1.5; a ball takes no rectangle, and still cuts over its whole width.
    whole, pieces = looked(path([[10, 20, z], [50, 20, z]], tool=3))
    assert whole.any() == is_deep
    assert len(pieces.row) == 0


def test_nothing_stated__nothing_is_looked_at_again():
    moves = path([[10, 20, 4], [50, 20, 4]], tool=2)
    whole, pieces = looked(moves)
    assert not whole.any()
    assert len(pieces.row) == 0


def test_deep_moves_anywhere__every_piece_lies_on_its_move():
    rng = np.random.default_rng(1)
    places = np.column_stack([rng.uniform(-4, 64, 30), rng.uniform(-4, 44, 30), rng.uniform(6, 13, 30)])
    _, pieces = looked(path(places), cell=0.4)
    assert len(pieces.row) > 5
    for row, at in zip(pieces.row, pieces.at, strict=True):
        a, b = places[row][:2], places[row + 1][:2]
        along = np.clip((at[:2] - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        assert np.linalg.norm(a + along * (b - a) - at[:2]) <= 3.0 + 1e-6
    assert (pieces.depth > 3.0).all()
