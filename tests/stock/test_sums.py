"""What tiles tell of each entry, summed up by move, against NumPy."""

import numpy as np
import pytest

from simkit.cutters import BALL, FLAT
from simkit.stock.bin_kernels import follow
from simkit.stock.record_kernels import COLUMNS, LENGTH, LINE_FORM, code_of
from simkit.stock.sum_kernels import add_entries, tell_moves, tell_places
from simkit.stock.take_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TAKES, TOP, UNDER

MOVES, ROW0, AREA, LEAN_AREA = 40, 7, 0.04, -0.04


def told(seed: int):
    """Return places in rows, rows, and what 300 entries tell; every third takes nothing."""
    rng = np.random.default_rng(seed)
    rows = (ROW0 + rng.permutation(MOVES)).astype(np.int32)
    entries = rng.integers(0, MOVES, 300).astype(np.int32)
    taken = rng.uniform(0.1, 3.0, (300, TAKES))
    taken[:, LEAN] = rng.uniform(-1.0, 1.0, 300) * taken[:, TAKEN]
    # Few depths, so that many are the same; each cell once.
    taken[:, DEPTH] = rng.choice([0.25, 0.5, 0.75], 300)
    taken[:, SPOT] = rng.permutation(300)
    taken[:, BOTTOM] = taken[:, BOTTOM].astype(np.float32)
    taken[::3] = 0.0
    taken[::3, TOP], taken[::3, NEAR], taken[::3, FAR], taken[::3, SPOT] = -np.inf, np.inf, -np.inf, -1.0
    return entries, rows, taken


def nothing():
    """Return what is told of moves that met no wood yet, as add_entries takes it."""
    ends = [np.full(MOVES, far) for far in (-np.inf, np.inf, -np.inf)]
    bites = np.zeros(MOVES, np.float32), np.full(MOVES, -1, np.int64), np.zeros(MOVES, np.float32)
    return [np.zeros(MOVES), np.zeros(MOVES), *ends, np.zeros(MOVES), *bites]


@pytest.mark.parametrize("seed", range(3))
def test_entries_add_up_to_moves(seed):
    entries, rows, taken = told(seed)
    found = nothing()
    for part in (slice(0, 110), slice(110, 300)):  # tiles are done in parts
        add_entries(entries[part], rows, ROW0, taken[part], AREA, LEAN_AREA, *found)
    wanted, of = nothing(), rows[entries] - ROW0
    np.add.at(wanted[0], of, taken[:, TAKEN] * AREA)
    np.add.at(wanted[1], of, taken[:, LEAN] * LEAN_AREA)
    np.maximum.at(wanted[2], of, taken[:, TOP])
    np.minimum.at(wanted[3], of, taken[:, NEAR])
    np.maximum.at(wanted[4], of, taken[:, FAR])
    np.maximum.at(wanted[5], of, taken[:, UNDER])
    for move in range(MOVES):
        mine = np.flatnonzero((of == move) & (taken[:, TAKEN] > 0))
        if len(mine):
            best = mine[np.lexsort((taken[mine, SPOT], -taken[mine, DEPTH]))[0]]
            for own, column in zip(wanted[6:], (DEPTH, SPOT, BOTTOM), strict=True):
                own[move] = taken[best, column]
    for own, its in zip(found, wanted, strict=True):
        np.testing.assert_array_equal(own, its)


@pytest.mark.parametrize("up", [1.0, -1.0])
def test_tell_moves__of_the_frame_of_the_program(up):
    rng = np.random.default_rng(8)
    n, rise, offset = 50, up, 3.5
    start, end = rng.uniform(-1, 1, (n, 3)), rng.uniform(-1, 1, (n, 3))
    highest, near, far = rng.uniform(-9, 9, n), rng.uniform(0, 1, n), rng.uniform(1, 2, n)
    under = rng.uniform(0.1, 1, n)
    highest[::5], near[1::5], far[1::5] = -np.inf, np.inf, -np.inf
    top, along, left = np.empty(n), np.empty((n, 2)), under.copy()
    for first, last in ((0, 20), (20, n)):
        tell_moves(first, last, start, end, up, offset, rise, highest, near, far, left, top, along)
    wanted = np.where(np.isfinite(highest), (up * highest - offset) / rise, np.nan)
    np.testing.assert_array_equal(top, wanted)
    np.testing.assert_array_equal(along, np.where(np.isfinite([near, far]), [near, far], np.nan).T)
    np.testing.assert_array_equal(left, np.where(end[:, 2] < start[:, 2], under, 0.0))


@pytest.mark.parametrize("up", [1.0, -1.0])
def test_tell_places__of_cells_and_of_none(up):
    rng = np.random.default_rng(9)
    xs, ys = np.arange(7) * 0.2, np.arange(5) * 0.2 + 10.0
    place, heights = rng.integers(-1, 35, 60), rng.uniform(-3, 3, 60).astype(np.float32)
    at = np.empty((60, 3))
    tell_places(0, 60, place, heights, xs, ys, up, at)
    iy, ix = np.divmod(place, 7)
    wanted = np.column_stack([xs[ix], ys[iy], up * heights])
    np.testing.assert_array_equal(at, np.where(place[:, None] < 0, np.nan, wanted))
    assert (place < 0).any()


def test_follow__lines_of_a_ball_that_begin_where_the_one_before_ends():
    rng = np.random.default_rng(10)
    n, row0 = 200, 11
    places = rng.uniform(0, 9, (n + 1, 3))
    start, end = places[:-1].copy(), places[1:]
    start[rng.random(n) < 0.2, rng.integers(3)] += 1.0
    chosen = np.flatnonzero(rng.random(n) < 0.8)  # packed: others touch nothing
    m = len(chosen)
    rows, records = np.full(n, -1, np.int32), np.zeros((n, COLUMNS))
    rows[:m] = row0 + chosen
    records[:m, LENGTH] = np.where(rng.random(m) < 0.1, 0.0, 1.0)
    ball, flat = (np.int8(code_of.py_func(LINE_FORM, profile)) for profile in (BALL, FLAT))
    codes = np.where(rng.random(n) < 0.9, ball, flat).astype(np.int8)
    follows = np.zeros(n, bool)
    follow(0, m, row0, codes, rows, records, start, end, follows)
    wanted = np.zeros(n, bool)
    for k in range(1, m):
        is_line = codes[k] == ball and codes[k - 1] == ball and records[k, LENGTH] > 0
        is_linked = np.array_equal(start[chosen[k]], end[chosen[k - 1]])
        wanted[k] = is_line and chosen[k] == chosen[k - 1] + 1 and is_linked
    np.testing.assert_array_equal(follows, wanted)
    assert 20 < wanted.sum() < m - 20
