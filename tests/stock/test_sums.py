"""What tiles tell of each entry, summed up by move, against NumPy."""

import numpy as np
import pytest

from simkit.stock.sum_kernels import add_entries
from simkit.stock.told_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TAKES, TOP, UNDER

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
