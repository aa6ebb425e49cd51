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

    Boards side by side along x or y: straight lines across that, where wood is seen.  Along z: where their
    glue planes come out of the wood on that side; in an upright wall, the wall's own line.  Resin has none.
    Accuracy: a slope's line to what is straight between neighbouring cells, a wall's to half a cell.
    """
    lines = glue_lines(layup) if layup is not None else []
    if lines and layup.joined != "along z":
        return [path for line in lines for path in _straight_paths(blank, field, side, layup.axis, line)]
    is_outside = (field.lattice.x() > blank.length) | (field.lattice.y()[:, None] > blank.width)
    if is_shown is not None:
        is_outside |= ~is_shown
    return [path for line in lines for path in _level_paths(field, side, line, is_outside)]


def _straight_paths(blank: Blank, field: Field, side: int, axis: int, line: float) -> list[np.ndarray]:
    """Return stretches of the plane x (axis 0) or y (1) = line with wood seen on a side: (2, 2) mm each."""
    row, column = field.lattice.cell_at(line, line)
    is_wood = field.is_solid & ~field.is_resin(side)
    is_seen = is_wood[int(row)] if axis == 1 else is_wood[:, int(column)]
    ends = np.flatnonzero(np.diff(np.concatenate([[False], is_seen, [False]]))).reshape(-1, 2)
    most = blank.length if axis == 1 else blank.width
    along = np.minimum(field.lattice.origin[1 - axis] + ends * field.lattice.cell, most)
    paths = [np.array([[low, line], [high, line]]) for low, high in along]
    return paths if axis == 1 else [path[:, ::-1] for path in paths]


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
