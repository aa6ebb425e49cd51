"""Where the glue lines of a blank run in a map from above: straight ones, and where level ones come out."""

from __future__ import annotations

import numpy as np
from contourpy import contour_generator  # comes with matplotlib

from simkit.job.layup import glue_lines
from simkit.job.model import Blank, Layup
from simkit.stock.field import Field

SHORTEST = 2.0  # mm: shorter lines are left out of the map
_WALL = 1.0  # mm: heights count to this from the plane, so a wall's line lies between the two cells


def glue_paths(
    layup: Layup | None, blank: Blank, field: Field, side: int, is_shown: np.ndarray | None = None
) -> list[np.ndarray]:
    """Return the glue lines to draw on the map of a side, 1 or 2: each (n, 2) mm, blank frame.

    is_shown (ny, nx) bool: cells of the map that level lines are drawn in, None for all of the blank.

    Boards along y: straight lines along the blank, where wood is seen.  Boards along z: where their glue
    planes come out of the wood on that side; in an upright wall, the wall's own line.  Resin has none.
    Accuracy: a slope's line to what is straight between neighbouring cells, a wall's to half a cell.
    """
    lines = glue_lines(layup) if layup is not None else []
    if lines and layup.joined == "along y":
        return [path for line in lines for path in _straight_paths(blank, field, side, line)]
    is_outside = (field.lattice.x() > blank.length) | (field.lattice.y()[:, None] > blank.width)
    if is_shown is not None:
        is_outside |= ~is_shown
    return [path for line in lines for path in _level_paths(field, side, line, is_outside)]


def _straight_paths(blank: Blank, field: Field, side: int, line: float) -> list[np.ndarray]:
    """Return the stretches of the plane y = line over which wood is seen on a side, each (2, 2) mm."""
    row, _ = field.lattice.cell_at(0.0, line)
    is_seen = (field.is_solid & ~field.is_resin(side))[int(row)]
    ends = np.flatnonzero(np.diff(np.concatenate([[False], is_seen, [False]]))).reshape(-1, 2)
    x = np.minimum(field.lattice.origin[0] + ends * field.lattice.cell, blank.length)
    return [np.array([[low, line], [high, line]]) for low, high in x]


def _level_paths(field: Field, side: int, line: float, is_outside: np.ndarray) -> list[np.ndarray]:
    """Return where the plane z = line comes out of the wood towards a side, each (n, 2) mm."""
    lower, upper = field.lower, field.upper
    is_solid, way = field.is_solid, (1.0 if side == 1 else -1.0)
    value = way * ((upper if side == 1 else lower).astype(np.float64) - line)  # of wood over the plane
    value = np.where(is_solid, np.clip(value, -_WALL, _WALL), -_WALL)
    # Under a lip the plane is seen from the other side alone, and in resin there is none.
    is_hidden = is_solid & ((lower >= line) if side == 1 else (upper <= line))
    if field.wood_upper is not None:
        is_hidden |= is_solid & (lower < line) & (line < upper) & ~_is_wood_at(field, line)
    masked = np.ma.array(value, mask=is_hidden | is_outside)
    x, y = field.lattice.x(), field.lattice.y()
    paths = contour_generator(x, y, masked).lines(0.0)
    return [path for path in paths if np.hypot(*np.diff(path, axis=0).T).sum() >= SHORTEST]


def _is_wood_at(field: Field, line: float) -> np.ndarray:
    return (field.wood_lower < line) & (line < field.wood_upper)
