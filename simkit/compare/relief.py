"""The least to take off a jig so that a piece lies at its stated height, as outlines for its program."""

from __future__ import annotations

import numpy as np
from scipy import ndimage
from scipy.spatial import ConvexHull

from simkit.compare.edges import SPACING
from simkit.compare.seat_walls import SAME_HEIGHT

FILLED = 0.6  # of its hull: a place of the relief that fills less is told with holes, or in parts
MOST_PARTED = 8  # times in halves
ASTRAY = 0.7  # of a cell: so far an outline of a hole may lie off its steps

Place = tuple[np.ndarray, list[np.ndarray]]  # an outline (n, 2) mm, and the outlines of holes in it


def relief_of(bottom, jig, pose, lattice, walls) -> list[Place]:
    """Return the least to take off the jig: outlines of where it stands above the piece at its stated height.

    bottom, jig, lattice: as for `seat`.  pose: where the piece rests.  walls: of both.
    On cells of a quarter of the piece's, so that the outlines together hold all of it but what is narrower
    than such a cell.  Each is the hull of one such place.  A place that leaves much of its hull free has
    what it encloses as holes: a rim round a pocket is one outline with a hole, which lies a cell inside of
    what may stay; else it is the hulls of its halves.
    """
    size = lattice.cell / 4
    xs = np.arange(lattice.origin[0] - 2 * lattice.cell, lattice.x()[-1] + 2 * lattice.cell, size)
    ys = np.arange(lattice.origin[1] - 2 * lattice.cell, lattice.y()[-1] + 2 * lattice.cell, size)
    x, y = np.meshgrid(xs, ys)

    def is_over(points):
        return jig(points) > bottom(pose.back(points)) + SAME_HEIGHT

    rim = walls.overlaps(pose)  # overlaps too narrow for cells show at the rims
    ix = np.clip(np.rint((rim[:, 0] - xs[0]) / size).astype(int), 0, len(xs) - 1)
    iy = np.clip(np.rint((rim[:, 1] - ys[0]) / size).astype(int), 0, len(ys) - 1)
    # A place that shows neither at the rims nor on cells of the piece is not looked for.
    is_near = np.zeros(x.shape, bool)
    is_near[::4, ::4] = is_over(np.column_stack([x[::4, ::4].ravel(), y[::4, ::4].ravel()])).reshape(
        x[::4, ::4].shape
    )
    is_near[iy, ix] = True
    is_near = ndimage.binary_dilation(is_near, np.ones((3, 3)), iterations=8)
    is_high = np.zeros(x.shape, bool)
    is_high[is_near] = is_over(np.column_stack([x[is_near], y[is_near]]))
    is_high[iy, ix] = True
    label, count = ndimage.label(is_high, np.ones((3, 3)))
    outlines = []
    for one in range(1, count + 1):
        outlines += _places_of(label == one, x, y, size, MOST_PARTED)
    return outlines


def _places_of(is_place: np.ndarray, x: np.ndarray, y: np.ndarray, size: float, parted: int) -> list[Place]:
    """Return outlines that hold cells (ny, nx) `size` mm wide, their holes; parted so often at most.

    x, y (ny, nx) mm: the middles of cells.
    """
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * max(size / 2, SPACING)
    at = np.column_stack([x[is_place], y[is_place]])
    corners = (at[:, None] + half[None]).reshape(-1, 2)
    hull = ConvexHull(corners)
    area = (2 * half.max()) ** 2
    whole = corners[hull.vertices]
    if not parted or len(at) * area >= FILLED * hull.volume:  # of two dimensions: its area
        return [(whole, [])]
    filled = ndimage.binary_fill_holes(is_place)
    if filled.sum() * area >= FILLED * hull.volume:
        loops = loops_of(ndimage.binary_erosion(filled & ~is_place, np.ones((3, 3))))
        origin = np.array([x[0, 0] - size / 2, y[0, 0] - size / 2])
        return [(whole, [origin + size * straightened(loop, ASTRAY) for loop in loops])]
    low, high = at.min(axis=0), at.max(axis=0)
    axis = int(np.argmax(high - low))
    is_low = (x, y)[axis] < (low[axis] + high[axis]) / 2
    halves = [is_place & is_low, is_place & ~is_low]
    if not all(one.any() for one in halves):
        return [(whole, [])]
    return [place for one in halves for place in _places_of(one, x, y, size, parted - 1)]


def loops_of(is_in: np.ndarray) -> list[np.ndarray]:
    """Return the outer borders of cells (ny, nx) bool: closed loops (n, 2) of corners, counter-clockwise.

    In cells, (0, 0) being the first cell's lower corner.  Where two cells meet in a corner alone they part.
    """
    wide = np.pad(is_in, 1)
    ahead: dict[tuple[int, int], list[tuple[int, int]]] = {}
    # A border runs with its cell to the left: below it to the right, above it to the left, and so on.
    for (dy, dx), (a, b) in {
        (-1, 0): ((0, 0), (1, 0)), (0, 1): ((1, 0), (1, 1)),
        (1, 0): ((1, 1), (0, 1)), (0, -1): ((0, 1), (0, 0)),
    }.items():  # fmt: skip
        beside = np.roll(wide, (-dy, -dx), (0, 1))
        for iy, ix in np.argwhere(wide & ~beside) - 1:
            ahead.setdefault((ix + a[0], iy + a[1]), []).append((ix + b[0], iy + b[1]))
    loops = []
    while ahead:
        start = min(ahead)
        loop, came = [start], None
        while True:
            here, ways = loop[-1], ahead[loop[-1]]
            # Of two ways the one to the left keeps to the cell that the border came along.
            k = 0
            if len(ways) > 1 and came is not None:
                turns = [came[0] * (w[1] - here[1]) - came[1] * (w[0] - here[0]) for w in ways]
                k = int(np.argmax(turns))
            there = ways.pop(k)
            if not ways:
                del ahead[here]
            came = (there[0] - here[0], there[1] - here[1])
            if there == start:
                break
            loop.append(there)
        corners = np.array(loop, float)
        beyond = np.roll(corners, -1, axis=0)
        if (corners[:, 0] * beyond[:, 1] - corners[:, 1] * beyond[:, 0]).sum() > 0:
            loops.append(corners)
    return loops


def straightened(loop: np.ndarray, most: float) -> np.ndarray:
    """Return a closed loop (n, 2) with fewer corners, off the whole one by `most` at most.

    Source: D. H. Douglas, T. K. Peucker 1973 (from memory), from two corners far apart.
    """
    far = int(np.argmax(((loop - loop[0]) ** 2).sum(axis=1)))
    keep = np.zeros(len(loop) + 1, bool)
    keep[[0, far, len(loop)]] = True
    closed = np.vstack([loop, loop[:1]])
    waiting = [(0, far), (far, len(loop))]
    while waiting:
        a, b = waiting.pop()
        if b - a < 2:
            continue
        along = closed[b] - closed[a]
        share = np.clip((closed[a + 1 : b] - closed[a]) @ along / max(along @ along, 1e-12), 0, 1)
        off = np.hypot(*(closed[a + 1 : b] - closed[a] - share[:, None] * along).T)
        k = int(np.argmax(off))
        if off[k] > most:
            keep[a + 1 + k] = True
            waiting += [(a, a + 1 + k), (a + 1 + k, b)]
    return closed[:-1][keep[:-1]]
