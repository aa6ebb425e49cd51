"""How far the tip reaches in each move."""

from __future__ import annotations

import math

import numpy as np

from simkit.moves.chords import places_on
from simkit.moves.table import ARC, PLANE_AXES, Moves


def extremes(moves: Moves) -> tuple[np.ndarray, np.ndarray]:
    """Return the lowest and the highest coordinates that the tip reaches in each move, (n, 3) mm each.

    An arc reaches its outermost point in each of the four directions that its sweep passes.
    Error: rounding.  Source: own derivation; checked against sampled points.
    """
    low, high = np.minimum(moves.start, moves.end), np.maximum(moves.start, moves.end)
    for plane, (u, v, _) in PLANE_AXES.items():
        rows = np.flatnonzero((moves.kind == ARC) & (moves.plane == plane))
        if not len(rows):
            continue
        arm = moves.start[rows][:, [u, v]] - moves.centre[rows]
        radius, begin = np.hypot(*arm.T), np.arctan2(arm[:, 1], arm[:, 0])
        sense = np.sign(moves.sweep[rows])
        for quarter, (axis, side) in enumerate(((u, 1), (v, 1), (u, -1), (v, -1))):
            turn = np.mod(sense * (quarter * math.pi / 2 - begin), 2 * math.pi)
            hit = rows[turn <= np.abs(moves.sweep[rows])]
            centre = moves.centre[hit, 0 if axis == u else 1]
            point = centre + side * radius[turn <= np.abs(moves.sweep[rows])]
            if side > 0:
                high[hit, axis] = np.maximum(high[hit, axis], point)
            else:
                low[hit, axis] = np.minimum(low[hit, axis], point)
    return low, high


def farthest_places(moves: Moves, axis: int, side: int) -> np.ndarray:
    """Return where the tip is at its farthest along an axis (0 to 2) in each move, (n, 3) mm.

    side: +1 for the highest coordinate, -1 for the lowest.  Of places that are as far the last one of a
    straight move, and the first on an arc that its sweep passes.  Error: rounding.
    """
    is_end = side * (moves.end[:, axis] - moves.start[:, axis]) >= 0
    place = np.where(is_end[:, None], moves.end, moves.start)
    for plane, (u, v, _) in PLANE_AXES.items():
        rows = np.flatnonzero((moves.kind == ARC) & (moves.plane == plane))
        if not len(rows) or axis not in (u, v):
            continue
        arm = moves.start[rows][:, [u, v]] - moves.centre[rows]
        outermost = (0.0 if axis == u else math.pi / 2) + (0.0 if side > 0 else math.pi)
        turn = np.mod(np.sign(moves.sweep[rows]) * (outermost - np.arctan2(*arm.T[::-1])), 2 * math.pi)
        is_passed = (turn <= np.abs(moves.sweep[rows])) & (moves.sweep[rows] != 0)
        rows, turn = rows[is_passed], turn[is_passed]
        place[rows] = places_on(moves, rows, turn / np.abs(moves.sweep[rows]))
    return place
