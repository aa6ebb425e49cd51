"""Whether a cell tells more than its sample is off: held against the columns of the cut about it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from simkit.compare.closer import TIE, cropped, measured
from simkit.compare.deviation import CutSurface
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid

COLUMNS = 128  # across, of a window in which one sample is held against the cut


def overrated(
    recut: Callable[[Lattice], Field],
    field: Field,
    grid: TargetGrid,
    side: int,
    cell: tuple[int, int],
    value: float,
) -> bool:
    """Return whether a cell has its value, mm, from its sample, which in truth is less far off.

    From the target to the cut a sample is as far at least as from a surface that keeps between the samples
    about it; what stands between them, narrower than a cell, may be nearer.  So the sample is held against
    the columns of the cut all about it, 2 / COLUMNS of the value wide: it is no farther off than from these.
    recut, field, grid, side, cell: as for `closer_look`.
    """
    field, cell, _ = cropped(field, grid, side, cell)
    around, is_near = envelopes(grid, field.lattice), np.zeros(field.lattice.shape, bool)
    is_near[cell] = True
    least, _ = measured(field, around, grid, side, is_near, (CutSurface(field, side),))
    if abs(least[cell]) < value - TIE:
        return False
    x, y = (float(v) for v in field.lattice.centre_of(*cell))
    edge = 2 * value / COLUMNS
    corner = (x - edge * (COLUMNS + 1) / 2, y - edge * (COLUMNS + 1) / 2)
    window = Lattice(corner, edge, COLUMNS + 1, COLUMNS + 1)
    fine = recut(window)
    heights, cut = CutSurface(fine, side).heights, (field.upper if side == 1 else field.lower)[cell]
    aside = np.hypot(window.x()[None, :] - x, window.y()[:, None] - y)
    way = 1.0 if least[cell] < 0 else -1.0
    target = float(around.side(side)[cell]) * (1.0 if side == 1 else -1.0)
    rise = np.maximum(way * (target - heights), 0.0)
    off = float(grid.distance(np.array([[x, y, float(cut)]]), side if least[cell] < 0 else 0)[0])
    return max(float(np.hypot(aside, rise).min()), off) < value - TIE
