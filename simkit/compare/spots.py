"""Connected spots of cells, each with its worst value and place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.target.envelope import Envelopes

JOINED = 4.0  # mm: hidden cells this close together are one place to a person
TIE = 1e-4  # mm: values this close to the worst are as bad


@dataclass(frozen=True, slots=True)
class Spot:
    """Cells that touch each other at an edge or a corner.

    value: the largest in size, with its sign.  cell (iy, ix): where, to 1e-4 mm of value; at (x, y) mm:
    that cell's centre.
    centre (x, y) mm: the middle of all cells.  cells: how many; area mm2, of cells in plan.
    box (iy0, iy1, ix0, ix1): the cells' rows and columns, last not included.
    """

    value: float
    cell: tuple[int, int]
    at: tuple[float, float]
    centre: tuple[float, float]
    cells: int
    area: float
    box: tuple[int, int, int, int]


def spots(values: np.ndarray, mask: np.ndarray, lattice: Lattice, gap: float = 0.0) -> list[Spot]:
    """Return the connected spots (8 neighbours) of a mask, worst first.

    values (ny, nx): finite where mask; mask (ny, nx) bool; lattice: theirs.  gap mm: spots whose cells
    come as near as this are one (a rim of scattered cells is, whatever the cells' size).
    Among cells within TIE of the worst the one nearest to the spot's middle is named (a flat spot is
    named by its middle, not by a corner); ties go to the lower row, then column.  Area counts whole
    cells: it is off by up to half a cell along the spot's rim.
    """
    from scipy import ndimage

    if values.shape != lattice.shape or mask.shape != lattice.shape:
        raise ShapeError(f"values {values.shape} and mask {mask.shape} must be {lattice.shape}")
    label, count = labelled(mask, gap / lattice.cell)
    if count == 0:
        return []
    flat = np.flatnonzero(mask)
    of = label.ravel()[flat]
    size = np.abs(values.ravel()[flat].astype(np.float64))
    worst = ndimage.maximum(size, of, np.arange(1, count + 1))
    iy, ix = np.divmod(flat, lattice.nx)
    cells = np.bincount(of, minlength=count + 1)[1:]
    middle_y = np.bincount(of, weights=iy, minlength=count + 1)[1:] / cells
    middle_x = np.bincount(of, weights=ix, minlength=count + 1)[1:] / cells
    away = (iy - middle_y[of - 1]) ** 2 + (ix - middle_x[of - 1]) ** 2
    order = np.lexsort((flat, away, size < worst[of - 1] - TIE, of))
    first = order[np.r_[True, np.diff(of[order]) > 0]]
    boxes = ndimage.find_objects(label)
    found = []
    for k in np.lexsort((flat[first], -worst)):
        row, column = int(iy[first[k]]), int(ix[first[k]])
        x, y = lattice.centre_of(row, column)
        centre_x, centre_y = lattice.centre_of(middle_y[k], middle_x[k])
        rows, columns = boxes[k]
        found.append(
            Spot(
                value=float(np.copysign(worst[k], values[row, column])),
                cell=(row, column),
                at=(float(x), float(y)),
                centre=(float(centre_x), float(centre_y)),
                cells=int(cells[k]),
                area=float(cells[k]) * lattice.cell**2,
                box=(rows.start, rows.stop, columns.start, columns.stop),
            )
        )
    return found


def labelled(mask: np.ndarray, gap: float) -> tuple[np.ndarray, int]:
    """Return the number of the spot of each cell (ny, nx), 0 outside, and how many; gap in cells."""
    from scipy import ndimage

    all_eight = np.ones((3, 3), dtype=int)
    label, count = ndimage.label(mask, structure=all_eight)
    if count < 2 or gap <= 2:
        return label, count
    near = ndimage.distance_transform_edt(~mask) <= gap / 2
    joined, count = ndimage.label(near, structure=all_eight)
    return np.where(mask, joined, 0), count


def hidden(envelopes: Envelopes, least: float = 0.05) -> list[Spot]:
    """Return spots where neither side can see some of the target's surface, worst first.

    envelopes: of the target.  least mm: shorter voids are left out (facets of a coarse mesh).
    Spot.value is the length of column inside the outline that is not part, mm, exact at cell centres;
    nothing can be cut away there from the two sides.  A wall that leans a little under is hidden in single
    cells along it: those within JOINED of each other are one spot.
    """
    return spots(envelopes.void, envelopes.void > least, envelopes.lattice, JOINED)
