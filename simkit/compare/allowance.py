"""A finish allowance: deviations counted from the surface that stands that far proud of the target."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from simkit.target.grid import TargetGrid

CLOSE = 1e-5  # mm: the shifted surface under a cut is found this well
MOST_STEPS = 200  # each step goes as far as is free; only a surface that is just touched needs many
ALWAYS = 1e-4  # mm: with an allowance cells are measured along the normal down to this difference


def shifted(value: np.ndarray, allowance: np.ndarray, is_free: np.ndarray | None = None) -> np.ndarray:
    """Return signed deviations from the target as counted from the shifted surface, mm (k,) float64.

    value (k,) mm: + leftover, - gouge, along the normal.  allowance (2, k) mm: the least and the most that
    is left on purpose about the place; they differ near a zone's border only, and what lies between
    them is right.  is_free (k,) bool: never cut, so what it lacks in allowance is no gouge.
    Exact on planes and where the surface is smoother than the allowance (the shifted surface of a
    sphere is a sphere).
    """
    least, most = allowance
    low, high = value - least, value - most
    found = np.where(low < 0, low, np.where(high > 0, high, 0.0 * value))  # NaN stays NaN
    if is_free is not None:
        found = np.where(is_free & (value >= 0), np.maximum(found, 0.0), found)
    return found


def shifted_both_ways(
    to_target: np.ndarray,
    to_cut: np.ndarray,
    vertical: np.ndarray,
    allowance: np.ndarray,
    is_free: np.ndarray,
    points: np.ndarray,
    grid: TargetGrid,
    side: int,
    distance_to_air: Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray],
) -> np.ndarray:
    """Return the signed two-way distance of a cut to the shifted surface, mm (k,) float64.

    to_target, to_cut, vertical (k,) mm: the cut against the target itself, see `deviation`.
    allowance (2, k), is_free (k,): as for `shifted`.  points (k, 3) mm: the cut, blank frame.  grid: the
    target.  side: 1 or 2.  distance_to_air(rows, heights, within): from the places of some rows at
    heights along the side's axis to the nearest air, mm.

    A cut proud of the shifted surface, and farther from air than from it, is measured again from the
    place where the shifted surface lies under the cut (an inside corner of the shifted surface is as sharp as
    that of the target, so nothing may be subtracted there).
    Source: own derivation; the shifted surface is the set at one distance from the target.
    """
    is_proud = vertical > 0
    value = np.where(is_proud, to_target, -np.maximum(to_target, to_cut))
    found = shifted(value, allowance, is_free)
    rows = np.flatnonzero(is_proud & (found > 0) & (to_cut - allowance[1] > found))
    if len(rows):
        most = allowance[1, rows]
        under = surface_under(points[rows], most, grid, side)
        along = points[rows, 2] * (1 if side == 1 else -1)
        within = np.maximum(along - under, 0.0)
        found[rows] = np.maximum(found[rows], distance_to_air(rows, under, within))
    return found


def surface_under(points: np.ndarray, allowance: np.ndarray, grid: TargetGrid, side: int) -> np.ndarray:
    """Return where the shifted surface lies under points proud of it, mm (k,) along the side's axis.

    points (k, 3) mm, blank frame, farther from the target than allowance (k,) mm.  grid: the target.
    side: 1 (axis z) or 2 (axis -z).
    Goes down by the free distance again and again (each step is safe, as nothing is nearer), until the
    rest is under CLOSE.  Source: J. C. Hart, 'Sphere tracing', The Visual Computer 12, 1996 (from memory).
    """
    sign = 1.0 if side == 1 else -1.0
    place = points.astype(np.float64).copy()
    going = np.arange(len(place))
    for _ in range(MOST_STEPS):
        free = grid.distance(place[going]) - allowance[going]
        place[going, 2] -= sign * np.maximum(free, 0.0)
        going = going[free > CLOSE]
        if not len(going):
            break
    return sign * place[:, 2]
