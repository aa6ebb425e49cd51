"""Slow twins of the cut: walk the move, take the lowest; share no formula with simkit."""

import numpy as np

from simkit.moves.table import ARC

AXES = {17: (0, 1), 18: (2, 0), 19: (1, 2)}  # G17 turns x to y, G18 z to x, G19 y to z


def path(moves, row, n):
    """Tip places (n, 3) of one move, evenly spaced, from the definition of the table of moves."""
    share = np.linspace(0.0, 1.0, n)[:, None]
    start, end = moves.start[row], moves.end[row]
    tips = start + share * (end - start)
    if moves.kind[row] == ARC:
        turn = share[:, 0] * moves.sweep[row]
        u, v = AXES[int(moves.plane[row])]
        x, y = start[[u, v]] - moves.centre[row]
        tips[:, u] = moves.centre[row, 0] + x * np.cos(turn) - y * np.sin(turn)
        tips[:, v] = moves.centre[row, 1] + x * np.sin(turn) + y * np.cos(turn)
    return tips


def floor_of_tips(points, tips, cutter):
    """Lowest height (p,) of a cutter standing at each of the tips (n, 3), over points (p, 2)."""
    lowest = np.full(len(points), np.inf)
    for k, point in enumerate(points):
        distance = np.linalg.norm(tips[:, :2] - point, axis=1)
        lowest[k] = (tips[:, 2] + cutter.profile(distance)).min()
    return lowest


def sampled_floor(points, moves, cutters, n=4001):
    """Lowest height (p,) that the sampled moves reach over points (p, 2): never below the truth."""
    lowest = np.full(len(points), np.inf)
    for row in range(len(moves)):
        cutter = cutters[int(moves.tool[row])]
        lowest = np.minimum(lowest, floor_of_tips(points, path(moves, row, n), cutter))
    return lowest


def longest_step(moves, n=4001):
    """Longest distance (mm) between neighbouring samples of any move."""
    steps = [np.linalg.norm(np.diff(path(moves, row, n), axis=0), axis=1).max() for row in range(len(moves))]
    return max(steps)
