"""Thin spots: connected places where a wall is thinner than a limit, and a closer look at each."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.wall_looks import stood_for
from simkit.compare.walls import Walls, wall_thickness
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field, Lattice

# Of closer looks: mm, fine cells per cell, and fine cells in a row of the window.
FINE, LEAST_DIVIDE, MOST_ACROSS = 0.025, 4, 700
SLACK = 2  # cells: how far from a spot's place its wall is looked for
FIRST = 64  # cells asked at once whether there is wood between their places, then four times as many
TIE = 0.005  # mm: places whose walls differ by less are as thin as each other


@dataclass(frozen=True, slots=True)
class ThinSpot:
    """One connected spot where the material is, or may be, thinner than a limit.

    thickness, bound mm: the least of its cells, and how far that may be off.  iy, ix: the worst cell, or
    one as thin of which both faces were cut.  near, contact (x, y, z) mm, blank frame: the two places
    between which it was measured there; near_face, contact_face: as in Walls.  rows: of the moves that cut
    these two faces, UNCUT where none did or no field tells.  area mm2 in plan, cells: how many.  target:
    what the target has there, mm, None where it has no wall below the cap, and target_bound how far that may
    be off, None where it was not looked at closer.  is_by_design: the target is as thin there.  is_open: it
    may be or not.  lost mm: by how much the wall is shorter than the target's along the line through both
    places, true to lost_bound, inf where the target goes on; None where it was not looked at closer.
    """

    thickness: float
    bound: float
    near: tuple[float, float, float]
    contact: tuple[float, float, float]
    near_face: int
    contact_face: int
    rows: tuple[int, int]
    iy: int
    ix: int
    area: float
    cells: int
    target: float | None
    is_by_design: bool
    target_bound: float | None = None
    is_open: bool = False
    lost: float | None = None
    lost_bound: float = 0.0


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
    field: Field | None = None,
) -> list[ThinSpot]:
    """Return the connected spots where a wall is thinner than `limit`, or may be; worst first.

    cut, target: wall thickness of what was cut and of the target, on one lattice, cap above limit.
    mask (ny, nx) bool: cells that belong to the part; others (offcut, tabs, frame) are left out.
    tolerance mm: a wall counts as thin by design where the target, within two cells, is below the
    limit and the cut is not thinner than it by more than this and the bounds of both.  field: what `cut`
    was measured on; where several places are as thin, one is told of which moves cut both faces.
    A spot straddles the limit, and is undecided, when thickness < limit + bound only: see `bound`.
    """
    is_thin, is_wanted, wanted = thin_cells(cut, target, limit, mask, tolerance)
    joined = joined_cells(cut, is_thin)
    is_worse = is_thin & ~is_wanted
    # A thin place that is part of a worse one is told with it.
    touched = np.unique(joined[is_worse])
    is_alike = is_thin & is_wanted & ~np.isin(joined, touched)
    spots = [
        _spot(cut, joined, is_here, number, box, wanted, is_by_design, field)
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


def _spot(
    cut: Walls, joined, is_here, number: int, box, wanted, is_by_design: bool, field: Field | None
) -> ThinSpot:
    """Return the record of the spot `number`, of those cells of it that are in the mask."""
    is_mine = is_here[box] & (joined[box] == number)
    value = np.where(is_mine, cut.thickness[box], np.inf)
    y, x = np.unravel_index(np.argmin(value), value.shape)
    first = box[0].start, box[1].start
    least = y + first[0], x + first[1]
    iy, ix = _told_cell(cut, value, first, float(value[y, x]) + TIE, field)
    cells = _count(cut, is_here, joined, number, box)
    there = float(wanted[iy, ix])
    return ThinSpot(
        thickness=float(cut.thickness[least]),
        bound=float(cut.bound[least]),
        **_place(cut, iy, ix, field),
        iy=iy,
        ix=ix,
        area=cells * cut.lattice.cell**2,
        cells=cells,
        target=there if math.isfinite(there) else None,
        is_by_design=is_by_design,
    )


def _count(cut: Walls, is_here: np.ndarray, joined: np.ndarray, number: int, box) -> int:
    """Return of how many cells a spot is, with those that its own stand for."""
    window = tuple(slice(one.start // cut.stride * cut.stride, one.stop + cut.stride) for one in box)
    is_mine = is_here[window] & (joined[window] == number)
    return int(stood_for(cut.stride, cut.looked[window], is_mine).sum())


def _told_cell(
    walls: Walls, value: np.ndarray, first: tuple[int, int], most: float, field: Field | None
) -> tuple[int, int]:
    """Return the cell (iy, ix) of the least value, of those to `most` of which both faces were cut if any.

    value (h, w) mm: of the cells from `first` (iy, ix) on, inf where it does not count.
    """
    iy, ix = np.nonzero(value <= most)
    value, iy, ix = value[iy, ix], iy + first[0], ix + first[1]
    if field is not None:
        is_cut = (np.stack(walls.rows(field, iy, ix)) != UNCUT).all(axis=0)
        if is_cut.any():
            value, iy, ix = value[is_cut], iy[is_cut], ix[is_cut]
    nth = np.argmin(value)
    return int(iy[nth]), int(ix[nth])


def _place(walls: Walls, iy: int, ix: int, field: Field | None) -> dict:
    """Return what a ThinSpot tells of the two faces of a cell."""
    rows = (UNCUT, UNCUT) if field is None else tuple(int(row) for row in walls.rows(field, iy, ix))
    return {
        "near": tuple(map(float, walls.near[iy, ix])),
        "contact": tuple(map(float, walls.contact[iy, ix])),
        "near_face": int(walls.near_face[iy, ix]),
        "contact_face": int(walls.contact_face[iy, ix]),
        "rows": rows,
    }


IsWall = Callable[[np.ndarray, np.ndarray, np.ndarray, float], np.ndarray]
Surfaces = Callable[[Lattice], tuple[np.ndarray, np.ndarray, Field | None]]


def look_closer(
    spot: ThinSpot,
    lattice: Lattice,
    surfaces: Surfaces,
    divide: int | None = None,
    mask: np.ndarray | None = None,
    is_wall: IsWall | None = None,
) -> ThinSpot | None:
    """Return the spot with its worst thickness measured anew on finer cells about it.

    lattice: the one the spot was found on.  surfaces: takes a lattice, returns the lower and the upper
    surface on it, each (ny, nx) mm, and the field that tells who cut them, or None.  divide: fine cells
    per cell; None: so many that one is no wider than FINE, from LEAST_DIVIDE up to where the window has
    MOST_ACROSS.  mask (ny, nx) bool over `lattice`: only these cells count, as in thin_spots.
    The bound shrinks with the cell.  Told is the place with the least thickness, or one that is as thin
    within TIE or the bound and of which both faces were cut.  All else stays as it is.
    is_wall: takes pairs of places (n, 3), the diameters there and the cell, and tells which have a wall
    between; others are passed over.  The spot comes back unchanged when nothing thin is found on the finer
    cells, None when none of what is thin there is a wall.
    """
    cap = max(1.5 * spot.thickness + lattice.cell, spot.thickness + spot.bound)
    about = lattice.x()[spot.ix], lattice.y()[spot.iy]
    # Only what lies about the spot itself: the window also holds its neighbours.
    near, within = spot.near[:2], SLACK * lattice.cell
    walls, field = _fine_walls(lattice, surfaces, cap, about, near, within, divide, mask)
    value = np.where(np.isnan(walls.thickness), np.inf, walls.thickness)
    if not np.isfinite(value).any():
        return spot
    if is_wall is not None and not _pass_over(walls, value, is_wall):
        return None
    least = np.unravel_index(np.argmin(value), value.shape)
    thickness, bound = float(walls.thickness[least]), float(walls.bound[least])
    iy, ix = _told_cell(walls, value, (0, 0), thickness + max(bound, TIE), field)
    if is_wall is not None and not _are_walls(walls, np.array([iy * walls.lattice.nx + ix]), is_wall)[0]:
        iy, ix = least
    return replace(spot, thickness=thickness, bound=bound, **_place(walls, iy, ix, field))


def _pass_over(walls: Walls, value: np.ndarray, is_wall: IsWall) -> bool:
    """Set values (ny, nx) mm to inf up to the least with wood between its places; whether there is one."""
    order, begin, many = np.argsort(value, axis=None, kind="stable"), 0, FIRST
    order = order[: np.isfinite(value).sum()]
    while begin < len(order):
        cells = order[begin : begin + many]
        is_real = _are_walls(walls, cells, is_wall)
        first = int(np.argmax(is_real)) if is_real.any() else len(cells)
        value.reshape(-1)[cells[:first]] = np.inf
        if first < len(cells):
            return True
        begin, many = begin + many, 4 * many
    return False


def _are_walls(walls: Walls, cells: np.ndarray, is_wall: IsWall) -> np.ndarray:
    """Return of cells (n,), as flat indices, whether there is a wall between their places (n,)."""
    near, contact = (one.reshape(-1, 3)[cells] for one in (walls.near, walls.contact))
    return is_wall(near, contact, walls.thickness.reshape(-1)[cells], walls.lattice.cell)


def elsewhere(
    spot: ThinSpot, walls: Walls, is_mine: np.ndarray, is_wall: IsWall, field: Field | None
) -> ThinSpot | None:
    """Return a spot as told of its thinnest cell with wood between its two places, None where none has.

    is_mine (ny, nx) bool: the cells of the spot that may be told.
    """
    value = np.where(is_mine, walls.thickness, np.inf)
    if not _pass_over(walls, value, is_wall):
        return None
    iy, ix = (int(one) for one in np.unravel_index(np.argmin(value), value.shape))
    thickness, bound = float(walls.thickness[iy, ix]), float(walls.bound[iy, ix])
    return replace(
        spot, thickness=thickness, bound=bound, iy=iy, ix=ix, target=None, **_place(walls, iy, ix, field)
    )


def wall_there(
    spot: ThinSpot, lattice: Lattice, surfaces: Surfaces, cap: float, mask: np.ndarray | None = None
) -> tuple[float, float] | None:
    """Return how thick another body is where a spot is, and how far that may be off, mm; None: above `cap`.

    Of all largest balls inside the body that hold the middle of the spot's wall, or come within two cells of
    it, the least: the walls of both may lie anywhere beside each other.  lattice, surfaces, mask: as for
    look_closer, of the other body.
    """
    middle = (np.array(spot.near) + np.array(spot.contact)) / 2
    slack = SLACK * lattice.cell
    # From the nearer face of a wall its middle is no farther than half of it.
    walls, _ = _fine_walls(lattice, surfaces, cap, middle[:2], middle[:2], cap / 2 + slack, None, mask)
    iy, ix = np.nonzero(np.isfinite(walls.thickness))
    near, contact = (one[iy, ix].astype(np.float64) for one in (walls.near, walls.contact))
    thickness = walls.thickness[iy, ix]
    away = np.linalg.norm((near + contact) / 2 - middle, axis=1)
    is_there = away <= thickness / 2 + slack
    if not is_there.any():
        return None
    least = int(np.argmin(np.where(is_there, thickness, np.inf)))
    return float(thickness[least]), float(walls.bound[iy[least], ix[least]])


def _fine_walls(
    lattice: Lattice, surfaces: Surfaces, cap: float, about, near, within: float, divide: int | None, mask
) -> tuple[Walls, Field | None]:
    """Return walls up to `cap` on finer cells about a place (x, y), and the field of them.

    Looked at are cells within `within` mm of `near` (x, y), in the mask; the window reaches far enough for
    what they face.
    """
    iy, ix = (int(one) for one in lattice.cell_at(*about))
    off = math.hypot(near[0] - about[0], near[1] - about[1])
    width = math.ceil((cap + max(within, off)) / lattice.cell) + 2
    if divide is None:
        most = MOST_ACROSS // (2 * width + 1)
        divide = max(LEAST_DIVIDE, min(math.ceil(lattice.cell / FINE - 1e-6), most))
    window = lattice.window(iy - width, iy + width + 1, ix - width, ix + width + 1, divide)
    x, y = np.meshgrid(window.x(), window.y())
    looked = np.hypot(x - near[0], y - near[1]) <= within
    if mask is not None:
        looked &= mask[lattice.cell_at(x, y)]
    lower, upper, field = surfaces(window)
    return wall_thickness(window, lower, upper, cap, edge_is_face=False, looked=looked), field
