"""Between the cell centres: where no sample shows it, may a cut lie deeper in the part than its limit?

Squares of many cells are proved free of it at once, by a plane: the sweep of a convex cutter along a line
lies nowhere below its tangent plane, the target nowhere above its triangles.  What is not proved is halved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

from simkit._jit import pointer
from simkit.compare.overhang import removed_below
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import LINE, Moves, make_moves
from simkit.stock.cut import MOST_MOVES, Packed, cell_heights_pointer, cut_heights
from simkit.stock.field import Lattice
from simkit.stock.height_kernels import CELL_HEIGHTS
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

LEVELS = 3  # halvings from a block to a cell
BUCKET = 2  # blocks along the edge of a bucket of moves
CHUNK = 2048  # blocks proved in one go
FLOOR = 0.01  # mm: squares of a smaller half edge are not halved again
MOST_SQUARES = 3_000_000  # nor are more than these
MOST_FACES = 1_000_000  # squares of faces, likewise
FACES = 20_000  # of them asked in one go
TURNS = 2 * np.pi * np.arange(16) / 16
WAYS = np.column_stack([np.cos(TURNS), np.sin(TURNS)])
SHARES = (0.35, 0.7, 1.0)  # of what may be: so far away a face looks for the cut in all these ways,
ALL = np.vstack([np.zeros((1, 2)), *(share * WAYS for share in SHARES)])
FEW = np.vstack([np.zeros((1, 2)), SHARES[0] * WAYS[::4], SHARES[2] * WAYS[::4]])
STEEP_SHARES = (0.0, 0.35, 0.9)  # or in the way in which it is steep
SMOOTH, SMOOTH_SHARE = 0.02, 0.1  # mm, share of what may be: relief that says nothing
FACE_FLOOR, FACE_SHARE = 0.005, 0.125  # half edge of the last squares of faces, mm and share of what may be
FACE_SLACK = 1e-4  # mm: rounding
ANY_TOP = 1e9  # mm: no move is left out for its height


@dataclass
class Unproved:
    """Cells over which a deviation may be larger than it may, and a place in each.

    is_found (ny, nx) bool.  place() gives for some of them where the largest deviation was met, in plan;
    where none was, the place that was settled least.
    """

    is_found: np.ndarray
    _met: list[tuple] = field(default_factory=list)

    def add(self, cell, x, y, size, is_met: bool = True) -> None:
        """Add places x, y (k,) mm of flat cells (k,), with the deviation there, mm (k,).

        is_met: it was met there, else only not ruled out.
        """
        self.is_found.ravel()[cell] = True
        self._met.append((cell, x, y, size, np.full(len(cell), is_met)))

    def largest(self) -> np.ndarray:
        """Return the largest deviation that was met in each cell, mm (ny, nx); 0 where none was."""
        largest = np.zeros(self.is_found.shape)
        for cell, _, _, size, is_met in self._met:
            np.maximum.at(largest.ravel(), cell[is_met], size[is_met])
        return largest

    def place(self, is_asked: np.ndarray) -> tuple[tuple[int, int], tuple[float, float]] | None:
        """Return the cell (iy, ix) and place (x, y) mm of the largest deviation met in the asked cells."""
        if not self._met:
            return None
        cell, x, y, size, is_met = (np.concatenate(parts) for parts in zip(*self._met, strict=True))
        mine = np.flatnonzero(is_asked.ravel()[cell])
        if not len(mine):
            return None
        # Ties go to the lowest cell, so that the order in which squares were halved does not matter.
        k = mine[np.lexsort((x[mine], y[mine], cell[mine], -size[mine], ~is_met[mine]))[0]]
        iy, ix = divmod(int(cell[k]), self.is_found.shape[1])
        return (iy, ix), (float(x[k]), float(y[k]))


class Sweeps:
    """The moves that cut one side, packed and in buckets over a lattice.

    parts: moves, frame (program -> blank) and first row of each setup that cuts from this side; rows
    count as in the field's upper_move and lower_move.  start mm: the surface before the first cut, along the
    side's axis.
    """

    def __init__(
        self,
        parts: Sequence[tuple[Moves, Frame, int]],
        cutters: Mapping[int, Cutter],
        lattice: Lattice,
        side: int,
        start: float = ANY_TOP,
    ):
        self.parts, self.cutters, self.side, self.start = parts, cutters, side, start
        self.bucket = BUCKET * (1 << LEVELS) * lattice.cell
        self.origin = lattice.origin
        self.shape = tuple(-(-n // (BUCKET << LEVELS)) for n in lattice.shape)
        x0, y0 = lattice.origin
        view = np.array([x0, x0 + self.shape[1] * self.bucket, y0, y0 + self.shape[0] * self.bucket, ANY_TOP])
        tops = np.full(self.shape, np.inf, np.float32)
        self.heights_pointer = None
        self.packs = []
        for moves, frame, first_row in parts:
            for first in range(0, len(moves), MOST_MOVES):
                packed = Packed(moves[first : first + MOST_MOVES], cutters, frame, view, 0, first)
                self.packs.append((packed, *packed.bins(x0, y0, self.bucket, tops), first_row + first))

    def lowest(self, x, y, half, below, levels: int, grid: TargetGrid) -> tuple[np.ndarray, np.ndarray]:
        """Return for parts of squares where a sweep may lie deeper than `below`: how low it may, mm.

        x, y, half (k,) mm: squares, each inside one bucket.  below (k, n, n) mm, n = 2^levels: for each
        part; +inf: not asked.  Returns (k, n, n) float64: a height that no such sweep lies below, along the
        side's axis; NaN where none is deeper; and the slopes (k, n, n, 2) of a plane that none lies below
        either, which touches that height at its lowest corner.
        """
        from simkit.compare.between_kernels import lower_squares

        sign = 1.0 if self.side == 1 else -1.0
        corners, boxes = grid.ordered
        corners = corners * np.array([1.0, 1.0, sign])
        bins = grid.bins(self.side)
        heights = self.heights_pointer or cell_heights_pointer()
        low, slopes = np.full(below.shape, np.nan), np.zeros((*below.shape, 2))
        for packed, starts, entries, _ in self.packs:
            if not len(entries):
                continue
            found, leans = np.empty(below.shape), np.empty((*below.shape, 2))
            busy = np.zeros(len(x), np.int64)
            search = (
                x, y, half, below, levels, corners, boxes, bins[:5], bins[5], bins[6], *self.origin,
                self.bucket, self.shape[1], starts, entries, packed.codes, packed.records, heights,
                found, leans, busy,
            )  # fmt: skip
            share_ranges(lambda a, b, s=search: lower_squares(a, b, *s), len(x), 16)
            low = np.fmin(low, found)
            is_found = ~np.isnan(found)
            slopes[is_found] = leans[is_found]  # of the target, so the same for all packs
        return low, slopes

    def heights(self, points: np.ndarray) -> np.ndarray:
        """Return the cut along the side's axis at points (k, 2), mm (k,) float64; +inf where none cuts."""
        found, owner = self.cut(points, ANY_TOP)
        return np.where(owner >= 0, found, np.inf)

    def cut(self, points, start: float, cutters=None) -> tuple[np.ndarray, np.ndarray]:
        """Return heights along the side's axis at points (k, 2), from a start, and the rows that cut them.

        cutters: those whose moves count, with these shapes; None for all as they are.
        """
        cutters = self.cutters if cutters is None else cutters
        sign = 1.0 if self.side == 1 else -1.0
        found, owner = np.full(len(points), sign * start), np.full(len(points), -1, np.int64)
        for moves, frame, first_row in self.parts:
            chosen = np.flatnonzero(np.isin(moves.tool, list(cutters)))
            found, row = cut_heights(points, moves[chosen], cutters, frame, found)
            is_cut = row >= 0
            owner[is_cut] = chosen[row[is_cut]] + first_row
        return sign * found, owner

    def highest(self, x, y, half: float, above, owner, grid: TargetGrid) -> tuple[np.ndarray, np.ndarray]:
        """Return for squares where the cut may stand higher than `above` over the target: how high, mm.

        x, y (k,) mm, half mm: squares.  above (k,) mm.  owner (k,): the row that cut the middle lowest, or
        any other, -1 for none.  Returns (k,) float64, along the side's axis; NaN where it does not; and the
        slopes (k, 2) of a plane that the cut lies nowhere above either, which touches that height at its
        highest corner.
        """
        from simkit.compare.between_kernels import upper_squares

        sign = 1.0 if self.side == 1 else -1.0
        corners, boxes = grid.ordered
        corners, bins = corners * np.array([1.0, 1.0, sign]), grid.bins(self.side)
        up, slopes, left = np.full(len(x), np.nan), np.zeros((len(x), 2)), np.ones(len(x), bool)
        heights = self.heights_pointer or cell_heights_pointer()

        def search(chosen, index, other, packed) -> None:
            out, leans = np.empty(len(chosen)), np.zeros((len(chosen), 2))
            arrays = (
                x[chosen], y[chosen], np.full(len(chosen), half), above[chosen], corners, boxes, bins[:5],
                bins[5], bins[6], index, other, packed.codes, packed.records, heights, out, leans,
            )  # fmt: skip
            share_ranges(lambda a, b: upper_squares(a, b, *arrays), len(chosen), 256)
            up[chosen], slopes[chosen] = out, leans

        for packed, _, _, first_row in self.packs:
            chosen = np.flatnonzero((owner >= first_row) & (owner < first_row + len(packed.rows)))
            place = np.full(len(packed.rows), -1, np.int64)
            for a, b in packed.chunks:
                place[packed.rows[a:b]] = np.arange(a, b)
            index = place[owner[chosen] - first_row]
            search(chosen, index, np.full(len(chosen), np.inf), packed)
            left[chosen] = np.isinf(up[chosen])
        chosen = np.flatnonzero(left)  # arcs, and what was never cut
        if len(chosen) and self.packs:
            thin = {number: cutter.shifted(-half * np.sqrt(2.0)) for number, cutter in self.cutters.items()}
            thin = {number: cutter for number, cutter in thin.items() if cutter.radius > 0}
            other, _ = self.cut(np.column_stack([x[chosen], y[chosen]]), self.start, thin)
            search(chosen, np.full(len(chosen), -1), other, self.packs[0][0])
        return up, slopes


def unproved_gouges(
    sweeps: Sweeps,
    grid: TargetGrid,
    lattice: Lattice,
    deepest: np.ndarray,
    is_asked: np.ndarray,
    floor: float = FLOOR,
    with_faces: bool = False,
) -> Unproved:
    """Return the cells over which a cut may lie deeper in the target than it may.

    sweeps: of one side.  deepest (ny, nx) mm: how deep a cut may lie, along the normal; negative where
    it must stay proud.  is_asked (ny, nx): the cells to prove.  floor mm: half edge of the last squares.
    All other asked cells are proved: nowhere over them, between their centres or not, does any move reach
    deeper than `deepest`.  with_faces: and nowhere is the target farther from what is left, upright faces
    and those under lips apart: nothing of it narrower than a cell was cut away.
    A cell is returned when a place in it was found to be deeper, or when the last squares do not settle it
    (or MOST_SQUARES): those may be less deep by up to 2.5 of their half edges.
    Proof by the vertical depth under the target's triangles, by the distance at a square's middle, which
    changes by at most the distance moved (under lips of the target only as the middle shows it), and by the
    distance of a plane's corners to one triangle, which nothing between them exceeds.
    Source: own derivation.
    """
    found = Unproved(np.zeros(lattice.shape, bool))
    is_found = found.is_found.ravel()
    is_asked = is_asked & np.isfinite(deepest)
    ask = np.where(is_asked, np.where(deepest < 0, -np.inf, deepest), np.inf)
    n = 1 << LEVELS
    by, bx = (-(-k // n) for k in lattice.shape)
    padded = np.full((by * n, bx * n), np.inf)
    padded[: lattice.ny, : lattice.nx] = ask
    blocks = padded.reshape(by, n, bx, n).swapaxes(1, 2).reshape(-1, n, n)
    every = np.flatnonzero((blocks < np.inf).any(axis=(1, 2)))
    if not sweeps.packs:
        return found
    edge, half = n * lattice.cell, lattice.cell / 4
    parts = []
    for chosen in np.split(every, range(CHUNK, len(every), CHUNK)) if len(every) else []:
        x = lattice.origin[0] + (chosen % bx + 0.5) * edge
        y = lattice.origin[1] + (chosen // bx + 0.5) * edge
        # Down to half a cell at first: coarser squares are seldom settled by the distance at their middle.
        below = blocks[chosen].repeat(2, axis=1).repeat(2, axis=2)
        low, slopes = sweeps.lowest(x, y, np.full(len(x), edge / 2), below, LEVELS + 1, grid)
        k, row, column = np.nonzero(~np.isnan(low))
        iy, ix = chosen[k] // bx * n + row // 2, chosen[k] % bx * n + column // 2
        x, y = x[k] - edge / 2 + half * (2 * column + 1), y[k] - edge / 2 + half * (2 * row + 1)
        parts.append((x, y, iy * lattice.nx + ix, low[k, row, column], slopes[k, row, column]))
    if not parts:
        return found
    x, y, cell, low, slopes = (np.concatenate(part) for part in zip(*parts, strict=True))
    may = deepest.ravel()
    if with_faces:
        is_border = _at_border(np.where(is_asked, deepest, np.inf), lattice.cell).ravel()
        found.add(*_far_faces(sweeps, grid, x, y, half, cell, may, True, is_border), is_met=False)
        left = np.flatnonzero(~is_found[cell])
        x, y, cell, low, slopes = x[left], y[left], cell[left], low[left], slopes[left]
    while len(cell):
        depth = _deepest_over(x, y, half, low, slopes, may[cell], grid, sweeps.side)
        left = np.flatnonzero(depth > may[cell])
        x, y, cell, depth = x[left], y[left], cell[left], depth[left]
        if half <= floor or 4 * len(cell) > MOST_SQUARES:
            found.add(cell, x, y, depth, is_met=False)
            break
        exact = sweeps.heights(np.column_stack([x, y]))
        depth = _most_deep(x, y, exact, may[cell], grid, sweeps.side)
        is_deep = depth > may[cell]
        found.add(cell[is_deep], x[is_deep], y[is_deep], depth[is_deep])
        is_left = ~is_found[cell]
        x, y, cell = x[is_left], y[is_left], cell[is_left]
        if not len(cell):
            break
        below = np.repeat(np.where(may[cell] < 0, -np.inf, may[cell]), 4).reshape(-1, 2, 2)
        low, slopes = sweeps.lowest(x, y, np.full(len(x), half), below, 1, grid)
        half /= 2
        k, row, column = np.nonzero(~np.isnan(low))
        low, slopes = low[k, row, column], slopes[k, row, column]
        x, y, cell = x[k] + half * (2 * column - 1), y[k] + half * (2 * row - 1), cell[k]
    return found


def _deepest_over(x, y, half: float, low, slopes, may, grid: TargetGrid, side: int) -> np.ndarray:
    """Return the most that a cut above planes over squares can be deep, mm (k,).

    low (k,), slopes (k, 2): the planes as `Sweeps.lowest` gives them.  The higher, the less deep.
    """
    depth = _most_deep(x, y, low, may, grid, side) + half * np.sqrt(2.0)
    rows = np.flatnonzero((depth > may) & (may >= 0))
    middle = low[rows] + half * np.abs(slopes[rows]).sum(axis=1)
    depth[rows] = np.minimum(
        depth[rows], _corners_off(x[rows], y[rows], half, middle, slopes[rows], grid, side)
    )
    return depth


def _corners_off(x, y, half: float, middle, slopes, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how far planes over squares lie off the target, at most, mm (k,).

    middle (k,) mm: their heights there, along the side's axis.
    """
    from simkit.compare.between_kernels import corners_off

    sign = 1.0 if side == 1 else -1.0
    middles, off = np.column_stack([x, y, sign * middle]), np.empty(len(x))
    arrays = (
        middles,
        np.full(len(x), half),
        sign * slopes,
        grid.nearest(middles, side),
        grid.ordered[0],
        off,
    )
    share_ranges(lambda a, b: corners_off(a, b, *arrays), len(x), 1024)
    return off


def unproved_leftover(
    sweeps: Sweeps,
    grid: TargetGrid,
    lattice: Lattice,
    highest: np.ndarray,
    owner: np.ndarray,
    is_asked: np.ndarray,
    floor: float = FLOOR,
    with_faces: bool = False,
) -> Unproved:
    """Return the cells over which the cut may stand prouder of the target than it may.

    As `unproved_gouges`; highest (ny, nx) mm: how far it may stand off, along the normal.  owner
    (ny, nx): the field's row that cut each cell.  What is proved is the distance from cut to target;
    with_faces also that from the target to the nearest air: no groove of it narrower than a cell was left
    full.  The bound from above is that of the move which cut the middle of a square: over a corner for
    lines, and by the profile drawn in by the square's half diagonal for arcs.
    """
    found = Unproved(np.zeros(lattice.shape, bool))
    is_found = found.is_found.ravel()
    cell = np.flatnonzero(is_asked & np.isfinite(highest))
    iy, ix = np.divmod(cell, lattice.nx)
    x, y = lattice.centre_of(iy, ix)
    rows, may, half = owner.ravel()[cell].astype(np.int64), highest.ravel(), lattice.cell / 2
    while len(cell):
        up, slopes = sweeps.highest(x, y, half, may[cell], rows, grid)
        left = np.flatnonzero(~np.isnan(up))
        x, y, cell, up, slopes = x[left], y[left], cell[left], up[left], slopes[left]
        if with_faces and half == lattice.cell / 2:
            is_border = _at_border(np.where(is_asked, highest, np.inf), lattice.cell).ravel()
            found.add(*_far_faces(sweeps, grid, x, y, half, cell, may, False, is_border), is_met=False)
            left = np.flatnonzero(~is_found[cell])
            x, y, cell, up, slopes = x[left], y[left], cell[left], up[left], slopes[left]
        off = _proudest_over(x, y, half, up, slopes, may[cell], grid, sweeps.side)
        left = np.flatnonzero(off > may[cell])
        x, y, cell, off = x[left], y[left], cell[left], off[left]
        if half <= floor or 4 * len(cell) > MOST_SQUARES:
            found.add(cell, x, y, off, is_met=False)
            break
        half /= 2
        x = (x[:, None] + half * np.array([-1, 1, -1, 1])).ravel()
        y = (y[:, None] + half * np.array([-1, -1, 1, 1])).ravel()
        cell = cell.repeat(4)
        cut, rows = sweeps.cut(np.column_stack([x, y]), sweeps.start)
        is_part = ~np.isnan(grid.heights(np.column_stack([x, y]))[0])
        off = _most_proud(x, y, cut, grid, sweeps.side)
        is_high = is_part & (off > may[cell])
        found.add(cell[is_high], x[is_high], y[is_high], off[is_high])
        left = np.flatnonzero(~is_found[cell])
        x, y, cell, rows = x[left], y[left], cell[left], rows[left]
    return found


def _at_border(may: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells (ny, nx) near which a deviation may be larger, or is not asked: `may` is +inf there.

    Near: as far as the largest deviation that may be; cell: edge of a cell, mm.
    """
    known = np.where(np.isfinite(may), may, np.inf)
    reach = int(np.ceil(np.max(np.abs(known), where=np.isfinite(known), initial=0.0) / cell)) + 1
    return ndimage.maximum_filter(known, 2 * reach + 1, mode="constant", cval=np.inf) > known


def _far_faces(
    sweeps: Sweeps, grid: TargetGrid, x, y, half: float, cell, may, is_gouge: bool, is_border
) -> tuple:
    """Return flat cells over which the target may be farther from material or air than it may, with places.

    x, y, cell (k,): squares; half mm.  may: how far, by flat cell, mm.  Returns cell, x, y, distance (m,).
    Where the target keeps between two planes close together, it is hardly farther from the cut than the cut
    from it, which is proved already, if it is so all about: only squares of more relief than SMOOTH are
    asked, and those of cells that are is_border (by flat cell), beside which more may be.  There the cut is
    known exactly at the middle of each and beside it in the way the target is steep, and at places all about
    it for the last squares; those that this does not settle are returned.  A cell is given up as a whole once
    the middle of a square of it is far from all of these.
    """
    from simkit.compare.between_kernels import target_relief, uphill

    keep = may[cell] > 0
    x, y, cell = x[keep], y[keep], cell[keep]
    faces = _Faces(sweeps, grid, is_gouge)
    far = [(cell[:0], x[:0], y[:0], np.empty(0))]
    first = half
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
        is_last = half <= np.maximum(FACE_FLOOR, FACE_SHARE * may[cell])
        # On a steep face material is nearest uphill, and air downhill.
        ways = np.empty((len(x), 2))
        about = (x, y, half, *faces.triangles, ways)
        share_ranges(lambda a, b, s=about: uphill(a, b, *s), len(x), 256)
        off = faces.off(x, y, half, may[cell], (1 if is_gouge else -1) * np.array(STEEP_SHARES), ways)
        left = np.flatnonzero(off > may[cell] + FACE_SLACK)
        x, y, cell, off, is_last = x[left], y[left], cell[left], off[left], is_last[left]
        if is_last.any():
            for probes in (FEW, ALL):  # halved squares are settled sooner than larger ones by more places
                off = faces.off(x, y, half, may[cell], probes)
                left = np.flatnonzero(off > may[cell] + FACE_SLACK)
                x, y, cell, off, is_last = x[left], y[left], cell[left], off[left], is_last[left]
        else:
            # Where not even the middle of the worst square is near enough, halving will not help its cell.
            worst = _worst_of(cell, off)
            point = faces.off(x[worst], y[worst], 0.0, may[cell[worst]], ALL)
            lost = worst[point > may[cell[worst]] + FACE_SLACK]
            far.append((cell[lost], x[lost], y[lost], off[lost]))
            keep = ~np.isin(cell, cell[lost])
            x, y, cell, off, is_last = x[keep], y[keep], cell[keep], off[keep], is_last[keep]
        if 4 * len(cell) > MOST_FACES:
            is_last[:] = True
        far.append((cell[is_last], x[is_last], y[is_last], off[is_last]))
        x, y, cell = x[~is_last], y[~is_last], cell[~is_last]
        half /= 2
        x = (x[:, None] + half * np.array([-1, 1, -1, 1])).ravel()
        y = (y[:, None] + half * np.array([-1, -1, 1, 1])).ravel()
        cell = cell.repeat(4)
    return tuple(np.concatenate(part) for part in zip(*far, strict=True))


class _Faces:
    """Faces of the target that a cut may be far from, for `_far_faces`."""

    def __init__(self, sweeps: Sweeps, grid: TargetGrid, is_gouge: bool):
        self.sweeps, self.is_gouge = sweeps, is_gouge
        corners, boxes = grid.ordered
        bins = grid.bins(sweeps.side)
        corners = corners * np.array([1.0, 1.0, 1.0 if sweeps.side == 1 else -1.0])
        self.triangles = (corners, boxes, bins[:5], bins[5], bins[6])

    def off(self, x, y, half: float, may, probes: np.ndarray, ways: np.ndarray | None = None) -> np.ndarray:
        """Return how far faces over squares may be from material or air, mm (k,); +inf: not asked.

        x, y, may (k,), half mm: squares, and how far it may be.  probes: places that are asked, as shares of
        what may be less the square itself: (n, 2), or (n,) along `ways` (k, 2).
        """
        from simkit.compare.between_kernels import faces_off

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


def _proudest_over(x, y, half: float, up, slopes, may, grid: TargetGrid, side: int) -> np.ndarray:
    """Return the most that a cut below planes over squares can stand off the target, mm (k,).

    up (k,), slopes (k, 2): the planes as `Sweeps.highest` gives them.  The lower, the less proud.
    """
    off = _most_proud(x, y, up, grid, side) + half * np.sqrt(2.0)
    rows = np.flatnonzero(off > may)
    middle = up[rows] - half * np.abs(slopes[rows]).sum(axis=1)
    off[rows] = np.minimum(off[rows], _corners_off(x[rows], y[rows], half, middle, slopes[rows], grid, side))
    return off


def _most_proud(x, y, heights, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how far places stand off the target, mm (k,); 0 inside it."""
    sign = 1.0 if side == 1 else -1.0
    lower, upper = grid.heights(np.column_stack([x, y]))
    is_in = heights <= (upper if side == 1 else -lower)
    off = np.zeros(len(x))
    rows = np.flatnonzero(~is_in)
    off[rows] = _to_surface(np.column_stack([x, y, sign * heights])[rows], grid, side)
    return off


def _to_surface(points: np.ndarray, grid: TargetGrid, side: int) -> np.ndarray:
    """Return the distance to the whole surface, mm (k,); the near side first, to bound the other's search."""
    return grid.distance(points, 3 - side, within=grid.distance(points, side))


def warm_up(grid: TargetGrid, lattice: Lattice) -> None:
    """Compile the search over squares without compiling a cut: any pointer of the right form serves."""
    moves = make_moves(kind=[LINE], rapid=[False], start=[[0, 0, 99]], end=[[1, 0, 99]], tool=[1])
    sweeps = Sweeps([(moves, IDENTITY, 0)], {1: Cutter(1, "ball", 2.0)}, lattice, 1)
    sweeps.heights_pointer = pointer(_nothing, CELL_HEIGHTS)
    one = np.array([lattice.origin[0] + 1.0])
    sweeps.lowest(one, one, np.full(1, lattice.cell), np.zeros((1, 1, 1)), 0, grid)
    sweeps.highest(one, one, lattice.cell, np.zeros(1), np.zeros(1, np.int64), grid)
    _corners_off(one, one, lattice.cell, np.zeros(1), np.zeros((1, 2)), grid, 1)
    sweeps.cut = lambda places, start: (np.zeros(len(places)), None)
    _far_faces(sweeps, grid, one, one, FACE_FLOOR, np.zeros(1, np.int64), np.ones(1), True, np.ones(1, bool))


def _nothing(code, a, places, n, g):
    """Stand in for cell_heights where no height is asked for."""


def _most_deep(x, y, heights, may, grid: TargetGrid, side: int) -> np.ndarray:
    """Return how deep places lie in the target, mm (k,); negative outside where `may` is, else 0 there.

    heights (k,): along the side's axis; below the part they count as its underside.
    """
    sign = 1.0 if side == 1 else -1.0
    lower, upper = grid.heights(np.column_stack([x, y]))
    top, bottom = (upper, lower) if side == 1 else (-lower, -upper)
    is_in = heights < top  # False beside the part
    depth = np.where(np.isnan(top) | (may >= 0), 0.0, -np.inf)
    at = np.column_stack([x, y, sign * np.where(is_in, np.maximum(heights, bottom), heights)])
    rows = np.flatnonzero(is_in)
    depth[rows] = grid.distance(at[rows], side)
    deep = rows[depth[rows] > np.maximum(may[rows], 0.0)]
    depth[deep] = removed_below(at[deep], depth[deep], grid, side)
    proud = np.flatnonzero(~is_in & (may < 0) & np.isfinite(at[:, 2]))
    depth[proud] = -_to_surface(at[proud], grid, side)
    return depth
