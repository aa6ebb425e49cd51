"""Cuts past walls that lean over, and through lips into the air beneath: what of the part is gone there."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from simkit.target.grid import WALL, TargetGrid

PROBE = 1e-3  # mm above an underside, where its slope is felt
STEPS = 30  # halvings of the height of what is gone
SAMPLES = 32  # heights over a place, should the part widen again above it
CLOSE = 1e-6  # mm


def removed_below(
    points: np.ndarray,
    to_target: np.ndarray,
    grid: TargetGrid,
    side: int,
    is_bare: Callable[[np.ndarray], np.ndarray],
    may_be_outside: np.ndarray | None = None,
) -> np.ndarray:
    """Return how deep cuts gouged beside walls that lean over, and under the part, mm (k,) float64.

    points (k, 3) mm, blank frame: the cut, at or under material of the target.  to_target (k,) mm: their
    distances to the surface seen from the side.  grid: the target.  side: 1 or 2, whence the cut came.
    is_bare(places (m, 3) mm): (m,) bool, whether the cut took the wood off places of the target's surface.
    may_be_outside (k,) bool: which points may lie outside the part; None: any.

    A gouge is as deep as what is gone lies from the surface that went with it: from there the cutter came in.
    The surface that looks up went with any wood under it, so a point in the part counts from that.  Of a wall
    that leans over (an underside steeper than 45 degrees) what looks up tells nothing: where the cutter came
    past it a hair's breadth too far in, a layer as thin as that is gone, however far down, as of an upright
    wall; where it stayed within the part, wood is left before that wall, and the wall is no way in.  So:

    beside a wall that leans over, nearer than what looks up, the gouge is the largest distance of the wood
    gone above the point from the nearer of both, if that wall is bare beside that wood; else, as everywhere
    else in the part, the distance to what looks up.  A cut that left a skin of a leaning shell is as deep
    as it went in, not as thin as half the shell;
    a point outside lies under an underside of the part, where what is gone ends: the gouge is no deeper than
    that underside from what looks up (a lip, or a floor broken through, counts with its thickness, however
    far on the cut went into the air), and beside bare walls as above.

    Error: 1e-6 mm and the probing of slopes, exact on planes; where the part widens again above a place
    (a cap on a stem) the largest distance may be missed by a 64th of the wood gone above it.
    Source: own derivation, from what was removed of a solid and its old and new surface; closed forms and
    brute force in tests/compare/test_overhang.py and test_undercut.py.
    """
    if not len(points):
        return to_target
    found = to_target.copy()
    is_asked = np.ones(len(points), bool) if may_be_outside is None else may_be_outside.copy()
    is_beside = grid.to_leaning(points, side, to_target) < to_target
    rows = np.flatnonzero(is_asked | is_beside)
    if not len(rows):
        return found
    entry, leaving = grid.ahead(points[rows], side)
    is_outside = entry < np.where(np.isnan(leaving), np.inf, leaving)  # without any entry: False
    inside = rows[~is_outside & is_beside[rows]]
    deepest, is_open = _deepest_gone(points[inside], grid, side, is_bare)
    found[inside] = np.where(is_open, np.minimum(found[inside], deepest), found[inside])
    outside = rows[is_outside]
    if len(outside):
        under = points[outside].copy()
        under[:, 2] = (1.0 if side == 1 else -1.0) * entry[is_outside]
        found[outside] = np.minimum(found[outside], _outside(under, grid, side, is_bare))
    return found


def _outside(under, grid: TargetGrid, side: int, is_bare) -> np.ndarray:
    """Return how deep cuts gouged that end outside the part, mm (k,), as `removed_below` does.

    under (k, 3) mm: the places of the underside above them.
    """
    probe = under + np.array([0.0, 0.0, (1.0 if side == 1 else -1.0) * PROBE])
    is_wall = grid.distance(probe, 3 - side) < WALL * PROBE
    depth = grid.distance(under, side)
    beside = np.flatnonzero(is_wall | (grid.to_leaning(under, side, depth) < depth))
    deepest, is_open = _deepest_gone(under[beside], grid, side, is_bare)
    depth[beside] = np.where(is_open, np.minimum(depth[beside], deepest), depth[beside])
    return depth


def _deepest_gone(points, grid: TargetGrid, side: int, is_bare) -> tuple[np.ndarray, np.ndarray]:
    """Return how far the wood straight above places is from both walls that lean over and what looks up.

    Returns the largest distance of it from the nearer of both, mm (k,), and whether the wall is bare
    beside that wood (k,) bool.
    From there up the distance to the walls grows and that to what looks up falls, each no faster than the
    height: they meet where the nearer of both is farthest.  Where the part widens again above they may meet
    more than once: SAMPLES heights are looked at, too, and the best of them is closed in on.
    """
    if not len(points):
        return np.zeros(0), np.zeros(0, bool)
    sign = 1.0 if side == 1 else -1.0

    def at(rows, heights):
        return points[rows] + np.column_stack([np.zeros((len(rows), 2)), sign * heights])

    def away(rows, heights):
        place = at(rows, heights)
        return grid.to_leaning(place, side, grid.distance(place, side))

    every = np.arange(len(points))
    length = grid.ahead(points + np.array([0.0, 0.0, sign * PROBE]), side)[1] - sign * points[:, 2]
    length = np.where(np.isnan(length), PROBE, length)
    low, high = np.zeros(len(points)), length
    for _ in range(STEPS):
        middle = (low + high) / 2
        place = at(every, middle)
        to_top = grid.distance(place, side)
        is_lower = grid.to_leaning(place, side, to_top) < to_top
        low, high = np.where(is_lower, middle, low), np.where(is_lower, high, middle)
    best = (low + high) / 2
    found = away(every, best)
    shares = (np.arange(SAMPLES) + 0.5) / SAMPLES
    sampled = np.array([away(every, share * length) for share in shares]).reshape(SAMPLES, -1)
    rows = np.flatnonzero(sampled.max(axis=0, initial=0.0) > found + CLOSE)
    if len(rows):
        middle, step = shares[sampled[:, rows].argmax(axis=0)] * length[rows], length[rows] / SAMPLES
        low, high = middle - step / 2, middle + step / 2
        for _ in range(STEPS):
            first, second = low + (high - low) / 3, high - (high - low) / 3
            is_later = away(rows, first) < away(rows, second)
            low, high = np.where(is_later, first, low), np.where(is_later, high, second)
        best[rows] = (low + high) / 2
        found[rows] = np.maximum(sampled[:, rows].max(axis=0), away(rows, best[rows]))
    if grid.has_leaning(side):
        return found, is_bare(grid.on_leaning(at(every, best), side))
    return found, np.ones(len(points), bool)
