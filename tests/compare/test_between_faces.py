"""From the target to the cut, between the samples: ribs cut off and grooves left full."""

import numpy as np
import pytest

from simkit.compare import far_faces
from simkit.compare.between import unproved_gouges, unproved_leftover
from simkit.compare.sweeps import Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import make_moves
from simkit.stock.field import Lattice
from tests.compare.parts import grid_of
from tests.small_job import HEAD, block, check
from tests.verdict_jobs import solid

LATTICE = Lattice((0.0, 0.0), 0.4, 100, 75)  # rows of centres at 15.0 and 15.4
FLAT = {1: Cutter(1, "flat", 6.0)}
BALL = {1: Cutter(1, "ball", 6.0)}


def faced(z):
    """Moves of a flat cutter over all at a height."""
    y = np.arange(-2.0, 33.0, 4.0)
    start = np.column_stack([np.full(len(y), -5.0), y, np.full(len(y), z)])
    return make_moves(start=start, end=start + np.array([50.0, 0, 0]), tool=np.ones(len(y), int))


def thin(y, wide, is_rib):
    """A part of 40 x 30, at 8 with a rib up to 10, or at 10 with a groove down to 8."""
    if is_rib:
        return block(0, 40, 0, 30, 0, 8).union(block(10, 30, y - wide / 2, y + wide / 2, 7, 10))
    return block(0, 40, 0, 30, 0, 10).difference(block(10, 30, y - wide / 2, y + wide / 2, 8, 11))


def found(part, moves, cutters, most, is_gouge, with_faces=True, **more):
    asked = np.zeros(LATTICE.shape, bool)
    asked[10:-10, 10:-10] = True
    sweeps = Sweeps([(moves, IDENTITY, 0)], cutters, LATTICE, 1, start=12.0)
    limit = np.full(LATTICE.shape, most)
    grid = grid_of(part)
    if is_gouge:
        return unproved_gouges(sweeps, grid, LATTICE, limit, asked, with_faces=with_faces, **more).is_found
    points = np.column_stack([a.ravel() for a in np.meshgrid(LATTICE.x(), LATTICE.y())])
    owner = sweeps.cut(points, 12.0)[1].reshape(LATTICE.shape)
    return unproved_leftover(sweeps, grid, LATTICE, limit, owner, asked, with_faces=with_faces).is_found


@pytest.mark.parametrize("wide", [0.2, 0.05])
@pytest.mark.parametrize("is_rib", [True, False])
def test_what_is_narrower_than_a_cell_is_found_where_it_is(is_rib, wide):
    # 2 high or deep; from the cut no place is farther than half its width from the part.
    part, moves = thin(15.2, wide, is_rib), faced(8.0 if is_rib else 10.0)
    got = found(part, moves, FLAT, 0.3, is_gouge=is_rib)
    rows, _ = np.nonzero(got)
    assert set(LATTICE.y()[rows].round(6)) <= {15.0, 15.4}
    inner = (LATTICE.x() > 10.4) & (LATTICE.x() < 29.6)
    assert got[:, inner].any(axis=0).all()
    assert not found(part, moves, FLAT, 0.3, is_gouge=is_rib, with_faces=False).any()
    # A limit that allows it.
    assert not found(part, moves, FLAT, 2.1, is_gouge=is_rib).any()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("is_gouge", [True, False])
def test_every_place_that_is_too_far_lies_in_a_cell_that_is_found(seed, is_gouge):
    # Narrow spikes of the target on a grid of 0.5 mm, cut level; the cut is known, so distances are too.
    rng = np.random.default_rng(seed)
    z = np.full((61, 81), 9.0)
    spikes = rng.integers([12, 12], [48, 68], (60, 2))
    z[spikes[:, 0], spikes[:, 1]] += rng.uniform(0.1, 0.6, 60) * (1 if is_gouge else -1)
    got = found(solid(z, 40.0, 30.0), faced(9.0), FLAT, 0.3, is_gouge)
    # Spikes are pyramids: nothing of a level cut is nearer to their tip than straight below or above it.
    off = np.abs(z[spikes[:, 0], spikes[:, 1]] - 9.0)
    x, y = spikes[:, 1] * 0.5, spikes[:, 0] * 0.5
    near = [
        got[np.hypot(LATTICE.y()[:, None] - b, LATTICE.x() - a) < 0.5].any()
        for a, b in zip(x, y, strict=True)
    ]
    assert (off > 0.3).sum() > 15
    assert (off < 0.25).sum() > 5
    assert np.array(near)[off > 0.301].all()
    alone = np.array([np.sort(np.hypot(x - a, y - b))[1] > 1.5 for a, b in zip(x, y, strict=True)])
    assert not np.array(near)[(off < 0.25) & alone].any()


@pytest.mark.parametrize("tall", [0.007, 0.018])
@pytest.mark.parametrize("is_rib", [True, False])
def test_a_rib_of_hundredths_counts_against_a_limit_of_as_little(is_rib, tall):
    """Cut 0.045 too deep, or too high: the rib's top, or the groove's floor, is `tall` farther off."""
    part = block(0, 40, 0, 30, 0, 9)
    if is_rib:
        part = part.union(block(10, 30, 15.19, 15.21, 7, 9 + tall))
    else:
        part = part.difference(block(10, 30, 15.19, 15.21, 9 - tall, 10))
    moves = faced(9 - 0.045 if is_rib else 9 + 0.045)
    inner = (LATTICE.x() > 10.4) & (LATTICE.x() < 29.6)
    assert found(part, moves, FLAT, 0.05, is_rib)[:, inner].any(axis=0).all()
    assert not found(part, moves, FLAT, 0.05 + tall, is_rib).any()


@pytest.mark.parametrize("angle", [0, 20, 45])
@pytest.mark.parametrize("is_gouge", [True, False])
def test_clean_slopes_and_walls_are_proved(angle, is_gouge):
    # A wall that leans by the angle, a ball beside it along its foot: what a ball leaves
    # in the corner between is R (1 / cos(angle / 2) - 1).
    lean = np.tan(np.radians(angle))
    z = np.tile(8.0 + lean * np.linspace(-20, 20, 81).clip(0, 4), (61, 1))
    y = np.arange(-4.0, 34.0, 0.2)
    x = np.linspace(-4, 44, 193)
    start, end = [], []
    for at in y:
        tip = np.maximum(8.0, 8.0 + 3.0 * (1 / np.cos(np.radians(angle)) - 1) + lean * (x - 20).clip(-9, 4))
        path = np.column_stack([x, np.full(len(x), at), tip])
        start.append(path[:-1]), end.append(path[1:])
    start, end = np.vstack(start), np.vstack(end)
    moves = make_moves(start=start, end=end, tool=np.ones(len(start), int))
    assert not found(solid(z, 40.0, 30.0), moves, BALL, 0.5, is_gouge)[:, :60].any()


def test_a_long_edge_at_the_limit_is_given_up_once_a_place_of_it_stays_open(monkeypatch):
    # A wall of 30 mm cut 0.1 back: at its upper edge the part is 0.1 from what is left, and at a limit
    # of 0.1 no square along the edge can be settled; to ask them all takes some 300 million heights.
    part = block(0, 30, 0, 15.2, 0, 10)
    moves = make_moves(start=[[-5.0, 18.1, 5.0]], end=[[35.0, 18.1, 5.0]], tool=[1])
    asked, cut = [], Sweeps.cut

    def counted(self, places, *more):
        asked.append(len(places))
        return cut(self, places, *more)

    monkeypatch.setattr(Sweeps, "cut", counted)
    along = (LATTICE.x() > 4.4) & (LATTICE.x() < 29.6)
    got = found(part, moves, FLAT, 0.1, True, floor=0.0002)
    assert got[np.abs(LATTICE.y() - 15.0) < 0.1][:, along].all()  # none of them is taken for proved
    assert sum(asked) < 6e6
    asked.clear()
    assert not found(part, moves, FLAT, 0.11, True, floor=0.0002).any()
    assert sum(asked) < 6e6


def test_check__tells_a_groove_that_no_sample_saw(tmp_path):
    program = HEAD + "G0 X-5 Y0\nG1 Z10 F600\n"
    for k, y in enumerate(np.arange(0.0, 32.1, 4.0)):
        program += f"G1 Y{y:g}\nX{45 if k % 2 == 0 else -5}\n"
    _, told = check(tmp_path, thin(15.2, 0.2, False), program + "G0 Z20\nM30\n", cell="0.4")
    left = [row for row in told if row["kind"].startswith("leftover")]
    assert [row["value"] for row in left] == pytest.approx([2.0], abs=1e-3)
    assert left[0]["at"][1] == pytest.approx(15.2, abs=0.11)


@pytest.mark.parametrize("is_gouge", [True, False])
def test_faces_halved_in_parts_are_found_as_when_halved_at_once(monkeypatch, is_gouge):
    # Cells do not depend on each other, as long as nothing is given up for how many squares there are.
    rng = np.random.default_rng(5)
    z = 9.0 + rng.uniform(-0.5, 0.5, (61, 81))
    part = solid(z, 40.0, 30.0)
    at_once = found(part, faced(9.0), FLAT, 0.3, is_gouge)
    monkeypatch.setattr(far_faces, "AT_ONCE", 500)
    in_parts = found(part, faced(9.0), FLAT, 0.3, is_gouge)
    assert at_once.any()
    assert not at_once.all()
    assert np.array_equal(in_parts, at_once)


def test_parts_of_squares_keep_cells_together_and_in_order():
    cell = np.random.default_rng(1).integers(0, 40, 500)
    parts = far_faces._by_cells(cell, 60)
    assert len(parts) > 4
    assert np.array_equal(np.sort(np.concatenate(parts)), np.arange(500))
    assert all((np.diff(rows) > 0).all() for rows in parts)
    every = [set(cell[rows]) for rows in parts]
    assert sum(map(len, every)) == len(set(cell))
    assert [list(rows) for rows in far_faces._by_cells(cell, 500)] == [list(range(500))]
    assert [len(rows) for rows in far_faces._by_cells(cell[:0], 60)] == [0]
