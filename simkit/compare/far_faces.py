"""From the target to the cut, between the samples: faces that may be far from what is left, or from air."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.compare.sweeps import Sweeps
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

MOST_FACES = 1_000_000  # squares of faces, likewise
MOST_FINE = 120_000  # of them where a verdict hangs on it
FACES = 20_000  # of them asked in one go
TURNS = 2 * np.pi * np.arange(16) / 16
WAYS = np.column_stack([np.cos(TURNS), np.sin(TURNS)])
SHARES = (0.35, 0.7, 1.0)  # of what may be: so far away a face looks for the cut in all these ways,
ALL = np.vstack([np.zeros((1, 2)), *(share * WAYS for share in SHARES)])
FEW = np.vstack([np.zeros((1, 2)), SHARES[0] * WAYS[::4], SHARES[2] * WAYS[::4]])
# Where a verdict hangs on it: 64 ways, and close enough along them that what is narrow is met.
FINE_TURNS = 2 * np.pi * np.arange(64) / 64
FINE_WAYS = np.column_stack([np.cos(FINE_TURNS), np.sin(FINE_TURNS)])
FINE = np.vstack([np.zeros((1, 2)), *(share * FINE_WAYS for share in np.linspace(1, 16, 16) / 16)])
STEEP_SHARES = (0.0, 0.35, 0.9)  # or in the way in which it is steep
SMOOTH, SMOOTH_SHARE = 0.02, 0.1  # mm, share of what may be: relief that says nothing
LAST = (0.005, 0.125)  # half edge of the last squares of faces, mm and share of what may be
CLOSE = 0.003  # the same share where a verdict hangs on it
FACE_SLACK = 1e-4  # mm: rounding


def at_border(may: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells (ny, nx) near which a deviation may be larger, or is not asked: `may` is +inf there.

    Near: as far as the largest deviation that may be; cell: edge of a cell, mm.
    """
    known = np.where(np.isfinite(may), may, np.inf)
    reach = int(np.ceil(np.max(np.abs(known), where=np.isfinite(known), initial=0.0) / cell)) + 1
    return ndimage.maximum_filter(known, 2 * reach + 1, mode="constant", cval=np.inf) > known


def far_faces(
    sweeps: Sweeps, grid: TargetGrid, x, y, half: float, cell, may, is_gouge: bool, is_border, last=LAST
) -> tuple:
    """Return flat cells over which the target may be farther from material or air than it may, with places.

    x, y, cell (k,): squares; half mm.  may: how far, by flat cell, mm.  last: half edge of the last squares,
    mm and as a share of what may be; smaller than LAST where a verdict hangs on it.  Returns cell, x, y,
    distance (m,).
    Where the target keeps between two planes close together, it is hardly farther from the cut than the cut
    from it, which is proved already, if it is so all about: only squares of more relief than SMOOTH are
    asked, and those of cells that are is_border (by flat cell), beside which more may be.  There the cut is
    known exactly at the middle of each and beside it in the way the target is steep, and at places all about
    it for the last squares; those that this does not settle are returned.  A cell is given up as a whole once
    the middle of a square of it is far from all of these.
    Where a verdict hangs on it, one cell that stays open settles that the rest need not be known: what coarse
    squares leave open is looked at again a few cells at a time, the worst first, and once some of them stay
    open the rest are returned unasked, with what may be as their distance.
    """
    faces = _Faces(sweeps, grid, is_gouge)
    keep = may[cell] > 0
    x, y, cell = x[keep], y[keep], cell[keep]
    open_still = _halved(faces, x, y, half, cell, may, is_border, LAST)
    if last == LAST or not len(open_still[0]):
        return open_still
    worst = _worst_of(open_still[0], open_still[3])
    worst = worst[np.lexsort((open_still[0][worst], -open_still[3][worst]))]  # ties to the lowest cell
    cells, far_x, far_y, _ = (part[worst] for part in open_still)
    first, count = 0, 1
    while first < len(cells):
        mine = np.flatnonzero(np.isin(cell, cells[first : first + count]))
        found = _halved(faces, x[mine], y[mine], half, cell[mine], may, is_border, last)
        first, count = first + count, 4 * count
        if len(found[0]):
            break
    rest = (cells[first:], far_x[first:], far_y[first:], may[cells[first:]])
    return tuple(np.concatenate(parts) for parts in zip(found, rest, strict=True))


def _halved(faces: _Faces, x, y, half: float, cell, may, is_border, last: tuple[float, float]) -> tuple:
    """Return the squares that halving down to the last ones leaves open, as `far_faces` does."""
    from simkit.compare.far_faces_kernels import target_relief, uphill

    sweeps, grid, is_gouge = faces.sweeps, faces.grid, faces.is_gouge
    far = [(cell[:0], x[:0], y[:0], np.empty(0))]
    first, is_fine = half, last != LAST
    most = MOST_FINE if is_fine else MOST_FACES
    while len(cell):
        relief = np.empty(len(x))
        about = (x, y, half + may[cell], *faces.triangles, relief)
        share_ranges(lambda a, b, s=about: target_relief(a, b, *s), len(x), 256)
        keep = (relief > np.maximum(SMOOTH, SMOOTH_SHARE * may[cell])) | is_border[cell]
        x, y, cell = x[keep], y[keep], cell[keep]
        if is_gouge and half < first and len(cell):  # material straight below is near enough?
            low, _ = sweeps.lowest(x, y, np.full(len(x), half), may[cell].reshape(-1, 1, 1), 0, grid)
            keep = ~np.isnan(low.ravel())
            x, y, cell = x[keep], y[keep], cell[keep]
        is_last = half <= np.maximum(last[0], last[1] * may[cell])
        # On a steep face material is nearest uphill, and air downhill.
        ways = np.empty((len(x), 2))
        about = (x, y, half, *faces.triangles, ways)
        share_ranges(lambda a, b, s=about: uphill(a, b, *s), len(x), 256)
        off = faces.off(x, y, half, may[cell], (1 if is_gouge else -1) * np.array(STEEP_SHARES), ways)
        left = np.flatnonzero(off > may[cell] + FACE_SLACK)
        x, y, cell, off, is_last = x[left], y[left], cell[left], off[left], is_last[left]
        if (half <= np.maximum(LAST[0], LAST[1] * may[cell])).any():
            # Halved squares are settled sooner than larger ones by more places.
            for probes in (FEW, ALL, FINE) if is_fine and is_last.any() else (FEW, ALL):
                off = faces.off(x, y, half, may[cell], probes)
                left = np.flatnonzero(off > may[cell] + FACE_SLACK)
                x, y, cell, off, is_last = x[left], y[left], cell[left], off[left], is_last[left]
        if not is_last.any():
            # Where not even the middle of the worst square is near enough, halving will not help its cell.
            worst = _worst_of(cell, off)
            point = faces.off(x[worst], y[worst], 0.0, may[cell[worst]], FINE if is_fine else ALL)
            lost = worst[point > may[cell[worst]] + FACE_SLACK]
            far.append((cell[lost], x[lost], y[lost], off[lost]))
            keep = ~np.isin(cell, cell[lost])
            x, y, cell, off, is_last = x[keep], y[keep], cell[keep], off[keep], is_last[keep]
        if 4 * len(cell) > most:
            is_last[:] = True
        far.append((cell[is_last], x[is_last], y[is_last], off[is_last]))
        x, y, cell = x[~is_last], y[~is_last], cell[~is_last]
        half /= 2
        x = (x[:, None] + half * np.array([-1, 1, -1, 1])).ravel()
        y = (y[:, None] + half * np.array([-1, -1, 1, 1])).ravel()
        cell = cell.repeat(4)
    return tuple(np.concatenate(part) for part in zip(*far, strict=True))


class _Faces:
    """Faces of the target that a cut may be far from, for `far_faces`."""

    def __init__(self, sweeps: Sweeps, grid: TargetGrid, is_gouge: bool):
        self.sweeps, self.grid, self.is_gouge = sweeps, grid, is_gouge
        corners, boxes = grid.ordered
        bins = grid.bins(sweeps.side)
        corners = corners * np.array([1.0, 1.0, 1.0 if sweeps.side == 1 else -1.0])
        self.triangles = (corners, boxes, bins[:5], bins[5], bins[6])

    def off(self, x, y, half: float, may, probes: np.ndarray, ways: np.ndarray | None = None) -> np.ndarray:
        """Return how far faces over squares may be from material or air, mm (k,); +inf: not asked.

        x, y, may (k,), half mm: squares, and how far it may be.  probes: places that are asked, as shares of
        what may be less the square itself: (n, 2), or (n,) along `ways` (k, 2).
        """
        from simkit.compare.far_faces_kernels import faces_off

        off, most = np.full(len(x), np.inf), may - half * np.sqrt(2.0)
        asked = np.flatnonzero(most > 0)  # a square larger than what may be is not settled by anything
        for rows in np.split(asked, range(FACES, len(asked), FACES)) if len(asked) else []:
            aside = probes if ways is None else probes[:, None] * ways[rows, None]
            places = np.column_stack([x[rows], y[rows]])[:, None] + most[rows, None, None] * aside
            cut, _ = self.sweeps.cut(places.reshape(-1, 2), self.sweeps.start)
            one = np.empty(len(rows))
            arrays = (
                x[rows], y[rows], half, 1.0 if self.is_gouge else -1.0, places, cut.reshape(len(rows), -1),
                *self.triangles, one,
            )  # fmt: skip
            share_ranges(lambda a, b, s=arrays: faces_off(a, b, *s), len(rows), 256)
            off[rows] = one
        return off


def _worst_of(cell: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Return for each cell one of its squares, the one that is off most (m,), among cell, off (k,)."""
    order = np.lexsort((off, cell))
    is_end = np.r_[cell[order][1:] != cell[order][:-1], True] if len(order) else np.empty(0, bool)
    return order[is_end]
