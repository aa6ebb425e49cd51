"""Second looks: cells whose range of deviation straddles a limit are cut again on finer cells.

At a step (an upright wall) a sample says little of what lies between it and the next: the step may be
anywhere between two cell centres.  There the range `normal` to `most` of a deviation is wide.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simkit.compare.closer import measured
from simkit.compare.deviation import CutSurface, Deviation
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid

DIVIDE = 16  # fine cells to a cell
BLOCK = 4  # cells along the edge of a block that is cut again in one go
MARGIN = 1  # cells around a block, so that a step at its rim is seen


def second_look(
    deviation: Deviation,
    field: Field,
    grid: TargetGrid,
    recut: Callable[[Lattice], Field],
    gouge: float,
    leftover: float,
) -> Deviation:
    """Return the deviation with every straddling cell replaced by the worst of its finer cells.

    deviation: of `field` against the target of `grid`.  recut(lattice): the same job on other cells.
    gouge, leftover mm: the limits; a cell straddles one when |normal| is within and |most| beyond it.
    A cell so looked at holds the worst value on cells of a sixteenth (`normal`, the least that is
    certain there, and `most`); what still straddles has a range of up to 2.9 fine cells.
    """
    limit = np.where(deviation.vertical < 0, gouge, leftover)
    is_open = (np.abs(deviation.most) > limit) & (np.abs(deviation.normal) <= limit)
    if not is_open.any():
        return deviation
    normal, most = deviation.normal.copy(), deviation.most.copy()
    ny, nx = deviation.lattice.shape
    rows, columns = np.nonzero(is_open)
    coarse = CutSurface(field, deviation.side)
    for block in np.unique(rows // BLOCK * (nx // BLOCK + 1) + columns // BLOCK):
        iy, ix = block // (nx // BLOCK + 1) * BLOCK, block % (nx // BLOCK + 1) * BLOCK
        box = (
            max(iy - MARGIN, 0),
            min(iy + BLOCK + MARGIN, ny),
            max(ix - MARGIN, 0),
            min(ix + BLOCK + MARGIN, nx),
        )
        window = deviation.lattice.window(*box, divide=DIVIDE)
        fine = recut(window)
        around = envelopes(grid, window)
        surfaces = (coarse.without(box), CutSurface(fine, deviation.side))
        here = is_open[box[0] : box[1], box[2] : box[3]]
        is_near = np.repeat(np.repeat(here, DIVIDE, axis=0), DIVIDE, axis=1)
        least, largest = measured(fine, around, grid, deviation.side, is_near, surfaces)
        for y, x in zip(*np.nonzero(here), strict=True):
            inside = (
                slice(y * DIVIDE, (y + 1) * DIVIDE),
                slice(x * DIVIDE, (x + 1) * DIVIDE),
            )
            cell = (box[0] + y, box[2] + x)
            normal[cell] = _worst(least[inside], gouge, leftover)
            most[cell] = _worst(largest[inside], gouge, leftover)
    return replace(deviation, normal=normal, most=most)


def _worst(values: np.ndarray, gouge: float, leftover: float) -> float:
    """Return the value that is farthest beyond its own limit, as a part of it; 0 without values."""
    is_value = ~np.isnan(values)
    if not is_value.any():
        return 0.0
    values = values[is_value]
    share = np.abs(values) / np.where(values < 0, max(gouge, 1e-9), max(leftover, 1e-9))
    return float(values[np.argmax(share)])
