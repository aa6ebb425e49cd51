"""Cuts that went through a lip of the part and stand in the air beneath: only the lip was gouged."""

from __future__ import annotations

import numpy as np

from simkit.target.grid import UPRIGHT, TargetGrid

WALL = np.sqrt(0.5)  # of a unit normal's height: an underside steeper than 45 degrees is a wall leaning over
PROBE = 1e-3  # mm above an underside, where its slope is felt
STEPS = 30  # halvings of the height of a lip


def removed_below(points: np.ndarray, to_target: np.ndarray, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how deep cuts gouged that may have gone through the part and out again, mm (k,) float64.

    points (k, 3) mm, blank frame: the cut, at or under material of the target.  to_target (k,) mm: their
    distances to the surface seen from the side.  grid: the target.  side: 1 or 2, whence the cut came.

    A point inside the part keeps its distance.  One outside lies under an underside of the part, and
    what was removed ends there.  Under a ceiling (flatter than 45 degrees) the gouge is as deep as that
    underside lies from the surface the cut entered through, no more than the lip is thick.  A
    steeper underside is a wall that leans over, and the cutter may as well have come past it: then the
    gouge is the largest distance of what was removed above the point from the nearest surface of the
    part.  So a wall that leans over by next to nothing reads as the upright one does.
    Below the part altogether, under a ceiling, the distance is kept (that is a break-through), unless a
    wall within a degree of upright lies nearer: then the outer wall was shaved, all the way down.
    Error: 1e-6 mm and the probing of slopes, exact on planes.  Source: own derivation; closed forms in
    tests/compare/test_overhang.py.
    """
    if not len(points):
        return to_target
    found = to_target.copy()
    entry, leaving = grid.ahead(points, side)
    is_outside = entry < np.where(np.isnan(leaving), np.inf, leaving)  # without any entry: False
    rows = np.flatnonzero(is_outside)
    if not len(rows):
        return found
    sign = 1.0 if side == 1 else -1.0
    under = points[rows].copy()
    under[:, 2] = sign * entry[rows]
    probe = under + np.array([0.0, 0.0, sign * PROBE])
    is_wall = grid.distance(probe, 3 - side) < WALL * PROBE
    is_below = np.isnan(grid.ahead(points[rows], 3 - side)[0])  # nothing of the part lies beneath
    ceiling = np.flatnonzero(~is_wall & ~is_below)
    found[rows[ceiling]] = np.minimum(found[rows[ceiling]], grid.distance(under[ceiling], side))
    plumb = np.flatnonzero(is_below & ~is_wall)
    nearest = grid.distance(under[plumb], side, vertical=UPRIGHT)
    plumb, nearest = (a[nearest < grid.distance(under[plumb], side)] for a in (plumb, nearest))
    found[rows[plumb]] = np.minimum(found[rows[plumb]], nearest)
    wall = np.flatnonzero(is_wall)
    found[rows[wall]] = np.minimum(found[rows[wall]], _inmost(under[wall], grid, side))
    return found


def _inmost(under: np.ndarray, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how far the inmost point above an underside lies from the part's surface, mm (k,).

    From the underside up the distance to the faces that look down grows and that to the ones looking
    up falls, each no faster than the height: they meet where the nearer of both is farthest.
    """
    sign = 1.0 if side == 1 else -1.0
    low = np.zeros(len(under))
    raised = under + np.array([0.0, 0.0, sign * PROBE])
    high = grid.ahead(raised, side)[1] - sign * under[:, 2]
    high = np.where(np.isnan(high), PROBE, high)
    place = under.copy()
    for _ in range(STEPS):
        middle = (low + high) / 2
        place[:, 2] = under[:, 2] + sign * middle
        is_lower = grid.distance(place, 3 - side) < grid.distance(place, side)
        low, high = np.where(is_lower, middle, low), np.where(is_lower, high, middle)
    return grid.distance(place)
