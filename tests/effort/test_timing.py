"""The compiled model of time against its twin of NumPy, to the bit."""

from dataclasses import fields, replace

import numpy as np
import pytest

from simkit.effort import motion
from simkit.effort.motion import move_times
from simkit.effort.timing import timed
from simkit.moves.table import make_moves
from tests.effort.test_motion import UNEVEN, random_moves


def assert_same(moves, machine=UNEVEN):
    plain, compiled = move_times(moves, machine), timed(moves, machine)
    for each in fields(plain):
        one, other = getattr(plain, each.name), getattr(compiled, each.name)
        assert one.dtype == other.dtype
        assert np.array_equal(one, other), each.name


def spoilt(seed):
    """Random moves, arcs among them, with moves of no length, stops, gaps, and feeds that are none."""
    rng = np.random.default_rng(seed)
    moves = random_moves(seed)
    n = len(moves)
    is_line = moves.kind == 0
    for at in np.flatnonzero(is_line & (rng.random(n) < 0.2)):
        moves.end[at] = moves.start[at]
    feed, rests, speed = moves.feed.copy(), rng.random(n) < 0.1, moves.speed.copy()
    feed[rng.random(n) < 0.1], feed[rng.random(n) < 0.1], feed[rng.random(n) < 0.1] = 0.0, np.inf, np.nan
    speed[n // 2 :] += 1000.0
    return replace(
        moves,
        feed=feed,
        rests=rests,
        speed=speed,
        rapid=rng.random(n) < 0.2,
        tool=np.repeat([1, 2], [n // 3, n - n // 3]).astype(np.int32),
    )


@pytest.mark.parametrize("seed", range(20))
def test_timed__as_by_numpy(seed):
    assert_same(random_moves(seed))
    assert_same(spoilt(seed))


def test_timed__nothing_and_nothing_but_moves_of_no_length():
    assert_same(make_moves(start=np.zeros((0, 3)), end=np.zeros((0, 3))))
    assert_same(make_moves(start=np.ones((7, 3)), end=np.ones((7, 3)), feed=np.full(7, 600.0)))


@pytest.mark.parametrize("size", [1, 3, 50])
def test_timed__parts_of_any_size_give_the_same_bits(size, monkeypatch):
    monkeypatch.setattr(motion, "BLOCK", size)
    for seed in (3, 4):
        assert_same(spoilt(seed))
