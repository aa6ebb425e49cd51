"""Where the glue lines of a blank come out: in a thin wall, or to a feather edge.  No judgement."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.walls import Walls
from simkit.stock.field import Lattice

FEATHER = 15.0  # degrees between a surface and the glue plane; below it the wood runs out to a feather edge
SUSPECT = 20.0  # degrees by samples, which may be some too many: exact heights then decide
SHORTEST = 2.0  # mm: a shorter place is not told, but where upright walls meet an upright plane
_AROUND = 15  # cells over which the direction of a slope in plan is taken: the lattice's stairs have none


@dataclass(frozen=True, slots=True)
class GlueSpot:
    """One connected place where a glue line comes out.

    line mm: where the glue plane lies along its axis.  least: the smallest angle, degrees, or the least wall,
    mm; bound: how far that may be off, None where that is not known.  at (x, y, z) mm: its place, blank
    frame.  size (x, y) mm: of the box round it, known to `known` mm at each end.
    cells (n, 2): row and column of each.  side: 1 or 2, whose surface meets the plane.  walls (nx, 2) mm: of
    an upright plane, the low and high end of the wall in each column of cells.
    """

    line: float
    least: float
    at: tuple[float, float, float]
    size: tuple[float, float]
    known: float
    cells: np.ndarray
    side: int = 1
    bound: float | None = None
    walls: np.ndarray | None = None

    def walls_at(self, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return middle, low and high end of the walls at cells (n, 2), mm (n,) each."""
        low, high = self.walls[cells[:, 1]].T
        return (low + high) / 2, low, high


def feather_spots(
    lattice: Lattice,
    lower: np.ndarray,
    upper: np.ndarray,
    is_asked: tuple[np.ndarray, np.ndarray],
    axis: int,
    line: float,
    below: float = FEATHER,
) -> list[GlueSpot]:
    """Return the places where a surface meets the glue plane at less than `below` degrees, longest first.

    lower, upper (ny, nx) mm: columns, empty where not lower < upper.  is_asked, each (ny, nx) bool: cells
    that count on side 1 and on side 2.  axis: 1 for a plane y = line, 2 for z = line, mm.

    Slopes come from neighbouring cells: exact on a plane.  An upright wall is known to a cell, so one along
    y = line within a cell counts as meeting it; how it runs in plan is taken over _AROUND cells and known to
    3 degrees where it is straight so far.
    """
    lower, upper = np.asarray(lower, float), np.asarray(upper, float)
    is_solid = (upper > lower) & np.isfinite(upper) & np.isfinite(lower)
    if not is_solid.any() or min(lattice.shape) < 2:
        return []
    # Where nothing is left the wood ends in an upright wall, from the one face of the blank to the other.
    top = np.where(is_solid, upper, lower[is_solid].min())
    bottom = np.where(is_solid, lower, upper[is_solid].max())
    met = _meets_upright if axis == 1 else _meets_level
    # Upright walls meet an upright plane in an upright line: in plan that has no length.
    shortest = 0.0 if axis == 1 else SHORTEST
    spots = []
    for side, height in ((1, top), (2, bottom)):
        angle = met(lattice, height, line)
        is_met = (angle < below) & is_asked[side - 1] & is_solid
        walls = _walls_beside(lattice, height, line) if axis == 1 else None
        for spot in _spots(lattice, is_met, angle, np.where(is_solid, height, np.nan), line, shortest):
            spots.append(replace(spot, side=side, walls=walls))
    return sorted(spots, key=lambda spot: -max(spot.size))


def _meets_upright(lattice: Lattice, height: np.ndarray, line: float) -> np.ndarray:
    """Return the angle between the surface and the plane y = line where they meet, else inf (ny, nx)."""
    angle = np.full(lattice.shape, np.inf)
    low = _row_before(lattice, line)
    if not 0 <= low < lattice.ny - 1:
        return angle
    # cos = |n . y| with n = (-hx, -hy, 1) / |n|.  hy is that of the step itself; only the direction in plan
    # is taken over several cells, for a wall aslant in plan is a flight of stairs.
    smooth = ndimage.uniform_filter(height, _AROUND, mode="nearest")
    hy, hx = (part[low : low + 2].mean(axis=0) for part in np.gradient(smooth, lattice.cell))
    share = np.abs(hy) / np.maximum(np.hypot(hx, hy), 1e-12)
    steep = np.abs(height[low + 1] - height[low]) / lattice.cell
    whole = steep / np.maximum(share, 1e-12)  # the slope along its own way down
    cosine = np.where(steep > 0, steep / np.sqrt(1 + whole**2), 0.0)
    angle[low : low + 2] = np.degrees(np.arccos(np.clip(cosine, 0, 1)))
    return angle


def _walls_beside(lattice: Lattice, height: np.ndarray, line: float) -> np.ndarray:
    """Return the lower and the higher of the two rows of cells beside the plane y = line, (nx, 2) mm."""
    low = _row_before(lattice, line)
    return np.sort(height[max(low, 0) : low + 2], axis=0).T


def _row_before(lattice: Lattice, line: float) -> int:
    """Return the row of cell centres before the plane y = line; -1 for none."""
    return math.floor((line - lattice.origin[1]) / lattice.cell - 0.5 + 1e-9)


def _meets_level(lattice: Lattice, height: np.ndarray, line: float) -> np.ndarray:
    """Return the angle between the surface and the plane z = line where they meet, else inf (ny, nx)."""
    above = height - line
    is_met = above == 0
    for one, other in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        crosses = above[one] * above[other] <= 0
        is_met[one] |= crosses
        is_met[other] |= crosses
    slope = np.hypot(*np.gradient(height, lattice.cell))
    return np.where(is_met, np.degrees(np.arctan(slope)), np.inf)


def thin_glue_spots(
    walls: Walls,
    is_asked: np.ndarray,
    limit: float,
    axis: int,
    line: float,
    is_section: np.ndarray | None = None,
) -> list[GlueSpot]:
    """Return the places where a wall thinner than `limit` mm holds the glue plane, longest first.

    The plane (axis, line: as in feather_spots) runs between the two places at which the wall was measured, or
    within half a cell that was looked at of one of them.  is_section (ny, nx) bool, of a level plane: the
    columns that hold it; an upright wall, which is measured at one height alone, counts where its section
    is narrower than the limit, too (to a cell, so one whose thickness changes with its height may be missed).
    """
    slack = walls.stride * walls.lattice.cell / 2 + 1e-6
    ends = np.stack([walls.near[..., axis], walls.contact[..., axis]]) - line
    with np.errstate(invalid="ignore"):
        is_held = (ends.min(axis=0) <= slack) & (ends.max(axis=0) >= -slack)
        is_across = np.zeros_like(is_held)
        if is_section is not None:
            is_across = _is_narrow(is_section, walls.lattice.cell, limit)
        is_thin = (is_held | is_across) & (walls.thickness < limit) & is_asked
    height = np.where(is_across & ~is_held, line, walls.near[..., 2])
    spots = [
        replace(spot, bound=float(walls.bound[walls.lattice.cell_at(*spot.at[:2])]))
        for spot in _spots(walls.lattice, is_thin, walls.thickness, height, line)
    ]
    return sorted(spots, key=lambda spot: -max(spot.size))


def _is_narrow(is_section: np.ndarray, cell: float, limit: float) -> np.ndarray:
    """Return the cells of a section that no disc of `limit` mm across within it covers, bool (ny, nx).

    Its rim lies half a cell before the first centre outside.
    """
    inside = np.pad(is_section, 1)
    middles = ndimage.distance_transform_edt(inside) * cell - cell / 2 >= limit / 2
    if not middles.any():
        return is_section.copy()
    covered = ndimage.distance_transform_edt(~middles) * cell <= limit / 2
    return is_section & ~covered[1:-1, 1:-1]


def _spots(
    lattice: Lattice, is_here, value, height, line: float, shortest: float = SHORTEST
) -> list[GlueSpot]:
    """Return the connected places that are long enough; cells less than SHORTEST apart belong together."""
    reach = max(1, round(SHORTEST / lattice.cell / 2))
    joined, _ = ndimage.label(
        ndimage.binary_dilation(is_here, np.ones((2 * reach + 1,) * 2)), np.ones((3, 3))
    )
    joined = np.where(is_here, joined, 0)
    spots = []
    for number, box in enumerate(ndimage.find_objects(joined), 1):
        if box is None:
            continue
        down, across = ((part.stop - part.start) * lattice.cell for part in box)
        if max(down, across) < shortest:
            continue
        inside = np.where(joined[box] == number, value[box], np.inf)
        iy, ix = np.unravel_index(int(np.argmin(inside)), inside.shape)
        iy, ix = iy + box[0].start, ix + box[1].start
        x, y = lattice.centre_of(iy, ix)
        place = (float(x), float(y), float(height[iy, ix]))
        cells = np.argwhere(joined[box] == number) + np.array([part.start for part in box])
        size = (float(across), float(down))
        spots.append(GlueSpot(line, float(inside.min()), place, size, lattice.cell, cells))
    return spots
