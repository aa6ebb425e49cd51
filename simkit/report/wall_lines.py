"""Walls of a field as lines between its columns, not as the teeth of their corners; NumPy only.

A wall that runs askew to the cells goes round the corner of each column.  Seen close to, that is a comb which
no cutter left.  Here its corners are drawn tight, like a string laid between the columns on both sides, never
farther than to the middle of a column: what is seen is interpolated, by half a column at most.
"""

from __future__ import annotations

import numpy as np

ROUNDS = 120  # a string is straight over some ten columns then
STRAIGHT = 3  # columns
MOST = 0.49  # of a column that a corner may move along x and y; the middle itself would let walls meet


def corner_shifts(beside: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Return how far the corners of columns move (ny + 1, nx + 1, 2), x and y, in columns.

    beside (ny, nx - 1), before (ny - 1, nx) bool: where a wall parts a column from the next along x, along y.
    Own derivation: a corner at which two edges of walls meet goes halfway towards the middle of its two
    neighbours, ROUNDS times, never farther than MOST from where it was.  Corners where more meet, those of
    columns that hang on one side or none, and those between two straight walls stay: else slivers would be
    drawn to nothing, and sharp corners blunt.
    """
    shape = (len(beside), before.shape[1])
    shifts = np.zeros((shape[0] + 1, shape[1] + 1, 2))
    inner = shifts[1:-1, 1:-1]
    is_tip = np.zeros(shape, np.int8)
    is_tip[:, :-1] += beside
    is_tip[:, 1:] += beside
    is_tip[:-1] += before
    is_tip[1:] += before
    # Inner corner (j, i) lies between the columns j, j + 1 and i, i + 1.
    up, down, right, left = beside[1:], beside[:-1], before[:, 1:], before[:, :-1]
    meets = up.astype(np.int8) + down + right + left == 2
    tip = is_tip >= 3
    meets &= ~(tip[:-1, :-1] | tip[:-1, 1:] | tip[1:, :-1] | tip[1:, 1:])
    meets &= ~_is_sharp(up, down, right, left)
    y, x = np.nonzero(meets)
    if not len(y):
        return shifts
    ways = np.array([(1, 0), (-1, 0), (0, 1), (0, -1)])
    is_way = np.stack([up[y, x], down[y, x], right[y, x], left[y, x]], axis=1)
    first, last = is_way.argmax(axis=1), 3 - is_way[:, ::-1].argmax(axis=1)
    number = np.full(meets.shape, len(y))  # the last row stands for corners that stay
    number[y, x] = np.arange(len(y))
    near = [number[y + ways[way, 0], x + ways[way, 1]] for way in (first, last)]
    rest = sum(ways[way][:, ::-1] for way in (first, last)) / 4  # of the neighbours, before any moves
    moved = np.zeros((len(y) + 1, 2))
    for _ in range(ROUNDS):
        towards = moved[:-1] / 2 + (moved[near[0]] + moved[near[1]]) / 4 + rest
        moved[:-1] = np.clip(towards, -MOST, MOST)
    inner[y, x] = moved[:-1]
    return shifts


def _is_sharp(up, down, right, left) -> np.ndarray:
    """Return the corners (ny, nx) bool where two straight walls meet at a right angle.

    up, down, right, left (ny, nx) bool: which edges of walls meet in a corner.  A wall askew never goes
    STRAIGHT columns both ways from one of its teeth.
    """
    level, upright = right & left & ~(up | down), up & down & ~(right | left)
    ny, nx = up.shape
    is_sharp = ~(level | upright)
    ways = ((up, upright, 1, 0), (down, upright, -1, 0), (right, level, 0, 1), (left, level, 0, -1))
    for edge, straight, dy, dx in ways:
        wide = np.pad(straight, STRAIGHT)
        for far in range(1, STRAIGHT):
            y, x = STRAIGHT + far * dy, STRAIGHT + far * dx
            is_sharp &= ~edge | wide[y : y + ny, x : x + nx]
    return is_sharp
