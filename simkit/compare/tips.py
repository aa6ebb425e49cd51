"""Tips, crests and pits where the proof between the samples does not tell all: asked at the target's edges.

Under lips, beside what both sides cut away and where wood is left on purpose, what is narrower than the
finest cells is seen by no sample.  There it is the sharp edges of the target, and their ends, that lie
farthest from the cut.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from simkit.compare.closer import FINEST, Look
from simkit.compare.deviation import Deviation
from simkit.compare.second_look import beside
from simkit.target.grid import TargetGrid
from simkit.target.sharp import MOST_TRIANGLES, along_edges

SEEN = 1e-6  # mm: as near as this to the target's upper surface a place is seen
SHARES = (0.02, 0.1, 0.3, 0.6, 0.95)  # of its limit: so far about a place the cut is asked
WAYS = np.column_stack([np.cos(np.pi * np.arange(16) / 8), np.sin(np.pi * np.arange(16) / 8)])
MOST = 40  # places that are looked at, of each kind, worst first


def with_tips(
    deviation: Deviation,
    grid: TargetGrid,
    columns: Callable,
    is_asked: np.ndarray,
    limits: Mapping[bool, np.ndarray],
    left: np.ndarray | None,
    look_at: Callable[..., Look],
) -> Deviation:
    """Return a deviation that knows of edges, in cells that are asked, that are off by more than their limit.

    grid: the target.  columns(points (n, 2)): `lower` and `upper` (n,) mm of what is left there, exact.
    is_asked (ny, nx) bool.  limits: of gouges (True) and leftover (False), (ny, nx) mm, +inf where nothing
    is judged.  left (2, ny, nx) mm: what is left on purpose, None for nothing.  look_at(is_gouge, cell,
    place, finest mm): a closer look there.
    Asked are edges sharper than `target.sharp` says, at their ends and half a cell apart, where the target is
    seen from this side; those are looked at that no column of the cut about them is near enough to.  What a
    look finds stands in `rims`.  Cells within reach of a spot beyond the same limit are left to its peak.
    A search, no proof: at most MOST places of a kind, one to a cell.
    """
    if not is_asked.any() or len(grid.boxes) > MOST_TRIANGLES:
        return deviation
    places = _seen_places(grid, deviation, is_asked)
    if not len(places):
        return deviation
    lattice, rims = deviation.lattice, dict(deviation.rims or {})
    iy, ix = lattice.cell_at(*places[:, :2].T)
    for is_gouge in (True, False):
        sign, limit = -1.0 if is_gouge else 1.0, limits[is_gouge]
        is_told = beside(sign * deviation.normal > limit, lattice.cell)
        least = np.zeros(limit.shape) if left is None else (left[0] if is_gouge else -left[1])
        rows = np.flatnonzero(np.isfinite(limit[iy, ix]) & ~is_told[iy, ix])
        cell, may = (iy[rows], ix[rows]), limit[iy[rows], ix[rows]] - least[iy[rows], ix[rows]]
        off = _off(places[rows], may, columns, deviation.side, is_gouge)
        asked = set()
        for k in np.lexsort((np.arange(len(rows)), may - off)):
            at = (int(cell[0][k]), int(cell[1][k]))
            if off[k] <= may[k] or len(asked) >= MOST:
                break
            if at in asked:
                continue
            asked.add(at)
            place, key = tuple(float(v) for v in places[rows[k], :2]), (*at, is_gouge)
            look = look_at(is_gouge, at, place)
            if abs(look.value) <= limit[at] < abs(look.value) + look.bound:
                look = look_at(is_gouge, at, place, FINEST / 8)
            most = abs(look.value) + look.bound
            if most > limit[at] and most > rims.get(key, (None, 0.0))[1]:
                rims[key] = (place, most)
    return replace(deviation, rims=rims)


def _seen_places(grid: TargetGrid, deviation: Deviation, is_asked: np.ndarray) -> np.ndarray:
    """Return places (n, 3) mm on sharp edges in the asked cells that are seen from the side."""
    edges, lattice = grid.sharp, deviation.lattice
    if not len(edges.a):
        return np.empty((0, 3))
    low, high = (end([edges.a[:, :2], edges.b[:, :2]], axis=0) for end in (np.min, np.max))
    (y0, x0), (y1, x1) = lattice.cell_at(*low.T), lattice.cell_at(*high.T)
    count = np.pad(np.cumsum(np.cumsum(is_asked, axis=0), axis=1), ((1, 0), (1, 0)))
    is_near = count[y1 + 1, x1 + 1] - count[y0, x1 + 1] - count[y1 + 1, x0] + count[y0, x0] > 0
    edges = edges[is_near]
    if not len(edges.a):
        return np.empty((0, 3))
    along = along_edges(edges.a, edges.b, lattice.cell / 2)[1]
    places = np.concatenate([np.unique(np.concatenate([edges.a, edges.b]), axis=0), along])
    places = places[is_asked[lattice.cell_at(*places[:, :2].T)]]
    lower, upper = grid.heights(places[:, :2])
    surface = upper if deviation.side == 1 else lower
    return places[np.abs(surface - places[:, 2]) <= SEEN]


def _off(places, may, columns: Callable, side: int, is_gouge: bool) -> np.ndarray:
    """Return how far places (n, 3) are from wood (a gouge) or air, at most, mm (n,); may (n,) mm.

    Columns about them are asked in WAYS and SHARES of what may be, where the one straight below, or above,
    is not near enough.
    """
    sign, way = 1.0 if side == 1 else -1.0, 1.0 if is_gouge else -1.0

    def rise(at, heights) -> np.ndarray:
        told = columns(at)
        cut = told.upper if side == 1 else -told.lower
        cut = np.where(told.upper > told.lower, cut, -np.inf)
        return np.maximum(way * (heights - cut), 0.0)

    off = rise(places[:, :2], sign * places[:, 2])
    rows = np.flatnonzero((off > may) & (may > 0))
    if len(rows):
        aside = (np.array(SHARES)[:, None, None] * WAYS).reshape(-1, 2)
        at = places[rows, None, :2] + may[rows, None, None] * aside
        n = len(aside)
        up = rise(at.reshape(-1, 2), np.repeat(sign * places[rows, 2], n)).reshape(-1, n)
        away = np.hypot(np.linalg.norm(aside, axis=1) * may[rows, None], up)
        off[rows] = np.minimum(off[rows], away.min(axis=1))
    return off
