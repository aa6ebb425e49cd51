"""Between the cell centres: where no sample shows it, may a cut lie deeper in the part than its limit?

Squares of many cells are proved free of it at once, by a plane: the sweep of a convex cutter along a line
lies nowhere below its tangent plane, the target nowhere above its triangles.  What is not proved is halved.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from simkit._jit import pointer
from simkit.compare.far_faces import (
    CLOSE,
    FACE_SLACK,
    LAST,
    Quarters,
    at_border,
    far_faces,
    farthest,
    worst_of,
)
from simkit.compare.overhang import removed_below
from simkit.compare.sweeps import LEVELS, Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import LINE, make_moves
from simkit.stock.field import Lattice
from simkit.stock.height_kernels import CELL_HEIGHTS
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

CHUNK = 2048  # blocks proved in one go
FLOOR = 0.01  # mm: squares of a smaller half edge are not halved again
MOST_SQUARES = 3_000_000  # nor are more than these
FEW_SQUARES, FINE = 100_000, 5e-5  # nor more than so many whose half edge is less than this, mm


@dataclass
class Unproved:
    """Cells over which a deviation may be larger than it may, and a place in each.

    is_found (ny, nx) bool.  away (ny, nx) mm: how far from material, or air, the target was seen to be at
    a place in each of them where that is more than it may, else 0.  away_at (ny, nx, 2) mm: that place, in
    plan.  place() gives for some of them where the largest deviation was met, in plan; where none was, the
    place that was settled least.
    """

    is_found: np.ndarray
    away: np.ndarray = field(init=False)
    away_at: np.ndarray = field(init=False)
    _met: list[tuple] = field(default_factory=list)

    def __post_init__(self):
        self.away = np.zeros(self.is_found.shape)
        self.away_at = np.zeros((*self.is_found.shape, 2))

    def add(self, cell, x, y, size, is_met: bool = True) -> None:
        """Add places x, y (k,) mm of flat cells (k,), with the deviation there, mm (k,).

        is_met: it was met there, else only not ruled out.
        """
        self.is_found.ravel()[cell] = True
        self._met.append((cell, x, y, size, np.full(len(cell), is_met)))

    def see(self, cell, x, y, off, sweeps: Sweeps, grid: TargetGrid, may, is_gouge: bool) -> None:
        """Keep how far the target is from the cut where its faces were not proved to be near it.

        cell, x, y, off (k,): of `far_faces`.  may: by flat cell, mm.
        """
        worst = worst_of(cell, off)
        cell, x, y = cell[worst], x[worst], y[worst]
        half = np.maximum(LAST[0], LAST[1] * may[cell])  # no square that was halved to the last is larger
        x, y, away = farthest(sweeps, grid, x, y, half, may[cell], is_gouge)
        self.away.ravel()[cell] = np.where(away > may[cell] + FACE_SLACK, away, 0.0)
        self.away_at.reshape(-1, 2)[cell] = np.column_stack([x, y])

    def largest(self) -> np.ndarray:
        """Return the largest deviation that was met in each cell, mm (ny, nx); 0 where none was."""
        return self.largest_at()[0]

    def largest_at(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the largest deviation met in each cell, mm (ny, nx), and its place in plan (ny, nx, 2)."""
        largest, at = np.zeros(self.is_found.size), np.zeros((self.is_found.size, 2))
        if self._met:
            cell, x, y, size, is_met = (np.concatenate(parts) for parts in zip(*self._met, strict=True))
            rows = np.flatnonzero(is_met & (size > 0))
            worst = rows[worst_of(cell[rows], size[rows])]
            largest[cell[worst]], at[cell[worst]] = size[worst], np.column_stack([x[worst], y[worst]])
        return largest.reshape(self.is_found.shape), at.reshape(*self.is_found.shape, 2)

    def not_ruled_out(self, is_asked: np.ndarray) -> float:
        """Return the most that was not ruled out in the asked cells where nothing was met, mm; 0 for none."""
        most = 0.0
        for cell, _, _, size, is_met in self._met:
            mine = ~is_met & is_asked.ravel()[cell]
            most = max(most, float(size.max(where=mine, initial=0.0)))
        return most

    def place(self, is_asked: np.ndarray) -> tuple[tuple[int, int], tuple[float, float]] | None:
        """Return the cell (iy, ix) and place (x, y) mm of the largest deviation met in the asked cells."""
        worst = self.worst(is_asked)
        return None if worst is None else worst[:2]

    def worst(self, is_asked: np.ndarray) -> tuple | None:
        """Return the cell (iy, ix) and place (x, y) mm of the largest deviation met in the asked cells, its
        size, mm, and whether it was met there; else the place that was settled least, and its bound.
        """
        if not self._met:
            return None
        cell, x, y, size, is_met = (np.concatenate(parts) for parts in zip(*self._met, strict=True))
        mine = np.flatnonzero(is_asked.ravel()[cell])
        if not len(mine):
            return None
        # Ties go to the lowest cell, so that the order in which squares were halved does not matter.
        k = mine[np.lexsort((x[mine], y[mine], cell[mine], -size[mine], ~is_met[mine]))[0]]
        iy, ix = divmod(int(cell[k]), self.is_found.shape[1])
        return (iy, ix), (float(x[k]), float(y[k])), float(size[k]), bool(is_met[k])


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
    changes by at most the distance moved (under lips and beside walls that lean over only as the middle
    shows it), and by the distance of a plane's corners to one triangle, which nothing between them exceeds.
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

    def quarters_of(x, y, half: float, cell) -> Quarters:
        return Quarters(sweeps, grid, x, y, half, np.where(may[cell] < 0, -np.inf, may[cell]))

    quarters, number = None, np.arange(len(cell))  # number: of a square in its quarters
    if with_faces:
        is_border = at_border(np.where(is_asked, deepest, np.inf), lattice.cell).ravel()
        if 4 * len(cell) <= MOST_SQUARES:  # kept for all of them at once
            quarters = quarters_of(x, y, half, cell)
        far = far_faces(sweeps, grid, x, y, half, cell, may, True, is_border, _last(floor), quarters)
        found.add(*far, is_met=False)
        found.see(*far, sweeps, grid, may, True)
        number = np.flatnonzero(~is_found[cell])
        x, y, cell, low, slopes = x[number], y[number], cell[number], low[number], slopes[number]
    while len(cell):
        depth = _deepest_over(x, y, half, low, slopes, may[cell], grid, sweeps)
        left = np.flatnonzero(depth > may[cell])
        x, y, cell, number = x[left], y[left], cell[left], number[left]
        if _is_enough(half, len(cell), floor):
            known = low[left], slopes[left], may[cell], grid, sweeps
            found.add(cell, x, y, _deepest_over(x, y, half, *known, is_told=True), is_met=False)
            break
        exact = sweeps.heights(np.column_stack([x, y]))
        depth = _most_deep(x, y, exact, may[cell], grid, sweeps)
        is_deep = depth > may[cell]
        found.add(cell[is_deep], x[is_deep], y[is_deep], depth[is_deep])
        is_left = ~is_found[cell]
        x, y, cell, number = x[is_left], y[is_left], cell[is_left], number[is_left]
        if not len(cell):
            break
        if quarters is None:
            quarters, number = quarters_of(x, y, half, cell), np.arange(len(cell))
        low, slopes = quarters.lowest(number)
        quarters = None
        half /= 2
        k, row, column = np.nonzero(~np.isnan(low))
        low, slopes = low[k, row, column], slopes[k, row, column]
        x, y, cell = x[k] + half * (2 * column - 1), y[k] + half * (2 * row - 1), cell[k]
        number = np.arange(len(cell))
    return found


def _last(floor: float) -> tuple[float, float]:
    """Return how small the last squares of faces are, for `far_faces`: smaller where more is asked."""
    return LAST if floor >= FLOOR else (min(max(floor, FINE), LAST[0]), CLOSE)


def _is_enough(half: float, squares: int, floor: float) -> bool:
    """Return whether so many squares of such half edges, mm, are not halved again."""
    return half <= floor or 4 * squares > (MOST_SQUARES if half > FINE else FEW_SQUARES)


def _deepest_over(
    x, y, half: float, low, slopes, may, grid: TargetGrid, sweeps: Sweeps, is_told: bool = False
) -> np.ndarray:
    """Return the most that a cut above planes over squares can be deep, mm (k,).

    low (k,), slopes (k, 2): the planes as `Sweeps.lowest` gives them.  The higher, the less deep.
    is_told: the value is told; else it only has to be more than `may` where it is, and what lies at the
    middle of a square wider than that cannot settle it.
    """
    away = half * np.sqrt(2.0)
    depth = np.full(len(x), np.inf)
    near = np.flatnonzero((may < 0) | (away <= may) | is_told)
    depth[near] = _most_deep(x[near], y[near], low[near], may[near], grid, sweeps) + away
    rows = np.flatnonzero((depth > may) & (may >= 0))
    middle = low[rows] + half * np.abs(slopes[rows]).sum(axis=1)
    depth[rows] = np.minimum(
        depth[rows], _corners_off(x[rows], y[rows], half, middle, slopes[rows], grid, sweeps.side)
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
            is_border = at_border(np.where(is_asked, highest, np.inf), lattice.cell).ravel()
            far = far_faces(sweeps, grid, x, y, half, cell, may, False, is_border, _last(floor))
            found.add(*far, is_met=False)
            found.see(*far, sweeps, grid, may, False)
            left = np.flatnonzero(~is_found[cell])
            x, y, cell, up, slopes = x[left], y[left], cell[left], up[left], slopes[left]
        off = _proudest_over(x, y, half, up, slopes, may[cell], grid, sweeps.side)
        left = np.flatnonzero(off > may[cell])
        x, y, cell = x[left], y[left], cell[left]
        if _is_enough(half, len(cell), floor):
            known = up[left], slopes[left], may[cell], grid, sweeps.side
            found.add(cell, x, y, _proudest_over(x, y, half, *known, is_told=True), is_met=False)
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


def _proudest_over(
    x, y, half: float, up, slopes, may, grid: TargetGrid, side: int, is_told: bool = False
) -> np.ndarray:
    """Return the most that a cut below planes over squares can stand off the target, mm (k,).

    up (k,), slopes (k, 2): the planes as `Sweeps.highest` gives them.  The lower, the less proud.
    is_told: as for `_deepest_over`.
    """
    away = half * np.sqrt(2.0)
    off = np.full(len(x), np.inf)
    near = np.flatnonzero((away <= may) | is_told)
    off[near] = _most_proud(x[near], y[near], up[near], grid, side) + away
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
    # A square that only its smoothness settles, and one at a border that nothing settles.
    x, y = grid.target.bounds.mean(axis=0)[:2, None].repeat(2, axis=1)
    far_faces(sweeps, grid, x, y, LAST[0], np.arange(2), np.ones(2), True, np.array([True, False]))


def _nothing(code, a, places, n, g):
    """Stand in for cell_heights where no height is asked for."""


def _most_deep(x, y, heights, may, grid: TargetGrid, sweeps: Sweeps) -> np.ndarray:
    """Return how deep places lie in the target, mm (k,); negative outside where `may` is, else 0 there.

    heights (k,): along the side's axis; below the part they count as its underside.  sweeps: what tells
    which walls that lean over are bare.
    """
    side = sweeps.side
    sign = 1.0 if side == 1 else -1.0
    lower, upper = grid.heights(np.column_stack([x, y]))
    top, bottom = (upper, lower) if side == 1 else (-lower, -upper)
    is_in = heights < top  # False beside the part
    depth = np.where(np.isnan(top) | (may >= 0), 0.0, -np.inf)
    at = np.column_stack([x, y, sign * np.where(is_in, np.maximum(heights, bottom), heights)])
    rows = np.flatnonzero(is_in)
    depth[rows] = grid.distance(at[rows], side)
    deep = rows[depth[rows] > np.maximum(may[rows], 0.0)]
    depth[deep] = removed_below(at[deep], depth[deep], grid, side, sweeps.is_bare)
    proud = np.flatnonzero(~is_in & (may < 0) & np.isfinite(at[:, 2]))
    depth[proud] = -_to_surface(at[proud], grid, side)
    return depth
