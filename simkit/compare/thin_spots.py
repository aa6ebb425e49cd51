"""Thin spots: connected places where a wall is thinner than a limit, and a closer look at each."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.walls import Walls, wall_thickness
from simkit.errors import ShapeError
from simkit.stock.field import Lattice


@dataclass(frozen=True, slots=True)
class ThinSpot:
    """One connected spot where the material is, or may be, thinner than a limit.

    thickness, bound mm: at its worst cell (iy, ix).  near, contact (x, y, z) mm, blank frame: the
    two places between which it was measured; near_face, contact_face, near_cell, contact_cell: as
    in Walls.  area mm2 in plan, cells: how many.  target: what the target has there, mm, None where
    it has no wall below the cap.  is_by_design: the target is as thin there.
    """

    thickness: float
    bound: float
    near: tuple[float, float, float]
    contact: tuple[float, float, float]
    near_face: int
    contact_face: int
    near_cell: int
    contact_cell: int
    iy: int
    ix: int
    area: float
    cells: int
    target: float | None
    is_by_design: bool


def thin_cells(
    cut: Walls,
    target: Walls | None,
    limit: float,
    mask: np.ndarray | None = None,
    tolerance: float = 0.1,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return cells thinner than `limit`, or that may be, those the target has as thin, and its thickness.

    Arguments and rules: as in thin_spots.  Returns is_thin, is_wanted (ny, nx) bool, and the least thickness
    of the target within two cells (ny, nx) mm, inf where it has no wall below the cap.
    Raises ShapeError where the arrays do not fit.
    """
    lattice = cut.lattice
    if target is not None and target.lattice.shape != lattice.shape:
        raise ShapeError(f"target walls on {target.lattice.shape}, cut on {lattice.shape}")
    if not limit < cut.cap:
        raise ShapeError(f"limit {limit} must be below the cap {cut.cap} of the walls")
    thickness = np.where(np.isnan(cut.thickness), np.inf, cut.thickness)
    bound = np.nan_to_num(cut.bound, nan=0.0)
    is_thin = thickness - bound < limit
    if mask is not None:
        is_thin &= mask
    wanted, slack = np.full(lattice.shape, np.inf), np.zeros(lattice.shape)
    if target is not None:
        filled = np.where(np.isnan(target.thickness), np.inf, target.thickness)
        size = 2 * max(2, target.stride) + 1
        wanted = ndimage.minimum_filter(filled, size, mode="nearest")
        slack = ndimage.maximum_filter(np.nan_to_num(target.bound, nan=0.0), size, mode="nearest")
    is_wanted = (wanted - slack < limit) & (thickness + bound + slack + tolerance >= wanted)
    return is_thin, is_wanted, wanted


def thin_spots(
    cut: Walls,
    target: Walls | None,
    limit: float,
    mask: np.ndarray | None = None,
    tolerance: float = 0.1,
) -> list[ThinSpot]:
    """Return the connected spots where a wall is thinner than `limit`, or may be; worst first.

    cut, target: wall thickness of what was cut and of the target, on one lattice, cap above limit.
    mask (ny, nx) bool: cells that belong to the part; others (offcut, tabs, frame) are left out.
    tolerance mm: a wall counts as thin by design where the target, within two cells, is below the
    limit and the cut is not thinner than it by more than this and the bounds of both.
    A spot straddles the limit, and is undecided, when thickness < limit + bound only: see `bound`.
    """
    is_thin, is_wanted, wanted = thin_cells(cut, target, limit, mask, tolerance)
    joined = joined_cells(cut, is_thin)
    is_worse = is_thin & ~is_wanted
    # A thin place that is part of a worse one is told with it.
    touched = np.unique(joined[is_worse])
    is_alike = is_thin & is_wanted & ~np.isin(joined, touched)
    spots = [
        _spot(cut, joined, is_here, number, box, wanted, is_by_design)
        for is_here, is_by_design in ((is_worse, False), (is_alike, True))
        for number, box in enumerate(ndimage.find_objects(np.where(is_here, joined, 0)), start=1)
        if box is not None
    ]
    return sorted(spots, key=lambda spot: (spot.is_by_design, spot.thickness, spot.iy, spot.ix))


def joined_cells(cut: Walls, is_thin: np.ndarray) -> np.ndarray:
    """Return the number of the spot that each cell belongs to (ny, nx), 0 for none.

    Cells are one spot when they touch (looking only at every stride-th), or when a wall stands
    between them: the two faces of a rib are one spot.
    """
    cover = is_thin.copy()
    if cut.stride > 1:
        # The window reaches `stride - 1` cells to either side: neighbours that were looked at touch.
        cover = ndimage.binary_dilation(is_thin, np.ones((cut.stride, cut.stride)))
    near, contact = cut.near[is_thin], cut.contact[is_thin]
    if len(near):
        across = np.hypot(*(contact - near)[:, :2].T).max()
        for s in np.linspace(0.0, 1.0, int(across / cut.lattice.cell) + 2):
            place = near + s * (contact - near)
            cover[cut.lattice.cell_at(place[:, 0], place[:, 1])] = True
    return ndimage.label(cover, np.ones((3, 3)))[0]


def _spot(cut: Walls, joined, is_here, number: int, box, wanted, is_by_design: bool) -> ThinSpot:
    """Return the record of the spot `number`, of those cells of it that are in the mask."""
    is_mine = is_here[box] & (joined[box] == number)
    value = np.where(is_mine, cut.thickness[box], np.inf)
    y, x = np.unravel_index(np.argmin(value), value.shape)
    iy, ix = int(y + box[0].start), int(x + box[1].start)
    cells = int(is_mine.sum()) * cut.stride**2
    there = float(wanted[iy, ix])
    return ThinSpot(
        thickness=float(cut.thickness[iy, ix]),
        bound=float(cut.bound[iy, ix]),
        near=tuple(map(float, cut.near[iy, ix])),
        contact=tuple(map(float, cut.contact[iy, ix])),
        near_face=int(cut.near_face[iy, ix]),
        contact_face=int(cut.contact_face[iy, ix]),
        near_cell=int(cut.near_cell[iy, ix]),
        contact_cell=int(cut.contact_cell[iy, ix]),
        iy=iy,
        ix=ix,
        area=cells * cut.lattice.cell**2,
        cells=cells,
        target=there if math.isfinite(there) else None,
        is_by_design=is_by_design,
    )


def look_closer(
    spot: ThinSpot,
    lattice: Lattice,
    surfaces: Callable[[Lattice], tuple[np.ndarray, np.ndarray]],
    divide: int = 4,
    mask: np.ndarray | None = None,
) -> ThinSpot:
    """Return the spot with its worst thickness measured anew on finer cells about it.

    lattice: the one the spot was found on.  surfaces: takes a lattice, returns the lower and the upper
    surface on it, each (ny, nx) mm.  divide: fine cells per cell.  mask (ny, nx) bool over `lattice`:
    only these cells count, as in thin_spots.
    The bound shrinks with the cell.  Area, cells, target and is_by_design stay as they are.
    The spot comes back unchanged when nothing thin is found on the finer cells.
    """
    cap = 1.5 * spot.thickness + lattice.cell
    width = math.ceil(cap / lattice.cell) + 4  # looked from within two cells, and two to spare
    window = lattice.window(
        spot.iy - width, spot.iy + width + 1, spot.ix - width, spot.ix + width + 1, divide
    )
    x, y = np.meshgrid(window.x(), window.y())
    lower, upper = surfaces(window)
    # Only what lies about the spot itself: the window also holds its neighbours.
    far = np.hypot(x - spot.near[0], y - spot.near[1]) > 2 * lattice.cell
    if mask is not None:
        far |= ~mask[lattice.cell_at(x, y)]
    walls = wall_thickness(window, lower, upper, cap, edge_is_face=False, looked=~far)
    value = np.where(far | np.isnan(walls.thickness), np.inf, walls.thickness)
    iy, ix = np.unravel_index(np.argmin(value), value.shape)
    if not math.isfinite(value[iy, ix]):
        return spot
    return replace(
        spot,
        thickness=float(walls.thickness[iy, ix]),
        bound=float(walls.bound[iy, ix]),
        near=tuple(map(float, walls.near[iy, ix])),
        contact=tuple(map(float, walls.contact[iy, ix])),
    )
