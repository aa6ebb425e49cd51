"""Whether what one side cut lies off the part as a whole: a misplaced zero, or a wrong thickness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare.deviation import Deviation
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field
from simkit.target.envelope import Envelopes

STEEPEST = 2.0  # rise over run: on steeper places a cell says too little of where the surface lies
BEND = 0.25  # of slope from cell to cell: more is an edge
MOST_CELLS = 200_000
ROUNDS = 12  # of reweighting
LEAST_SEEN = 0.04  # least eigenvalue of the mean square of directions: about 11 degrees of slope
LEAST_CELLS = 100


@dataclass(frozen=True)
class SideOffset:
    """Where the cut of one side lies off the target, as one shift.

    side: 1 or 2.  shift (3,) mm, blank frame; 0 along directions that the surface cannot show.
    before, after: share of the cells looked at that are beyond their limit, as cut and with the shift
    taken back.
    """

    side: int
    shift: tuple[float, float, float]
    before: float
    after: float

    @property
    def is_the_cause(self) -> bool:
        """Whether the shift explains nearly all that is beyond the limits on this side."""
        return self.before > 0.02 and self.after <= self.before / 5


def side_offset(
    field: Field,
    envelopes: Envelopes,
    found: Deviation,
    gouge: np.ndarray,
    leftover: np.ndarray,
    allowance: np.ndarray | None = None,
) -> SideOffset | None:
    """Return the shift that brings the cut of a side nearest to the target; None when too little was cut.

    field, envelopes: on one lattice.  found: deviation of the side.  gouge, leftover (ny, nx) mm: limits.
    allowance (2, ny, nx) mm: left on purpose, None for nothing.

    Least squares on vertical deviations v = z - gx x - gy y over smooth cells that a move cut, cells
    far off reweighted to nothing (Tukey's biweight, P. J. Huber, Robust Statistics, 1981, from memory).
    Error: second order in the shift times the curvature of the part; meant to name a cause, not to
    measure it.
    """
    if field.lattice != envelopes.lattice or field.lattice != found.lattice:
        raise ShapeError("field, envelopes and deviation stand on different lattices")
    upper = found.side == 1
    sign = 1.0 if upper else -1.0
    owner = field.upper_move if upper else field.lower_move
    surface = sign * envelopes.side(found.side)
    gy, gx = np.gradient(surface, field.lattice.cell)
    bend = np.zeros(surface.shape)
    for slope in (gx, gy):
        for axis in (0, 1):
            step = np.abs(np.diff(slope, axis=axis, prepend=np.nan))
            bend = np.maximum(bend, step)
    with np.errstate(invalid="ignore"):
        is_good = (np.hypot(gx, gy) <= STEEPEST) & (bend <= BEND) & (owner != UNCUT) & field.is_solid
    is_good &= np.isfinite(found.vertical) & np.isfinite(gouge) & np.isfinite(leftover)
    rows = np.flatnonzero(is_good)
    if len(rows) < LEAST_CELLS:
        return None
    rows = rows[:: len(rows) // MOST_CELLS + 1]
    gx, gy = gx.ravel()[rows], gy.ravel()[rows]
    slant = np.sqrt(1 + gx**2 + gy**2)
    value = found.vertical.ravel()[rows].astype(np.float64)
    if allowance is not None:
        value = value - allowance[0].ravel()[rows] * slant
    # Along the normal, so that each cell counts alike whatever its slope.
    directions = np.column_stack([-gx, -gy, np.ones(len(rows))]) / slant[:, None]
    value = value / slant
    shift = _fitted(directions, value)
    gouge, leftover = gouge.ravel()[rows], leftover.ravel()[rows]
    after = value - directions @ shift
    shares = [float(((one < -gouge) | (one > leftover)).mean()) for one in (value, after)]
    return SideOffset(found.side, (float(shift[0]), float(shift[1]), float(sign * shift[2])), *shares)


def _fitted(directions: np.ndarray, value: np.ndarray) -> np.ndarray:
    """Return the shift (3,) that fits the values best, cells far off counting little or nothing."""
    weight = np.ones(len(value))
    shift = np.zeros(3)
    for _ in range(ROUNDS):
        square = (directions * weight[:, None]).T @ directions / weight.sum()
        size, axes = np.linalg.eigh(square)
        is_seen = size > LEAST_SEEN
        right = (directions * weight[:, None]).T @ value / weight.sum()
        parts = np.where(is_seen, axes.T @ right / np.where(is_seen, size, 1.0), 0.0)
        shift = axes @ parts
        rest = np.abs(value - directions @ shift)
        scale = max(1.4826 * float(np.median(rest)), 0.005)
        weight = np.maximum(1 - (rest / (4.685 * scale)) ** 2, 0.0) ** 2
        if weight.sum() < LEAST_CELLS / 2:
            break
    return shift
