"""Feather edges at glue planes, where samples suspect them: the angle from exact heights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simkit.compare.glue import FEATHER, SUSPECT, GlueSpot, feather_spots
from simkit.stock.field import Lattice
from simkit.stock.steps import AtPoints

Columns = Callable[[np.ndarray], AtPoints]
MOST = 1000  # places asked of one spot
_HALVINGS = 16  # of four cells, for the place of a wall: some 0.01 mm in a thousand
_SIDES = ((1, 0), (-1, 0), (0, 1), (0, -1))


def feathers(
    lattice: Lattice,
    lower: np.ndarray,
    upper: np.ndarray,
    is_asked: tuple[np.ndarray, np.ndarray],
    columns: Columns,
    axis: int,
    line: float,
) -> list[GlueSpot]:
    """Return the feather edges at a glue plane: of glue.feather_spots those that exact heights tell, too.

    Arguments as there, of columns as in feather_edges; axis: 0, 1 or 2 for a plane x, y or z = line, mm.
    """
    if axis != 0:
        suspected = feather_spots(lattice, lower, upper, is_asked, axis, line, SUSPECT)
        return feather_edges(suspected, lattice, columns, axis)
    # A plane x = line is the plane y = line of what is mirrored at x = y.
    mirrored = Lattice(lattice.origin[::-1], lattice.cell, lattice.ny, lattice.nx)
    found = feathers(
        mirrored,
        np.ascontiguousarray(lower.T),
        np.ascontiguousarray(upper.T),
        tuple(np.ascontiguousarray(one.T) for one in is_asked),
        lambda points: columns(np.ascontiguousarray(points[:, ::-1])),
        1,
        line,
    )
    return [
        replace(
            spot,
            at=(spot.at[1], spot.at[0], spot.at[2]),
            size=spot.size[::-1],
            cells=spot.cells[:, ::-1],
            walls=None,  # of the mirrored columns
        )
        for spot in found
    ]


def feather_edges(spots: list[GlueSpot], lattice: Lattice, columns: Columns, axis: int) -> list[GlueSpot]:
    """Return those of the suspected spots where exact heights tell a feather edge, too, with its angle.

    spots: of glue.feather_spots.  columns(points (n, 2)): what is left, exact at any points.  axis: 1 for
    planes y = line, 2 for z = line.
    The angle is the mean over two cells about a place, its bound by how much it is another over half of
    that.  Between the places of the spot, a cell apart (or more, where there are over MOST), it may be less.
    """
    measure = _level if axis == 2 else _upright
    found = []
    for spot in spots:
        stride = -(-len(spot.cells) // MOST)
        cells = spot.cells[::stride]
        angle, half = (measure(spot, cells, lattice, columns, way) for way in (1.0, 0.5))
        is_feather = angle < FEATHER
        if not is_feather.any():
            continue
        cells, angle, half = cells[is_feather], angle[is_feather], half[is_feather]
        least = int(np.argmin(angle))
        x, y = lattice.centre_of(*cells[least])
        surface = columns(np.array([[x, y]]))
        z = float((surface.upper if spot.side == 1 else surface.lower)[0]) if axis == 2 else spot.at[2]
        down, across = (np.ptp(cells, axis=0) + 1) * lattice.cell
        bound = abs(half[least] - angle[least])
        found.append(
            replace(
                spot,
                least=float(angle[least]),
                bound=float(bound) if np.isfinite(bound) else None,
                at=(float(x), float(y), z),
                size=(float(across), float(down)),
                known=stride * lattice.cell,
            )
        )
    return found


def _level(spot: GlueSpot, cells: np.ndarray, lattice: Lattice, columns: Columns, way: float) -> np.ndarray:
    """Return angles of a surface to level, degrees (n,): over `way` cells to each side, inf at an edge."""
    x, y = lattice.centre_of(cells[:, 0], cells[:, 1])
    size = way * lattice.cell
    heights = []
    for right, back in _SIDES:
        left = columns(np.column_stack([x + right * size, y + back * size]))
        height = left.upper if spot.side == 1 else left.lower
        heights.append(np.where(left.upper > left.lower, height, np.nan))
    slope = np.hypot(heights[0] - heights[1], heights[2] - heights[3]) / (2 * size)
    return np.where(np.isfinite(slope), np.degrees(np.arctan(slope)), np.inf)


def _upright(spot: GlueSpot, cells: np.ndarray, lattice: Lattice, columns: Columns, way: float) -> np.ndarray:
    """Return the angles, degrees (n,), of walls to the plane y = line, inf where there is none near it.

    A wall stands at y = Y(x, z) there; Y is found by halving between what is wood and what is not.
    """
    x, _ = lattice.centre_of(cells[:, 0], cells[:, 1])
    size = way * lattice.cell
    middle, low, high = spot.walls_at(cells)
    dz = np.minimum(size, way * (high - low) / 4)
    sides = [_wall(x + right * size, middle + up * dz, spot.line, lattice, columns) for right, up in _SIDES]
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = np.hypot((sides[0] - sides[1]) / (2 * size), (sides[2] - sides[3]) / (2 * dz))
    return np.where(np.isfinite(slope), np.degrees(np.arctan(slope)), np.inf)


def _wall(x: np.ndarray, z: np.ndarray, line: float, lattice: Lattice, columns: Columns) -> np.ndarray:
    """Return y of the walls at x, z within two cells of the plane, mm (n,); NaN where none is."""

    def is_wood(y: np.ndarray) -> np.ndarray:
        left = columns(np.column_stack([x, y]))
        return (left.lower < z) & (z < left.upper)

    near, far = (np.full(len(x), line + way * 2 * lattice.cell) for way in (-1.0, 1.0))
    first = is_wood(near)
    has_wall = first != is_wood(far)
    for _ in range(_HALVINGS):
        half = (near + far) / 2
        is_first = is_wood(half) == first
        near, far = np.where(is_first, half, near), np.where(is_first, far, half)
    return np.where(has_wall, (near + far) / 2, np.nan)
