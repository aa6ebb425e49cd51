"""Sharp rims of the part between faces of both sides: how far what is left ends from them.

There the part is as thin as nothing, so a cut a hair too deep goes through, and what is left ends farther
from the rim than the cut is deep: t / sin a at a rim of the angle a of which one side is t too deep.  Cells
are as likely as not to miss so narrow a strip, so the rims themselves are asked, by the exact sweeps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simkit.compare.both_ways import AWAY
from simkit.compare.deviation import Deviation
from simkit.target.grid import TargetGrid
from simkit.target.sharp import MOST_TRIANGLES, along_edges, outward_in_plan

INSIDE = 0.005  # mm from a rim: there it is asked whether anything is left
STEPS, HALVED = 20, 12  # ways in from there up to AWAY, and halvings between two of them
LEAST = 1e-4  # mm: a cut less deep than this did not go through


def with_rims(
    deviation: Deviation,
    grid: TargetGrid,
    target: np.ndarray,
    columns: Callable,
    gouge: np.ndarray,
    least: np.ndarray | None = None,
) -> Deviation:
    """Return a deviation that knows of the rims that its side lost.

    grid: the target; target (ny, nx) mm: its surface on that side, NaN outside.  columns(points (n, 2)):
    `lower` and `upper` (n,) mm of what is left there, exact.  gouge (ny, nx) mm: the limits.  least (ny, nx)
    mm: what is left on purpose at least, None for nothing.
    Rims are asked at places a cell apart and at their ends, from there straight into the part: what is left
    is no farther off than found so.  Where that is more than the limit `most` of the next cell says it, and
    the cell is looked at there.  Error of the distance: 1e-4 mm too large at most, of a straight rim.
    Source: own derivation.
    """
    if len(grid.boxes) > MOST_TRIANGLES:
        return deviation
    rim, inward = rim_places(grid, deviation.lattice.cell)
    far = lost(rim, inward, grid, deviation.side, columns)
    most, rims = deviation.most.copy(), {}  # what second looks saw there is less
    for k in np.argsort(-far, kind="stable"):
        if not far[k] > 0:
            break
        place = rim[k, :2] + INSIDE * inward[k]
        cell = _part_cell(place, target, deviation.lattice)
        if cell is None or (*cell, True) in rims:
            continue
        off = far[k] + (0.0 if least is None else float(least[cell]))
        if off > gouge[cell] and -most[cell] < off:
            most[cell], rims[(*cell, True)] = -off, (tuple(float(v) for v in place), float(off))
    return replace(deviation, most=most, rims=(deviation.rims or {}) | rims)


def rim_places(grid: TargetGrid, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """Return places on sharp rims between a face of each side.

    Returns places (n, 3) mm, so far apart and at the ends of edges, and unit vectors (n, 2) in plan into the
    part, at ends the middle of those of their edges.
    """
    edges = grid.sharp
    mine = edges[edges.is_rim]
    inward = -outward_in_plan(mine)[:, :2]
    keep = np.isfinite(inward[:, 0])
    mine, inward = mine[keep], inward[keep]
    nth, along = along_edges(mine.a, mine.b, spacing)
    number, first, back = np.unique(mine.ends.ravel(), return_index=True, return_inverse=True)
    end = np.stack([mine.a, mine.b], axis=1).reshape(-1, 3)[first]
    middle = np.zeros((len(number), 2))
    np.add.at(middle, back.ravel(), inward.repeat(2, axis=0))
    size = np.linalg.norm(middle, axis=1)
    is_told = size > 0.1  # else its edges lead out either way
    middle = middle[is_told] / size[is_told, None]
    return np.concatenate([along, end[is_told]]), np.concatenate([inward[nth], middle])


def lost(rim: np.ndarray, inward: np.ndarray, grid: TargetGrid, side: int, columns: Callable) -> np.ndarray:
    """Return how far the nearest wood straight in from a rim is where its side cut through, mm (n,); else 0.

    rim (n, 3) mm, inward (n, 2): of `rim_places`.  AWAY where there is none so near.
    """
    sign = 1.0 if side == 1 else -1.0

    def heights(which, along):
        left = columns(rim[which, :2] + along[:, None] * inward[which])
        return (left.upper, left.lower) if side == 1 else (-left.lower, -left.upper)

    found = np.zeros(len(rim))
    every = np.arange(len(rim))
    if not len(rim):
        return found
    at = rim[:, :2] + INSIDE * inward
    lower, upper = grid.heights(at)
    top, bottom = (upper, lower) if side == 1 else (-lower, -upper)
    own, other = heights(every, np.full(len(rim), INSIDE))
    rows = np.flatnonzero((own <= other) & (own < bottom) & (own < top - LEAST))
    if not len(rows):
        return found
    steps = np.linspace(INSIDE, AWAY, STEPS)

    def away(which, along):
        own, other = heights(which, along)
        off = np.hypot(along, np.maximum(sign * rim[which, 2] - own, 0.0))
        return np.where(own > other, off, np.inf)

    off = away(rows.repeat(STEPS), np.tile(steps, len(rows))).reshape(-1, STEPS)
    nearest = off.min(axis=1)
    first = np.argmax(np.isfinite(off), axis=1)
    is_met = np.isfinite(nearest) & (first > 0)
    low, high = steps[np.maximum(first - 1, 0)], steps[first]
    for _ in range(HALVED):
        middle = (low + high) / 2
        its = away(rows, middle)
        nearest = np.where(is_met, np.minimum(nearest, its), nearest)
        is_in = np.isfinite(its)
        low, high = np.where(is_in, low, middle), np.where(is_in, middle, high)
    found[rows] = np.minimum(nearest, AWAY)
    return found


def _part_cell(place, target: np.ndarray, lattice) -> tuple[int, int] | None:
    """Return the cell of the part next to a place (x, y) mm: its own or one beside it; None for none."""
    iy, ix = (int(k) for k in lattice.cell_at(*place))
    near = [
        (y, x)
        for y in range(max(iy - 1, 0), min(iy + 2, lattice.ny))
        for x in range(max(ix - 1, 0), min(ix + 2, lattice.nx))
        if not np.isnan(target[y, x])
    ]
    centre = {cell: np.hypot(*np.subtract(lattice.centre_of(*cell), place)) for cell in near}
    return min(near, key=lambda cell: (centre[cell], cell), default=None)
