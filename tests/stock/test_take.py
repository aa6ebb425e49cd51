"""What a leaf loses to one move, in vectors: against NumPy cell by cell, to the bit."""

import numba
import numpy as np
import pytest

from simkit.stock.lose_kernels import (
    AT_Y,
    BATCH,
    BEFORE,
    CELLS,
    FLOOR,
    KEEPER,
    LEAF,
    LOST,
    ON_PATH,
    PLACES,
    ROOM,
    WIDE,
)
from simkit.stock.take_kernels import (
    BOTTOM,
    DEPTH,
    FAR,
    LEAN,
    NEAR,
    SPOT,
    TAKEN,
    TAKES,
    TOP,
    UNDER,
    lower,
    take,
)

NX, ROW, COLUMN = 100, 12, 40  # of the field, and where the leaf begins in it
CELL = 0.2


@numba.njit
def run(keeper, w, batch, at, taken, k, places, base, nx, line, right):
    """Lower a leaf and tell of it, as told_kernels does; return what both instructions return."""
    losing = lower(keeper, w, batch, at)
    near, far = take(taken, k, places, w, batch, at, base, nx, *line, *right)
    return losing, near, far


def leaf(rng, heights):
    """A leaf of some wood over a floor: w, places, and a batch with the heights of one move at `at`."""
    w, places, batch = np.zeros(ROOM, np.float32), np.zeros(PLACES), np.zeros(BATCH, np.float32)
    row, column = np.divmod(np.arange(CELLS), WIDE)
    places[:CELLS], places[AT_Y : AT_Y + CELLS] = (COLUMN + column) * CELL, (ROW + row) * CELL
    w[:CELLS], w[FLOOR : FLOOR + CELLS] = rng.choice(np.float32([5.0, 5.25, 6.1]), CELLS), -1.0
    w[FLOOR : FLOOR + CELLS : 5], w[KEEPER : KEEPER + CELLS] = 5.2, -1.0
    at = 3 * CELLS
    batch[at : at + CELLS] = heights
    return w, places, batch, at


def plain_halves(numbers):
    """The sums of the left and of the right half of eight, in the order that is told of a column."""
    return [(a[0] + a[1]) + (a[2] + a[3]) for a in (numbers[:4], numbers[4:])]


@pytest.mark.parametrize("seed", range(40))
def test_leaf__lowered_and_told_as_cell_by_cell(seed):
    rng = np.random.default_rng(seed)
    heights = rng.choice(np.float32([4.0, 4.5, 5.1, 5.9, 7.0, np.inf]), CELLS)
    w, places, batch, at = leaf(rng, heights)
    angle = rng.uniform(0, 2 * np.pi)
    x, y, ux, uy = 8.0 + rng.normal(), 2.5 + rng.normal(), np.cos(angle), np.sin(angle)
    right = (ux, uy) if seed % 4 else (0.0, 0.0)
    taken = rng.uniform(0.1, 3.0, (3, TAKES))
    taken[1, DEPTH], taken[1, SPOT] = rng.choice([0.0, 0.5, 1.6, 2.1]), rng.choice([0, 10**6])
    stood, floor, keeper = (w[i : i + CELLS].copy() for i in (0, FLOOR, KEEPER))
    before = taken.copy()

    is_lower = heights < stood
    lost = np.maximum(stood - np.maximum(heights, floor), np.float32(0.0))
    assert lost.any()
    px, py = places[:CELLS], places[AT_Y : AT_Y + CELLS]
    way = (px - x) * ux + (py - y) * uy
    side = (px - x) * right[1] + (py - y) * -right[0]
    lean = lost.astype(float) * np.where(side > ON_PATH, 1, np.where(side < -ON_PATH, -1, 0))
    expected = before[1].copy()
    for column, each in ((TAKEN, lost.astype(float)), (LEAN, lean)):
        rows = each.reshape(LEAF, WIDE)
        left, other = plain_halves(((rows[0] + rows[1]) + rows[2]) + rows[3])
        expected[column] = (expected[column] + left) + other
    expected[TOP] = max(expected[TOP], stood[lost > 0].max())
    first = int(lost.argmax())
    spot = (ROW + first // WIDE) * NX + COLUMN + first % WIDE
    if (lost[first], -spot) > (before[1, DEPTH], -before[1, SPOT]):
        expected[DEPTH], expected[SPOT] = lost[first], spot
        expected[BOTTOM] = max(heights[first], floor[first])

    losing, near, far = run(
        np.float32(7), w, batch, np.uint64(at), taken, np.uint64(1), places, ROW * NX + COLUMN, NX,
        (x, y, ux, uy), right,
    )  # fmt: skip
    assert [bool(losing >> i & 1) for i in range(CELLS)] == (lost > 0).tolist()
    assert np.array_equal(batch[at + LOST : at + LOST + CELLS], lost)
    assert np.array_equal(batch[at + BEFORE : at + BEFORE + CELLS], stood)
    assert np.array_equal(w[:CELLS], np.minimum(stood, heights))
    assert np.array_equal(w[KEEPER : KEEPER + CELLS], np.where(is_lower, np.float32(7), keeper))
    assert (near, far) == (way[lost > 0].min(), way[lost > 0].max())
    assert np.array_equal(taken[1], expected)
    assert np.array_equal(taken[[0, 2]], before[[0, 2]])
    assert {NEAR, FAR, UNDER} <= {i for i in range(TAKES) if taken[1, i] == before[1, i]}
