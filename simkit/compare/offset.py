"""Whether what one side cut lies off the part as a whole: a misplaced zero, or a wrong thickness."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.deviation import Deviation
from simkit.compare.offset_search import alike_shifts
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field
from simkit.target.envelope import Envelopes

STEEPEST = 2.0  # rise over run: on steeper places a cell says too little of where the surface lies
BEND = 0.25  # of slope from cell to cell: more is an edge
MOST_CELLS = 200_000
ROUNDS = 12  # of reweighting
LEAST_SEEN = 0.04  # least eigenvalue of the mean square of directions: about 11 degrees of slope
LEAST_CELLS = 100
THROUGH = 0.1  # mm: a cut that leaves no more of the part went through it, and tells of no height
LEAST_MOVED = 0.02  # mm: a shift in plan that is fitted once more from there
LEFT_BEYOND = 0.5  # of all cells beyond, at most, with a shift of millimetres taken back
LEAST_BEYOND = 0.02  # share of cells beyond their limit: less is no shift of the whole side


@dataclass(frozen=True)
class SideOffset:
    """Where the cut of one side lies off the target, as one shift.

    side: 1 or 2.  shift (3,) mm, blank frame; 0 along directions that the surface cannot show.
    before, after: share of the cells looked at that are beyond their limit, as cut and with the shift
    taken back.  rough mm: how far it may be off in plan on a part that shows no slopes; 0 where only slopes
    tell it.  bound (3,) mm: how far the shift may be off, 0 along directions that the surface cannot show.
    by_seam: whether x and y are as the seam with the other side tells them, of compare.seam_offset.
    is_refuted: cut again with the shift taken back the side does not come right, of compare.offset_proof.
    """

    side: int
    shift: tuple[float, float, float]
    before: float
    after: float
    rough: float = 0.0
    bound: tuple[float, float, float] = (0.0, 0.0, 0.0)
    by_seam: tuple[bool, bool] = (False, False)
    is_refuted: bool = False

    @property
    def is_the_cause(self) -> bool:
        """Whether the shift explains nearly all that is beyond the limits on this side."""
        return not self.is_refuted and self.before > LEAST_BEYOND and self.after <= self.before / 5


def side_offset(
    field: Field,
    envelopes: Envelopes,
    found: Deviation,
    gouge: np.ndarray,
    leftover: np.ndarray,
    allowance: np.ndarray | None = None,
    is_far: bool = False,
) -> SideOffset | None:
    """Return the shift that brings the cut of a side nearest to the target; None when too little was cut.

    field, envelopes: on one lattice.  found: deviation of the side.  gouge, leftover (ny, nx) mm: limits.
    allowance (2, ny, nx) mm: left on purpose, None for nothing.  is_far: only the larger shifts are asked, of
    what was cut alone, as where the small one is refuted: floors too deep may be all that it saw.

    Least squares on vertical deviations v = z - gx x - gy y over smooth cells that a move cut, cells
    far off reweighted to nothing (Tukey's biweight, P. J. Huber, Robust Statistics, 1981, from memory).
    Error: second order in the shift times the curvature of the part, ridges and facets; `bound` is what
    these and the distances left over by the fit would make of it if all pulled the same way.  A shift that
    is the cause is fitted once more from where it leads.  Where the cut goes through the part, as one that
    only follows the outline does in a wrong place, its depth tells of no shift along z.  Where no small shift
    explains what is beyond, larger ones in plan at which cut and part look alike (`offset_search`) are begun
    from; as those count what nobody cut, too, they must also leave less beyond than there is of all cells.
    A proof it is not: that is of `offset_proof`.
    """
    if field.lattice != envelopes.lattice or field.lattice != found.lattice:
        raise ShapeError("field, envelopes and deviation stand on different lattices")
    sides = _Side(field, envelopes, found, gouge, leftover, allowance)
    beyond = sides.beyond()
    near = sides.fitted(is_asked=beyond > LEAST_BEYOND)
    is_told = near is not None
    if is_told and near.is_the_cause and not is_far:
        return sides.closer(near)
    if not is_told and not sides.is_through.any():
        return near
    before = max(near.before if is_told else 0.0, beyond)
    if before <= LEAST_BEYOND:
        return near
    best = None if is_far else near
    for cells, apart in alike_shifts(sides.cut(), sides.surface, field.lattice.cell):
        one = sides.fitted(cells, before, apart, is_cut_alone=is_far) if cells != (0, 0) else None
        if is_far and one is not None and one.is_the_cause:
            return one  # the most alike: floors alone would bear others as well
        if is_far or one is None or one.after > beyond * LEFT_BEYOND:
            continue
        if one.is_the_cause and (best is None or one.after < best.after):
            best = one
    return best


class _Side:
    """Cut and target of one side, for `side_offset`."""

    def __init__(self, field, envelopes, found, gouge, leftover, allowance):
        self.field, self.found, self.side = field, found, found.side
        self.sign = 1.0 if found.side == 1 else -1.0
        self.surface = self.sign * envelopes.side(found.side)
        self.limits = (gouge, leftover)
        self.allowance = None if allowance is None else allowance[0]
        self.is_through = self.cut() <= self.sign * envelopes.side(3 - found.side) + THROUGH
        self.owner = field.upper_move if found.side == 1 else field.lower_move

    def cut(self) -> np.ndarray:
        """Return the heights of the cut along the side's axis, mm (ny, nx); -inf where nothing is left."""
        heights = self.field.upper if self.side == 1 else -self.field.lower
        return np.where(self.field.is_solid, heights.astype(np.float64), -np.inf)

    def beyond(self) -> float:
        """Return the share of all cells of the part, steep ones too, that are beyond their limit."""
        normal = self.found.normal[np.isfinite(self.surface)]
        gouge, leftover = (one[np.isfinite(self.surface)] for one in self.limits)
        with np.errstate(invalid="ignore"):
            return float(((normal < -gouge) | (normal > leftover)).mean())

    def closer(self, one: SideOffset) -> SideOffset:
        """Return a shift fitted again from where it leads, so that slopes that change matter no more."""
        cells = (one.shift[1] / self.field.lattice.cell, one.shift[0] / self.field.lattice.cell)
        if max(map(abs, one.shift[:2])) < LEAST_MOVED:
            return one
        again = self.fitted(cells, one.before, is_cut_alone=True)
        return one if again is None else replace(one, shift=again.shift, bound=again.bound)

    def fitted(
        self,
        cells: tuple[float, float] = (0, 0),
        before: float | None = None,
        rough: float = 0.0,
        is_asked: bool = True,
        is_cut_alone: bool = False,
    ) -> SideOffset | None:
        """Return the shift near one by cells (rows, columns), None when too little was cut.

        before: share that is beyond as it is; None to find it here, without such a shift.  With one, what no
        move cut counts too, unless is_cut_alone, and what is empty is beyond: the part would lie where none
        was made.
        rough mm: how far apart such shifts were tried.  is_asked: it is fitted even where too little is
        beyond for it to be a cause.
        """
        cell, is_here = self.field.lattice.cell, cells == (0, 0)
        surface = _moved(self.surface, cells)
        gouge, leftover = (_moved(one, cells) for one in self.limits)
        gy, gx = np.gradient(surface, cell)
        bend = np.zeros(surface.shape)
        for slope in (gx, gy):
            for axis in (0, 1):
                step = np.abs(np.diff(slope, axis=axis, prepend=np.nan))
                bend = np.maximum(bend, step)
        with np.errstate(invalid="ignore"):
            is_good = (np.hypot(gx, gy) <= STEEPEST) & (bend <= BEND)
        is_good &= np.isfinite(surface) & np.isfinite(gouge) & np.isfinite(leftover)
        vertical = self.found.vertical if is_here else self.cut() - surface
        if is_here or is_cut_alone:
            is_good &= (self.owner != UNCUT) & self.field.is_solid & np.isfinite(vertical) & ~self.is_through
        rows = np.flatnonzero(is_good)
        if len(rows) < LEAST_CELLS:
            return None
        rows = rows[:: len(rows) // MOST_CELLS + 1]
        gx, gy = gx.ravel()[rows], gy.ravel()[rows]
        slant = np.sqrt(1 + gx**2 + gy**2)
        value = vertical.ravel()[rows].astype(np.float64)
        if self.allowance is not None:
            value = value - _moved(self.allowance, cells).ravel()[rows] * slant
        # Along the normal, so that each cell counts alike whatever its slope.
        directions = np.column_stack([-gx, -gy, np.ones(len(rows))]) / slant[:, None]
        value = value / slant
        is_solid = np.isfinite(value)
        if is_solid.sum() < LEAST_CELLS:
            return None
        gouge, leftover = gouge.ravel()[rows], leftover.ravel()[rows]

        def share(value: np.ndarray) -> float:
            return float(((value < -gouge) | (value > leftover)).mean())

        shares = [share(value)] * 2
        shift = bound = np.zeros(3)
        if is_asked or shares[0] > LEAST_BEYOND:
            # What a slope that changes over the shift makes of a distance, for each square mm of shift; and
            # over half a cell, to each side, where the surface was interpolated.
            curve = (bend.ravel()[rows] / (2 * cell) / slant)[is_solid]
            between = cell**2 / 2 if is_cut_alone else 0.0
            shift, bound = _fitted(directions[is_solid], value[is_solid], curve, between)
            shares[1] = share(value - directions @ shift)
        whole = np.array([cells[1] * cell, cells[0] * cell, 0.0]) + (1.0, 1.0, self.sign) * shift
        return SideOffset(
            self.side,
            tuple(float(part) for part in whole),
            shares[0] if before is None else before,
            shares[1],
            rough,
            tuple(float(part) for part in np.maximum(bound, (rough, rough, 0.0))),
        )


def _moved(array: np.ndarray, cells: tuple[float, float]) -> np.ndarray:
    """Return an array (ny, nx) moved by cells (rows, columns), NaN where nothing comes to lie.

    By parts of cells it is interpolated in straight lines.
    """
    if cells == (0, 0):
        return array
    if any(part != int(part) for part in cells):
        return ndimage.shift(np.asarray(array, np.float64), cells, order=1, cval=np.nan)
    moved = np.full(array.shape, np.nan)
    ny, nx = array.shape
    (ky, kx) = cells
    moved[max(ky, 0) : ny + min(ky, 0), max(kx, 0) : nx + min(kx, 0)] = array[
        max(-ky, 0) : ny - max(ky, 0), max(-kx, 0) : nx - max(kx, 0)
    ]
    return moved


def _fitted(directions, value, curve, between) -> tuple[np.ndarray, np.ndarray]:
    """Return the shift (3,) that fits the values best, cells far off counting little or nothing; its bound.

    directions (n, 3), value (n,) mm.  curve (n,) 1/mm: half the curvature there.  between mm2: what adds to
    the square of the shift in plan, for an interpolated surface.
    """
    weight = np.ones(len(value))
    shift = bound = np.zeros(3)
    for _ in range(ROUNDS):
        square = (directions * weight[:, None]).T @ directions / weight.sum()
        size, axes = np.linalg.eigh(square)
        is_seen = size > LEAST_SEEN
        solved = (axes * np.where(is_seen, 1 / np.where(is_seen, size, 1.0), 0.0)) @ axes.T
        pull = solved @ (directions * weight[:, None]).T / weight.sum()  # (3, n): the shift is pull @ value
        shift = pull @ value
        rest = np.abs(value - directions @ shift)
        bound = np.abs(pull) @ (rest + curve * (np.abs(shift[:2]).sum() ** 2 + between))
        scale = max(1.4826 * float(np.median(rest)), 0.005)
        weight = np.maximum(1 - (rest / (4.685 * scale)) ** 2, 0.0) ** 2
        if weight.sum() < LEAST_CELLS / 2:
            break
    return shift, bound
