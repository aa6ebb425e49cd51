"""A fixture as columns over a lattice: how high it stands with the clearance round it, never too low."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import grey_dilation

from simkit.job.model import Fixture
from simkit.stock.field import UNCUT, Field, Lattice

MOST_CELLS = 1_000_000
# Cells by which columns reach farther than the clearance: a cutter that comes nearer than that by any amount
# covers a cell's centre not farther than this behind its edge.
WIDER = np.sqrt(2.0)


def fixture_field(fixture: Fixture, clearance: float, cell: float, mesh: np.ndarray | None) -> Field:
    """Return the field of a fixture in the table frame, solid down to the table, grown by the clearance.

    clearance, cell mm: cells no wider than asked for, unless more than MOST_CELLS would be needed.
    mesh (m, 3, 3) mm: the triangles of one that has a mesh, table frame.
    A column is nowhere lower than the fixture with the clearance within WIDER cells of its centre: it is
    square near an upper edge, up to 1.42 clearances, and up to WIDER cells wider than asked for; so a steep
    side of a mesh may stand higher by what it rises over twice that.
    """
    x0, x1, y0, y1 = fixture.box_in_plan
    # Cells no wider than asked, no more of them than fit.
    cell = max(cell, float(np.sqrt((x1 - x0 + 2 * clearance) * (y1 - y0 + 2 * clearance) / MOST_CELLS)))
    margin = clearance + 2.0 * cell
    nx, ny = (int(np.ceil((size + 2.0 * margin) / cell)) for size in (x1 - x0, y1 - y0))
    lattice = Lattice((x0 - margin, y0 - margin), cell, nx, ny)
    reach = clearance + WIDER * cell
    if mesh is None:
        x, y = np.meshgrid(lattice.x(), lattice.y())
        upper = np.where(plan_distance(fixture, x, y) <= reach, fixture.height + clearance, 0.0)
    else:
        upper = _grown(_heights(mesh, lattice), reach / cell) + clearance
        upper[upper <= clearance] = 0.0
    none = np.full(lattice.shape, UNCUT, np.int32)
    return Field(lattice, np.zeros(lattice.shape, np.float32), upper.astype(np.float32), none, none)


def plan_distance(fixture: Fixture, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return how far points are from a fixture in plan, mm, 0 or less inside; of a mesh: its box.  Exact."""
    if fixture.box is None:
        return np.hypot(x - fixture.at[0], y - fixture.at[1]) - fixture.diameter / 2
    x0, x1, y0, y1 = fixture.box_in_plan
    return np.hypot(np.maximum(np.maximum(x0 - x, x - x1), 0), np.maximum(np.maximum(y0 - y, y - y1), 0))


def path_distance(fixture: Fixture, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return how far straight ways (n, 2) to (n, 2) stay from a fixture in plan (n,) mm.

    0 or less where they meet.  Of a mesh: from its box.  Error: rounding.
    """
    if fixture.box is None:
        centre = np.array([fixture.at], float)
        return _from_way(centre, start, end)[:, 0] - fixture.diameter / 2
    x0, x1, y0, y1 = fixture.box_in_plan
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], float)
    away = _from_way(corners, start, end).min(axis=1)
    for place in (start, end):
        away = np.minimum(away, plan_distance(fixture, *place.T))
    # A way right through may have its ends and the corners far off: where is it in each slab?
    delta = end - start
    first, last = np.zeros(len(start)), np.ones(len(start))
    for axis, (low, high) in enumerate(((x0, x1), (y0, y1))):
        run = np.where(delta[:, axis] != 0, delta[:, axis], 1.0)
        a, b = ((edge - start[:, axis]) / run for edge in (low, high))
        is_even = delta[:, axis] == 0
        is_in = (start[:, axis] >= low) & (start[:, axis] <= high)
        first = np.maximum(first, np.where(is_even, np.where(is_in, 0.0, 2.0), np.minimum(a, b)))
        last = np.minimum(last, np.where(is_even, 1.0, np.maximum(a, b)))
    return np.where(first <= last, 0.0, away)


def _from_way(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return how far points (k, 2) are from straight ways (n, 2) to (n, 2), mm (n, k)."""
    delta = end - start
    size = np.maximum((delta**2).sum(axis=1), 1e-300)[:, None]
    to = points[None, :, :] - start[:, None, :]
    part = np.clip((to * delta[:, None, :]).sum(axis=2) / size, 0.0, 1.0)
    return np.linalg.norm(to - part[:, :, None] * delta[:, None, :], axis=2)


def _heights(mesh: np.ndarray, lattice: Lattice) -> np.ndarray:
    """Return for each cell (ny, nx) a height that no triangle comes above anywhere in it; 0 where none is.

    Triangles are halved along their longest edge in plan until they are no wider than a cell; each then
    counts, as high as its highest corner, for all cells that its box touches.
    """
    found = np.zeros(lattice.shape)
    left = np.asarray(mesh, float)
    while len(left):
        wide = np.ptp(left[:, :, :2], axis=1).max(axis=1)
        _lay(left[wide <= lattice.cell], lattice, found)
        left = _halved(left[wide > lattice.cell])
    return found


def _halved(triangles: np.ndarray) -> np.ndarray:
    """Return triangles (n, 3, 3) cut in two (2 n, 3, 3) through the middle of the longest edge in plan."""
    rows = np.arange(len(triangles))
    edges = np.linalg.norm((np.roll(triangles, -1, axis=1) - triangles)[:, :, :2], axis=2)
    a = edges.argmax(axis=1)
    b, c = (a + 1) % 3, (a + 2) % 3
    pa, pb, pc = triangles[rows, a], triangles[rows, b], triangles[rows, c]
    middle = 0.5 * (pa + pb)
    return np.concatenate([np.stack([pa, middle, pc], axis=1), np.stack([middle, pb, pc], axis=1)])


def _lay(triangles: np.ndarray, lattice: Lattice, found: np.ndarray) -> None:
    """Raise the cells that small triangles touch to their highest corner."""
    if not len(triangles):
        return
    low, high = triangles[:, :, :2].min(axis=1), triangles[:, :, :2].max(axis=1)
    top = triangles[:, :, 2].max(axis=1)
    iy0, ix0 = lattice.cell_at(*(low - 1e-6).T)
    iy1, ix1 = lattice.cell_at(*(high + 1e-6).T)
    # No wider than a cell: two cells along each axis at most.
    for iy in (iy0, iy1):
        for ix in (ix0, ix1):
            np.maximum.at(found, (iy, ix), top)


def _grown(heights: np.ndarray, reach: float) -> np.ndarray:
    """Return the highest of all cells of which some part is within `reach` cells of a cell's centre."""
    steps = np.arange(-int(np.ceil(reach + 1)), int(np.ceil(reach + 1)) + 1)
    near = np.maximum(np.abs(steps) - 0.5, 0.0)
    disc = near[:, None] ** 2 + near**2 <= reach**2
    return grey_dilation(heights, footprint=disc, mode="constant", cval=0.0)
