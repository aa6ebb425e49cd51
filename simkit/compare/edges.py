"""Where a surface jumps: the rims of its upright walls, found at any points and not on cells."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.stock.field import Lattice

SPACING = 0.02  # mm between the points of a rim
STEEP = 6.0  # a change steeper than this (about 80 degrees) is a wall
LOWEST = 0.3  # mm: a lower wall may be missed
DIVIDE = 5  # each look divides the cells by this
ASIDE = np.array([0.3183, 0.3679])  # of SPACING
EXACT = 1e-4  # mm: how near to the jump its two sides are taken


@dataclass(frozen=True)
class Rims:
    """Points on the rims of upright walls.

    at (n, 2) mm: within EXACT of the jump.  low, high (n,) mm: the surface on its two sides; inf where
        nothing is.
    """

    at: np.ndarray
    low: np.ndarray
    high: np.ndarray


def rims(heights: Callable[[np.ndarray], np.ndarray], lattice: Lattice) -> Rims:
    """Return the rims of a surface.

    heights(points (n, 2)) -> (n,) mm, exact at any points, inf where there is nothing.  lattice: cells that
    cover it; a wall is seen where it parts two corners of a cell.
    The points lie at most SPACING apart on lines along x and y, so of a corner of 90 degrees at most SPACING
    along each side is missed.
    """
    ys, xs = np.meshgrid(np.arange(-1, lattice.ny + 2), np.arange(-1, lattice.nx + 2), indexing="ij")
    # Off the round numbers, where a wall would lie on the corners of cells themselves.
    origin = np.array(lattice.origin) - ASIDE * SPACING
    corners = np.column_stack([xs.ravel(), ys.ravel()]) * lattice.cell + origin
    size = lattice.cell
    at = heights(corners).reshape(xs.shape)
    has_jump = np.zeros(xs.shape, bool)  # of the cell that begins there
    has_jump[:-1, :-1] = _has_jump(at[:-1, :-1], at[:-1, 1:], at[1:, :-1], at[1:, 1:], size)
    corners = corners[has_jump.ravel()]
    while size > SPACING + EXACT and len(corners):
        parts = min(DIVIDE, math.ceil(size / SPACING - EXACT))
        size /= parts
        corners = _divided(heights, corners, parts, size)
    if not len(corners):
        return Rims(np.empty((0, 2)), np.empty(0), np.empty(0))
    starts, ends = [], []
    for side in ((size, 0.0), (0.0, size)):
        starts.append(corners)
        ends.append(corners + np.array(side))
    a, b = np.concatenate(starts), np.concatenate(ends)
    at_a, at_b = heights(a), heights(b)
    is_wall = _distance(at_a, at_b) > STEEP * size
    a, b, at_a, at_b = a[is_wall], b[is_wall], at_a[is_wall], at_b[is_wall]
    while size > EXACT:
        size /= 2
        middle = (a + b) / 2
        at = heights(middle)
        to_a = _distance(at, at_a) <= _distance(at, at_b)
        a, at_a = np.where(to_a[:, None], middle, a), np.where(to_a, at, at_a)
        b, at_b = np.where(to_a[:, None], b, middle), np.where(to_a, at_b, at)
    return Rims((a + b) / 2, np.minimum(at_a, at_b), np.maximum(at_a, at_b))


def _distance(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return how far heights lie apart; two that are inf lie together."""
    with np.errstate(invalid="ignore"):
        return np.where(one == other, 0.0, np.abs(one - other))


def _divided(heights: Callable, corners: np.ndarray, parts: int, size: float) -> np.ndarray:
    """Return the low corners of those parts, parts x parts of each cell, each of `size`, that have a wall."""
    steps = np.stack(np.meshgrid(np.arange(parts + 1), np.arange(parts + 1)), axis=-1) * size
    points = corners[:, None, None] + steps
    at = heights(points.reshape(-1, 2)).reshape(points.shape[:3])
    has_jump = _has_jump(at[:, :-1, :-1], at[:, :-1, 1:], at[:, 1:, :-1], at[:, 1:, 1:], size)
    return points[:, :-1, :-1][has_jump]


def _has_jump(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray, size: float) -> np.ndarray:
    """Return which cells of that size, given by the heights of their four corners, have a wall in them."""
    low, high = np.minimum(np.minimum(a, b), np.minimum(c, d)), np.maximum(np.maximum(a, b), np.maximum(c, d))
    return _distance(low, high) > min(STEEP * size, LOWEST)
