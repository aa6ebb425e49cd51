"""From the target to the cut, between the samples: faces that may be far from what is left, or from air."""

from __future__ import annotations

import math

import numpy as np
from scipy import ndimage

from simkit.compare.sweeps import Sweeps
from simkit.stock.workers import share_ranges
from simkit.target.grid import TargetGrid

MOST_FACES = 1_000_000  # squares of faces, likewise
AT_ONCE = 100_000  # squares that are halved together: what MOST_FACES bounds does not hang on the part's size
MOST_FINE = 120_000  # of them where a verdict hangs on it
LOOKS = 1_000_000  # places asked in one go
TURNS = 2 * np.pi * np.arange(16) / 16
WAYS = np.column_stack([np.cos(TURNS), np.sin(TURNS)])
SHARES = (0.35, 0.7, 1.0)  # of what may be: so far away a face looks for the cut in all these ways,
ALL = np.vstack([np.zeros((1, 2)), *(share * WAYS for share in SHARES)])
FEW = np.vstack([np.zeros((1, 2)), SHARES[0] * WAYS[::4], SHARES[2] * WAYS[::4]])
# Where a verdict hangs on it: 64 ways, and close enough along them that what is narrow is met.
FINE_TURNS = 2 * np.pi * np.arange(64) / 64
FINE_WAYS = np.column_stack([np.cos(FINE_TURNS), np.sin(FINE_TURNS)])
FINE = np.vstack([np.zeros((1, 2)), *(share * FINE_WAYS for share in np.linspace(1, 16, 16) / 16)])
# Some places of a stage, which often settle a square: it is asked at all of them where they do not.
MIDDLE = np.zeros((1, 2))
FINE_PARTS = (FINE[1::8], FINE[5::8], FINE[3::4])
ALL_PARTS = (MIDDLE, FEW)
FINE_STAGE = (FINE_PARTS, FINE)
# Or about the best place so far: steps, as shares of what may be.
NEARER = (0.25, 0.12, 0.06, 0.03, 0.015)
NEAREST = (0.0075, 0.004, 0.002, 0.001, 0.0005)  # and nearer where a verdict hangs on it
NEAR_WAYS = np.vstack([np.zeros((1, 2)), WAYS[::2]])
STEEP_SHARES = (0.0, 0.35, 0.9)  # or in the way in which it is steep
SMOOTH, SMOOTH_SHARE = 0.002, 0.02  # mm, share of what may be: relief that says no more than this
LAST = (0.005, 0.125)  # half edge of the last squares of faces, mm and share of what may be
CLOSE = 0.003  # the same share where a verdict hangs on it
FACE_SLACK = 5e-6  # mm: rounding; less than what decides a verdict
NARROW = 1e-5  # mm: half edge of the smallest squares in which the farthest place is looked for
CORNERS = np.array([[-1.0, -1.0], [1.0, -1.0], [-1.0, 1.0], [1.0, 1.0]])


def at_border(may: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells (ny, nx) near which a deviation may be larger, or is not asked: `may` is +inf there.

    Near: as far as the largest deviation that may be; cell: edge of a cell, mm.
    """
    known = np.where(np.isfinite(may), may, np.inf)
    reach = int(np.ceil(np.max(np.abs(known), where=np.isfinite(known), initial=0.0) / cell)) + 1
    return ndimage.maximum_filter(known, 2 * reach + 1, mode="constant", cval=np.inf) > known


def far_faces(
    sweeps: Sweeps,
    grid: TargetGrid,
    x,
    y,
    half: float,
    cell,
    may,
    is_gouge: bool,
    is_border,
    last=LAST,
    quarters: Quarters | None = None,
) -> tuple:
    """Return flat cells over which the target may be farther from material or air than it may, with places.

    x, y, cell (k,): squares; half mm.  may: how far, by flat cell, mm.  last: half edge of the last squares,
    mm and as a share of what may be; smaller than LAST where a verdict hangs on it.  quarters: of the
    squares, of a gouge, where others ask for them too.  Returns cell, x, y,
    distance (m,).
    Where the target keeps between two parallel planes close together all about, it is farther from the cut by
    no more than what lies between these than the cut is from it, which is proved already: the end of the
    way along their normal to where material would be too far lies below all of them.  So only squares of more
    relief than SMOOTH, or SMOOTH_SHARE of what may be, are asked, and those of cells that are is_border (by
    flat cell), beside which more may be; all others are settled to that much.  Nor is a square asked over
    which material straight below, or air straight above, is near enough for certain.  There the cut is
    known exactly at the middle of each and beside it in the way the target is steep, and at the best place of
    the square that it was halved from; for the last squares at places all about it, then nearer and nearer to
    the best of these; those that this does not settle are returned.  A cell is given up as a whole once
    the middle of a square of it is far from all of these.
    Where a verdict hangs on it, one cell that stays open settles that the rest need not be known: what coarse
    squares leave open is looked at again a few cells at a time, the worst first, and once some of them stay
    open the rest are returned unasked, with what may be as their distance.
    """
    faces = _Faces(sweeps, grid, is_gouge)
    rows = np.flatnonzero(may[cell] > 0)
    x, y, cell = x[rows], y[rows], cell[rows]

    def halved(mine: np.ndarray, last: tuple[float, float]) -> tuple:
        known = None if quarters is None else (quarters, rows[mine])
        return _halved(faces, x[mine], y[mine], half, cell[mine], may, is_border, last, known)

    parts = [halved(mine, LAST) for mine in _by_cells(cell, AT_ONCE)]
    open_still = tuple(np.concatenate(part) for part in zip(*parts, strict=True))
    if last == LAST or not len(open_still[0]):
        return open_still
    worst = worst_of(open_still[0], open_still[3])
    worst = worst[np.lexsort((open_still[0][worst], -open_still[3][worst]))]  # ties to the lowest cell
    cells, far_x, far_y, _ = (part[worst] for part in open_still)
    first, count = 0, 1
    while first < len(cells):
        mine = np.flatnonzero(np.isin(cell, cells[first : first + count]))
        found = halved(mine, last)
        first, count = first + count, 4 * count
        if len(found[0]):
            break
    rest = (cells[first:], far_x[first:], far_y[first:], may[cells[first:]])
    return tuple(np.concatenate(parts) for parts in zip(found, rest, strict=True))


def at_places(sweeps: Sweeps, grid: TargetGrid, x, y, may, is_gouge: bool) -> np.ndarray:
    """Return how far the target is from material or air at places (k,), mm (k,): at most, and closely.

    x, y (k,) mm: places.  may (k,) mm: how far it may be; less is told as any such distance.
    """
    faces, at = _Faces(sweeps, grid, is_gouge), np.full((len(x), 4), np.nan)
    at[:, :2] = np.column_stack([x, y])
    return faces.off(x, y, 0.0, may, [(ALL_PARTS, ALL), NEARER, FINE_STAGE, NEAREST], at)[0]


def farthest(
    sweeps: Sweeps, grid: TargetGrid, x, y, half, may, is_gouge: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the places in squares (k,) where the target is farthest from material or air: x, y, off (k,) mm.

    x, y, half, may (k,) mm: squares, and how far it may be.  Of each the quarter that may be the farthest is
    quartered again, down to NARROW: the crest of a knife's edge or the tip of a spike is found so, which
    the middle of no square meets.  off: at these places, as `at_places` tells it; no less than at the middle.
    """
    off = at_places(sweeps, grid, x, y, may, is_gouge)
    rows = np.flatnonzero(off <= may + FACE_SLACK)
    if not len(rows):
        return x, y, off
    faces = _Faces(sweeps, grid, is_gouge)
    at = np.column_stack([x[rows], y[rows]])
    edge, asked, n = np.broadcast_to(half, len(x))[rows].copy(), may[rows].repeat(4), len(rows)
    for _ in range(max(math.ceil(math.log2(edge.max() / NARROW)), 0)):
        edge /= 2
        quarters = (at[:, None] + edge[:, None, None] * CORNERS).reshape(-1, 2)
        known, most = np.full((4 * n, 4), np.nan), np.empty(4 * n)
        known[:, :2] = quarters
        for size in np.unique(edge):
            mine = np.flatnonzero(edge.repeat(4) == size)
            stages = [(ALL_PARTS, ALL), NEARER]
            most[mine] = faces.off(*quarters[mine].T, size, asked[mine], stages, known[mine])[0]
        at = quarters.reshape(n, 4, 2)[np.arange(n), np.argmax(most.reshape(n, 4), axis=1)]
    found = at_places(sweeps, grid, *at.T, may[rows], is_gouge)
    better = found > off[rows]
    x, y = x.copy(), y.copy()
    x[rows[better]], y[rows[better]] = at[better].T
    off[rows[better]] = found[better]
    return x, y, off


def worst_of(cell: np.ndarray, off: np.ndarray) -> np.ndarray:
    """Return for each cell one of its squares, the one that is off most (m,), among cell, off (k,)."""
    order = np.lexsort((off, cell))
    is_end = np.r_[cell[order][1:] != cell[order][:-1], True] if len(order) else np.empty(0, bool)
    return order[is_end]


def _by_cells(cell: np.ndarray, most: int) -> list[np.ndarray]:
    """Return rows of cell (k,) in parts of about `most`: all rows of a cell are in one, in their order."""
    if len(cell) <= most:
        return [np.arange(len(cell))]
    edges = np.unique(np.sort(cell)[most::most])
    part = np.searchsorted(edges, cell, side="right")
    return [np.flatnonzero(part == number) for number in range(len(edges) + 1)]


def _halved(
    faces: _Faces, x, y, half: float, cell, may, is_border, last: tuple[float, float], known=None
) -> tuple:
    """Return the squares that halving down to the last ones leaves open, as `far_faces` does.

    known: quarters, and which row of these each square is.
    """
    from simkit.compare.far_faces_kernels import target_relief, uphill

    sweeps, grid, is_gouge = faces.sweeps, faces.grid, faces.is_gouge
    far = [(cell[:0], x[:0], y[:0], np.empty(0))]
    first, is_fine = half, last != LAST
    most = MOST_FINE if is_fine else MOST_FACES
    unknown = np.full(len(x), np.nan)
    at = np.column_stack([x, y, unknown, unknown])  # of each: the best place so far, the cut at its middle
    quarters, number = known or (None, None)
    number = np.full(len(x), -1) if number is None else number  # of a square among those first given
    while len(cell):
        # What often settles a square comes first, what takes long last: the order changes nothing else.
        if is_gouge and half < first and len(cell):  # material straight below is near enough?
            if quarters is not None and half == first / 2:
                keep = ~np.isnan(quarters.lowest(number[::4])[0].ravel())
            else:
                keep = sweeps.may_be_deeper(x, y, half, may[cell], grid)
            x, y, cell, at, number = x[keep], y[keep], cell[keep], at[keep], number[keep]
        if not is_gouge and half < first and len(cell):  # or air straight above?
            keep = _may_be_higher(sweeps, grid, x, y, half, may[cell], at)
            x, y, cell, at, number = x[keep], y[keep], cell[keep], at[keep], number[keep]
        off, at = faces.off(x, y, half, may[cell], [((MIDDLE,), None)], at)
        keep = off > may[cell] + FACE_SLACK
        x, y, cell, at, number = x[keep], y[keep], cell[keep], at[keep], number[keep]
        keep = is_border[cell]
        inner = np.flatnonzero(~keep)
        relief, least = np.empty(len(inner)), np.maximum(SMOOTH, SMOOTH_SHARE * may[cell[inner]])
        about = (x[inner], y[inner], half, may[cell[inner]], least, *faces.triangles, relief)
        share_ranges(lambda a, b, s=about: target_relief(a, b, *s), len(inner), 256)
        keep[inner] = relief > least
        x, y, cell, at, number = x[keep], y[keep], cell[keep], at[keep], number[keep]
        is_last = half <= np.maximum(last[0], last[1] * may[cell])
        # On a steep face material is nearest uphill, and air downhill.
        ways, small = np.zeros((len(x), 2)), np.flatnonzero(half * np.sqrt(2.0) < may[cell])
        found = np.empty((len(small), 2))
        about = (x[small], y[small], half, *faces.triangles, found)
        share_ranges(lambda a, b, s=about: uphill(a, b, *s), len(small), 256)
        ways[small] = found
        steep = (1 if is_gouge else -1) * np.array(STEEP_SHARES)[:, None] * ways[:, None]
        off, at = faces.off(x, y, half, may[cell], [steep], at)
        left = np.flatnonzero(off > may[cell] + FACE_SLACK)
        x, y, cell, off, at, is_last = x[left], y[left], cell[left], off[left], at[left], is_last[left]
        number = number[left]
        if (half <= np.maximum(LAST[0], LAST[1] * may[cell])).any():
            # Halved squares are settled sooner than larger ones by more places.
            off, at = _worst_first(faces, x, y, half, may[cell], cell, at, off, is_last, [FEW, ALL, NEARER])
            if is_fine and is_last.any():
                off, at = _worst_first(
                    faces, x, y, half, may[cell], cell, at, off, is_last, [FINE_STAGE, NEAREST]
                )
            left = np.flatnonzero(off > may[cell] + FACE_SLACK)
            x, y, cell, off, at, is_last = x[left], y[left], cell[left], off[left], at[left], is_last[left]
            number = number[left]
        if not is_last.any():
            # Where not even the middle of the worst square is near enough, halving will not help its cell.
            worst = worst_of(cell, off)
            every = [(ALL_PARTS, ALL), NEARER, FINE_STAGE, NEAREST]
            stages = every if is_fine else every[:1]
            point, _ = faces.off(x[worst], y[worst], 0.0, may[cell[worst]], stages, at[worst])
            lost = worst[point > may[cell[worst]] + FACE_SLACK]
            far.append((cell[lost], x[lost], y[lost], off[lost]))
            keep = ~np.isin(cell, cell[lost])
            x, y, cell, off, at, is_last = x[keep], y[keep], cell[keep], off[keep], at[keep], is_last[keep]
            number = number[keep]
        if 4 * len(cell) > most:
            is_last[:] = True
        far.append((cell[is_last], x[is_last], y[is_last], off[is_last]))
        x, y, cell, at, number = (part[~is_last] for part in (x, y, cell, at, number))
        half /= 2
        x = (x[:, None] + half * np.array([-1, 1, -1, 1])).ravel()
        y = (y[:, None] + half * np.array([-1, -1, 1, 1])).ravel()
        cell, at, number = cell.repeat(4), at.repeat(4, axis=0), number.repeat(4)
        at[:, 3] = np.nan
    return tuple(np.concatenate(part) for part in zip(*far, strict=True))


def _may_be_higher(sweeps: Sweeps, grid: TargetGrid, x, y, half: float, may, at) -> np.ndarray:
    """Return over which squares the cut may stand more than it may over the target, upright (k,) bool.

    x, y, may (k,), half mm.  at (k, 4): of which the cut at the middle is filled in where it is asked.
    Of squares that are small beside what may be places tell sooner.
    """
    keep = np.ones(len(x), bool)
    rows = np.flatnonzero(half * np.sqrt(8.0) > may)
    if len(rows):
        at[rows, 3], owner = sweeps.cut(np.column_stack([x[rows], y[rows]]), sweeps.start)
        up, _ = sweeps.highest(x[rows], y[rows], half, may[rows], owner, grid, is_quick=True)
        keep[rows] = ~np.isnan(up)
    return keep


def _worst_first(faces: _Faces, x, y, half: float, may, cell, at, off, is_last, stages) -> tuple:
    """Return off and at of squares (k,), (k, 4), after those not settled yet are asked in more stages.

    The worst of each cell comes first: where it is the last and stays open so does its cell, and the others
    of that cell are not asked.  Else these are asked about the place that settled it first, which for most of
    them is near enough to the nearest one.
    """
    off, at = off.copy(), at.copy()

    def ask(rows, stages, begin) -> None:
        found, best = faces.off(x[rows], y[rows], half, may[rows], stages, begin)
        is_less = found < off[rows]
        off[rows[is_less]], at[rows[is_less]] = found[is_less], best[is_less]

    left = np.flatnonzero(off > may + FACE_SLACK)
    worst = left[worst_of(cell[left], off[left])]
    ask(worst, stages, at[worst])
    open_still = worst[is_last[worst] & (off[worst] > may[worst] + FACE_SLACK)]
    rest = np.setdiff1d(left, worst)
    rest = rest[~np.isin(cell[rest], cell[open_still])]
    if len(rest):
        order = np.argsort(cell[worst])
        first = worst[order[np.searchsorted(cell[worst][order], cell[rest])]]
        ask(rest, [NEARER], np.column_stack([at[first, :3], at[rest, 3]]))
        rest = rest[off[rest] > may[rest] + FACE_SLACK]
    ask(rest, stages, at[rest])
    return off, at


class Quarters:
    """Where sweeps may lie deeper than they may over the quarters of squares, asked once for each square.

    x, y, below (k,), half mm: squares, and how deep a sweep may lie over each.
    """

    def __init__(self, sweeps: Sweeps, grid: TargetGrid, x, y, half: float, below):
        self.sweeps, self.grid = sweeps, grid
        self.x, self.y, self.half, self.below = x, y, half, below
        self.place = np.full(len(x), -1)  # of each square among those asked so far
        self.low, self.slopes = np.empty((0, 2, 2)), np.empty((0, 2, 2, 2))

    def lowest(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return what `Sweeps.lowest` tells of the quarters of chosen squares (m, 2, 2), (m, 2, 2, 2)."""
        new = rows[self.place[rows] < 0]
        if len(new):
            self.place[new] = len(self.low) + np.arange(len(new))
            below = np.repeat(self.below[new], 4).reshape(-1, 2, 2)
            half = np.full(len(new), self.half)
            found = self.sweeps.lowest(self.x[new], self.y[new], half, below, 1, self.grid)
            self.low, self.slopes = (
                np.concatenate(both) for both in zip((self.low, self.slopes), found, strict=True)
            )
        return self.low[self.place[rows]], self.slopes[self.place[rows]]


class _Faces:
    """Faces of the target that a cut may be far from, for `far_faces`."""

    def __init__(self, sweeps: Sweeps, grid: TargetGrid, is_gouge: bool):
        self.sweeps, self.grid, self.is_gouge = sweeps, grid, is_gouge
        self.triangles = grid.faces(sweeps.side)

    def off(self, x, y, half: float, may, stages, at) -> tuple[np.ndarray, np.ndarray]:
        """Return how far faces over squares may be from material or air, mm (k,), and the best places (k, 4).

        x, y, may (k,), half mm: squares, and how far it may be; +inf: not asked, for a square larger than
        what may be is not settled by anything.  at (k, 4) mm: a place to begin with, the cut's height there
        and at the middle, NaN where not known yet, as it is returned for the best places.  stages: places
        that are asked, one stage after the other until a square is settled, as shares of what may be less the
        square itself: (n, 2) about its middle, or (k, n, 2); NEARER, NEAREST: about the best so far, nearer
        and nearer to it; (parts, whole): as a whole, if there is one, only where no part settles the square.
        """
        off, at, most = np.full(len(x), np.inf), at.copy(), may - half * np.sqrt(2.0)

        def ask(stage, share: float = 1.0, is_part: bool = False) -> None:
            left = np.flatnonzero((most > 0) & (off > may + FACE_SLACK))
            at_once = LOOKS // (1 if stage is NEAR_WAYS else stage.shape[-2])
            for rows in np.split(left, range(at_once, len(left), at_once)) if len(left) else []:
                if stage is NEAR_WAYS:
                    places = at[rows, None, :2] + most[rows, None, None] * share * NEAR_WAYS
                else:
                    aside = stage if stage.ndim == 2 else stage[rows]
                    places = np.column_stack([x[rows], y[rows]])[:, None] + most[rows, None, None] * aside
                    places = np.concatenate([at[rows, None, :2], places], axis=1)
                cut = np.full(places.shape[:2], np.nan)
                cut[:, 0] = at[rows, 2]
                is_middle = stage is not NEAR_WAYS and not aside[..., 0, :].any()
                if is_middle:
                    cut[:, 1] = at[rows, 3]
                found, best = self._off(x[rows], y[rows], half, places, cut, is_part)
                if is_middle:
                    at[rows, 3] = cut[:, 1]
                # What a part leaves open is as it was: the faces of a square may be near different places.
                is_less = found < off[rows]
                if is_part:
                    is_less &= found <= may[rows] + FACE_SLACK
                off[rows[is_less]], at[rows[is_less], :3] = found[is_less], best[is_less]

        for stage in stages:
            if stage is NEARER or stage is NEAREST:
                for share in stage:
                    ask(NEAR_WAYS, share)
                continue
            parts, whole = stage if isinstance(stage, tuple) else ((), stage)
            for part in parts:
                ask(part, is_part=True)
            if whole is not None:
                ask(whole)
        return off, at

    def _off(self, x, y, half: float, places, cut, is_part: bool) -> tuple[np.ndarray, np.ndarray]:
        """Return how far faces over squares may be from the cut at places (k, n, 2), mm; the best (k, 3).

        cut (k, n) mm: at these places, NaN where it is not known, which is filled in; the best: with the cut.
        is_part: a first place where it is not known is left out.
        """
        from simkit.compare.far_faces_kernels import faces_off

        sign = 1.0 if self.is_gouge else -1.0
        if is_part:
            cut[:, 0] = np.where(np.isnan(cut[:, 0]), -sign * np.inf, cut[:, 0])
        is_new = np.isnan(cut)
        cut[is_new], _ = self.sweeps.cut(places[is_new], self.sweeps.start)
        off, which = np.empty(len(x)), np.empty(len(x), np.int64)
        arrays = (
            x, y, half, sign, places, cut, *self.triangles, off, which,
        )  # fmt: skip
        share_ranges(lambda a, b, s=arrays: faces_off(a, b, *s), len(x), 256)
        rows = np.arange(len(x))
        return off, np.column_stack([places[rows, which], cut[rows, which]])
