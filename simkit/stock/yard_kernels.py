"""The yard: the room in which chain_kernels lowers a tile, its cells leaf after leaf.

The leaves of a tile go sixteen to a vector, four rows and columns of them (meet_kernels), the vectors row
by row.

A yard is a tuple of arrays: cells (leaves, KEPT), about (vectors, VECTOR) of meet_kernels and the boxes
round the vectors behind them, batch of heights, sums, deep (shave_kernels), line (LINE_NUMBERS,), slots
(which leaf the heights are of, then how they are worked out): float32; places (x of the leaves of a column,
y of those of a row, CELLS each): float64; marks, firsts (of each leaf, as shave_kernels has them), found
(rows of bits for each vector's leaves), of (which move of the group a slot is of): int32; spots (PLACES,)
float64; lots (slots by how they are worked out), ends (of the slots of each move), ons (where x and y of a
leaf's cells are in places): int32.
"""

import math

import numpy as np

from simkit._jit import kernel, loop_kernel, working_kernel
from simkit.stock.bound_kernels import STEEPEST
from simkit.stock.lose_kernels import BEFORE, CELLS, FLOOR, KEEPER, LEAF, PLACES, WIDE
from simkit.stock.meet_kernels import (
    AT_X,
    AT_Y,
    HALF_X,
    HALF_Y,
    LINE_NUMBERS,
    MOST,
    NAME,
    SIDE,
    SLOPE_X,
    SLOPE_Y,
    VECTOR,
    level_leaf,
)
from simkit.stock.meet_kernels import WIDE as LANES
from simkit.stock.shave_kernels import DEEPS, KEPT, SUMS

GROUP = 12  # moves that are asked before the first is run
# Bits of a vector's leaves: where a move may take something, lies behind, ahead, is owed; ROWS of each.
ROWS = GROUP + 1
MAY, BACK, END, OWED = (ROWS * k for k in range(4))
CHANGED, TOUCHED, FOUND = 4 * ROWS, 4 * ROWS + 1, 4 * ROWS + 2
NOWHERE, FAR_AWAY = np.float32(-1e30), 1e12  # of what fills up vectors: how high it stands, and where


@kernel
def vectors_across(size):
    """How many vectors of leaves a tile of `size` cells has along x, and along y."""
    return (size + SIDE * WIDE - 1) // (SIDE * WIDE), (size + SIDE * LEAF - 1) // (SIDE * LEAF)


@loop_kernel
def stride_of(vectors):
    """How far apart rows of bits are, one word for each vector: whole lots of sixteen."""
    return (np.uint64(vectors) + np.uint64(LANES - 1)) & ~np.uint64(LANES - 1)


@loop_kernel
def leaf_at(row, column, across):
    """The number of a leaf, by its row and column in the tile."""
    vector = row // SIDE * across + column // SIDE
    return np.uint64(vector * LANES + row % SIDE * SIDE + column % SIDE)


@loop_kernel
def heights_of(slot):
    """Where the heights of a slot are: behind what was lost to the move at hand, and what stood before."""
    return np.uint64(BEFORE + CELLS) + slot * np.uint64(CELLS)


@loop_kernel
def places_of(leaf, yard):
    """Where the x and y of a leaf's cells are."""
    ons = yard[15]
    return np.uint64(ons[leaf + leaf]), np.uint64(ons[leaf + leaf + np.uint64(1)])


@kernel
def bring(field, box, tile, across, down, size, yard):
    """Bring the cells of a tile to its room, and write down where each leaf is, and a plane over it."""
    h, _, floor, up, xs, ys = field
    cells, about, places, firsts, ons = yard[0], yard[1], yard[7], yard[9], yard[15]
    tx, ty, top, cell = tile[0], tile[1], tile[2], tile[7]
    iy0, iy1, ix0, ix1 = box
    columns, rows = across * SIDE, down * SIDE
    wide = np.uint64(min(ix1 - ix0, WIDE))  # of a whole leaf, but no number that the compiler knows
    for column in range(columns):
        for i in range(np.uint64(CELLS)):
            ix = min(ix0 + column * WIDE + np.int64(i) % WIDE, ix1 - 1)
            places[np.uint64(column * CELLS) + i] = xs[ix]
    for row in range(rows):
        for i in range(np.uint64(CELLS)):
            iy = min(iy0 + row * LEAF + np.int64(i) // WIDE, iy1 - 1)
            places[np.uint64((columns + row) * CELLS) + i] = ys[iy]
    for vector in range(np.uint64(stride_of(across * down))):
        at = np.uint64(across * down) + vector // np.uint64(LANES)
        i, is_one = at * np.uint64(VECTOR) + vector % np.uint64(LANES), vector < np.uint64(across * down)
        column, row = np.int64(vector) % across, np.int64(vector) // across
        x, y = (column + 0.5) * SIDE * WIDE - 0.5, (row + 0.5) * SIDE * LEAF - 0.5
        about[i + np.uint64(AT_X)] = xs[ix0] - tx + x * cell if is_one else FAR_AWAY
        about[i + np.uint64(AT_Y)] = ys[iy0] - ty + y * cell
        about[i + np.uint64(HALF_X)] = 0.5 * cell * (SIDE * WIDE - 1)
        about[i + np.uint64(HALF_Y)] = 0.5 * cell * (SIDE * LEAF - 1)
    for row in range(rows):
        first, last = iy0 + row * LEAF, min(iy0 + row * LEAF + LEAF, iy1)
        for column in range(columns):
            leaf = leaf_at(row, column, across)
            begin, end = ix0 + column * WIDE, min(ix0 + column * WIDE + WIDE, ix1)
            i = leaf // np.uint64(LANES) * np.uint64(VECTOR) + leaf % np.uint64(LANES)
            on = leaf * np.uint64(KEPT)
            firsts[leaf] = row * LEAF * size + column * WIDE
            ons[leaf + leaf], ons[leaf + leaf + np.uint64(1)] = column * CELLS, (columns + row) * CELLS
            about[i + np.uint64(NAME)], about[i + np.uint64(MOST)] = leaf, NOWHERE
            if first >= last or begin >= end:
                about[i + np.uint64(AT_X)] = about[i + np.uint64(AT_Y)] = 0.0
                about[i + np.uint64(HALF_X)] = about[i + np.uint64(HALF_Y)] = 0.0
                about[i + np.uint64(SLOPE_X)] = about[i + np.uint64(SLOPE_Y)] = 0.0
                continue
            xa, xb, ya, yb = xs[begin], xs[end - 1], ys[first], ys[last - 1]
            about[i + np.uint64(AT_X)], about[i + np.uint64(AT_Y)] = (
                0.5 * (xa + xb) - tx,
                0.5 * (ya + yb) - ty,
            )
            about[i + np.uint64(HALF_X)], about[i + np.uint64(HALF_Y)] = 0.5 * (xb - xa), 0.5 * (yb - ya)
            if last - first == LEAF and end - begin == WIDE:
                for r in range(np.uint64(LEAF)):
                    k = on + r * np.uint64(WIDE)
                    iy, ix = np.uint64(first) + r, np.uint64(begin)
                    for c in range(wide):
                        cells[k + c] = h[iy, ix + c]
                    for c in range(wide):
                        cells[k + c + np.uint64(FLOOR)] = up * floor[iy, ix + c]
            else:
                for k in range(np.uint64(CELLS)):
                    iy, ix = first + np.int64(k) // WIDE, begin + np.int64(k) % WIDE
                    is_there = iy < last and ix < end
                    iy, ix = min(iy, last - 1), min(ix, end - 1)
                    cells[on + k] = h[iy, ix] if is_there else -np.float32(math.inf)
                    cells[on + k + np.uint64(FLOOR)] = up * floor[iy, ix]
            for k in range(np.uint64(CELLS)):
                cells[on + k + np.uint64(KEEPER)] = np.float32(-1.0)
            level_leaf(about, cells, leaf, on, cell, top, STEEPEST)


@kernel
def give_back(field, box, across, down, moves, yard):
    """Write what the touched leaves of a tile were lowered to, and by which moves, back to the field."""
    h, owner, _, _, _, _ = field
    first_entry, entries, _, rows, _, _, _ = moves
    cells, found = yard[0], yard[10]
    iy0, iy1, ix0, ix1 = box
    stride = stride_of(across * down)
    for row in range((iy1 - iy0 + LEAF - 1) // LEAF):
        for column in range((ix1 - ix0 + WIDE - 1) // WIDE):
            leaf = leaf_at(row, column, across)
            touched = found[np.uint64(TOUCHED) * stride + leaf // np.uint64(LANES)]
            if not (touched >> np.int32(leaf % np.uint64(LANES))) & np.int32(1):
                continue
            first, begin = iy0 + row * LEAF, ix0 + column * WIDE
            for iy in range(np.uint64(first), np.uint64(min(first + LEAF, iy1))):
                k = leaf * np.uint64(KEPT) + (iy - np.uint64(first)) * np.uint64(WIDE)
                for c in range(np.uint64(min(WIDE, ix1 - begin))):
                    h[iy, np.uint64(begin) + c] = cells[k + c]
                for c in range(np.uint64(min(WIDE, ix1 - begin))):
                    keeper = np.int64(cells[k + c + np.uint64(KEEPER)])
                    if keeper >= 0:
                        owner[iy, np.uint64(begin) + c] = rows[entries[first_entry + keeper]]


@working_kernel
def yard_of(size, is_ball):
    """Room for chain to work in, for tiles of `size` cells along an edge; hardly any where it is not used."""
    across, down = vectors_across(size if is_ball else 1)
    vectors = across * down
    leaves, stride = vectors * LANES, np.int64(stride_of(vectors))
    most = GROUP * leaves + LANES
    places = (across + down) * SIDE * CELLS
    return (
        np.empty(leaves * KEPT, np.float32), np.empty((vectors + stride // LANES) * VECTOR, np.float32),
        np.empty(BEFORE + CELLS + (most + 1) * CELLS, np.float32), np.empty(SUMS, np.float64),
        np.empty(DEEPS, np.float32), np.empty(LINE_NUMBERS, np.float32),
        np.empty(2 * most + LANES, np.float32), np.empty(places, np.float64), np.empty(CELLS, np.int32),
        np.empty(leaves, np.int32), np.empty(stride * FOUND, np.int32), np.empty(most, np.int32),
        np.empty(PLACES, np.float64), np.empty(3 * most, np.int32), np.empty(GROUP, np.int32),
        np.empty(2 * leaves, np.int32),
    )  # fmt: skip
