"""Walls: how thick the material is at each place of its surface, and where it is too thin.

Thickness at a surface point is the diameter of the largest ball inside the material that touches
the surface there.  It covers floors between the two sides, side walls, ribs and spires alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare import wall_points_kernels as points_kernels
from simkit.compare import walls_kernels
from simkit.compare.wall_looks import hidden_depth, looked_from, stood_for
from simkit.errors import ShapeError
from simkit.stock.field import UNCUT, Field, Lattice
from simkit.stock.workers import share_ranges

NO_FACE, UPPER_FACE, LOWER_FACE = 0, 1, 2  # which side's cut made a face

# Neighbour in (row, column) that stands bare, by the direction code of a side point; 0: no side.
_STEPS = np.array([(0, 0), (0, 1), (0, -1), (1, 0), (-1, 0)])


@dataclass(frozen=True)
class Walls:
    """Wall thickness over a lattice; NaN (or -1, NO_FACE) where no wall is thinner than `cap`.

    upper, lower, side (ny, nx) float32 mm: thickness seen from the upper surface, from the lower
    one, and the least one seen from the sides of the column.
    thickness (ny, nx) float32 mm: the least of the three; bound (ny, nx) float32 mm: how far it may
    be off.  near, contact (ny, nx, 3) float32 mm, blank frame: the two places where that ball
    touches.  near_face, contact_face (ny, nx) uint8: whose cut made the face there, UPPER_FACE or
    LOWER_FACE.  near_cell, contact_cell (ny, nx) int32: flat index of the cell that was cut when
    the face was made: the cell itself, for a side its neighbour; -1 at the edge of the lattice.
    looked (ny, nx) bool: the cells looked from; of the others every one goes with the cell before it of
    which the row and column are multiples of `stride`.
    """

    lattice: Lattice
    cap: float
    stride: int
    upper: np.ndarray
    lower: np.ndarray
    side: np.ndarray
    thickness: np.ndarray
    bound: np.ndarray
    near: np.ndarray
    contact: np.ndarray
    near_face: np.ndarray
    contact_face: np.ndarray
    near_cell: np.ndarray
    contact_cell: np.ndarray
    looked: np.ndarray

    def stood_for(self, mask: np.ndarray) -> np.ndarray:
        """Return a mask of looked-at cells (ny, nx) bool with the cells that they stand for."""
        return stood_for(self.stride, self.looked, mask)

    def rows(self, field: Field, iy, ix) -> tuple[np.ndarray, np.ndarray]:
        """Return the rows of the moves that cut the near and the contact faces of cells (iy, ix), each (n,).

        field: the field the walls were measured on.  iy, ix (n,) or int.  UNCUT where no move did.
        """
        return (
            _rows(field, self.near_face[iy, ix], self.near_cell[iy, ix]),
            _rows(field, self.contact_face[iy, ix], self.contact_cell[iy, ix]),
        )


def _rows(field: Field, face: np.ndarray, cell: np.ndarray) -> np.ndarray:
    """Return the moves that cut faces, UNCUT where none did.  face (n,), cell (n,): as in Walls."""
    upper, lower = (rows.reshape(-1)[np.maximum(cell, 0)] for rows in (field.upper_move, field.lower_move))
    rows = np.where(np.equal(face, UPPER_FACE), upper, lower)
    return np.where(np.equal(face, NO_FACE) | np.less(cell, 0), UNCUT, rows)


def wall_thickness(
    lattice: Lattice,
    lower: np.ndarray,
    upper: np.ndarray,
    cap: float,
    stride: int = 1,
    edge_is_face: bool = True,
    looked: np.ndarray | None = None,
) -> Walls:
    """Return the wall thickness of the columns [lower, upper], where it is below `cap`.

    lower, upper (ny, nx) mm, blank frame; a column is empty where not lower < upper (NaN: empty).
    cap mm: thickness beyond it is not looked for.  stride: look from every stride-th cell in x and
    y, from those beside steep faces, and from lower ones between (`looked_from`), against all points of the
    surface all the same.  edge_is_face: whether the material ends at
    the edge of the lattice; False for a window cut out of a larger one.  looked (ny, nx) bool: the cells
    to look from, against all points of the surface all the same; None: all.

    A ball of radius r that touches the surface at p, where the unit normal n points inwards, has
    its centre at p + r n.  A point q of the surface stays outside while |q - p - r n| >= r, that is
    |q - p|^2 >= 2 r n.(q - p).  So the largest ball has

        diameter = min over q with n.(q - p) > 0 of |q - p|^2 / (n.(q - p)),

    which is also where the shrinking ball of Ma, Bae and Choi ends ("3D medial axis point
    approximation using nearest neighbors and the normal field", The Visual Computer 28, 2012).
    Points of the surface: the centres of both surfaces of every cell, and on the steep parts
    between two cells further points one to two cells apart.  A normal comes from the difference on
    that side which does not jump; the plan normal of a vertical side from the share of material in
    a disc of three cells.

    Only points q whose normal is at least 120 degrees from n are taken.  So an outside edge is no
    wall, and the roughness of p's own face (cusps, the lattice's stairs) cannot shrink the ball:
    a neighbour on the same face would need to be turned by 120 degrees.  The chord from p to q must
    run through material, else a face across a gap could count; gaps of two cells or less are not
    told apart from material.  A wedge narrower than 60 degrees counts up to its edge.

    Accuracy, in `bound`: with h the cell and e the most that a place lies from the nearest point of
    the surface (h/sqrt 2 on a level face, up to 1.23 h on a steep one), a thickness t is off by at most
    e^2/t because the foot of the ball lies between points; 2 tan(a/2) e stride because the thinnest
    place of a wedge of angle a lies between points; and h/2 / cos(a/2) + t/200 for each of the two
    faces that is a side, whose true place lies between two cell centres and whose normal is known
    to some 8 degrees (a sixteenth of h/2 on a steep face that goes on steadily over three cells); and by
    what the bottom of a vee hides between two centres (`hidden_depth`).  A window of finer cells gives a
    finer bound (`look_closer`).
    Raises ShapeError when the arrays do not fit the lattice.
    """
    lower, upper = np.asarray(lower), np.asarray(upper)
    if lower.shape != lattice.shape or upper.shape != lattice.shape:
        raise ShapeError(f"surfaces of shape {lower.shape}, {upper.shape} on a lattice {lattice.shape}")
    if not cap > 0 or stride < 1:
        raise ShapeError(f"cap {cap} and stride {stride} must be above 0")
    looked = np.ones(lattice.shape, bool) if looked is None else np.array(looked, bool)
    if looked.shape != lattice.shape:
        raise ShapeError(f"looked of shape {looked.shape} on a lattice {lattice.shape}")
    surface = surface_points(lattice, lower, upper, edge_is_face)
    points, owner, face = surface.points, surface.owner, surface.face
    columns = surface.lower, surface.upper, surface.solid
    looked &= looked_from(int(stride), *columns, owner[face % points_kernels.STEADY >= 2])
    thick = np.full((3, *lattice.shape), np.nan, np.float32)
    bound = np.full(lattice.shape, np.nan, np.float32)
    pair = np.full((2, *lattice.shape), -1, np.int32)
    columns = (
        *columns, looked, float(lattice.cell), float(cap), int(stride),
        surface.nby, surface.nbx, surface.kinds, surface.start, points, surface.normals, owner, face,
        surface.boxes, surface.cones, thick, bound, pair,
    )  # fmt: skip
    share_ranges(lambda a, b: walls_kernels.largest_balls(a, b, *columns), surface.nby * surface.nbx, 4)
    near, near_face, near_cell = _ends(lattice, pair[0], points, owner, face)
    contact, contact_face, contact_cell = _ends(lattice, pair[1], points, owner, face)
    for chosen in pair:
        bound += _hidden(surface, chosen, float(lattice.cell))
    return Walls(
        lattice, float(cap), int(stride),
        upper=thick[points_kernels.UPPER],
        lower=thick[points_kernels.LOWER],
        side=thick[points_kernels.SIDE],
        thickness=np.fmin.reduce(thick),
        bound=bound,
        near=near,
        contact=contact,
        near_face=near_face,
        contact_face=contact_face,
        near_cell=near_cell,
        contact_cell=contact_cell,
        looked=looked,
    )  # fmt: skip


@dataclass(frozen=True)
class SurfacePoints:
    """The surface of a field as n points with inward normals, kept in blocks for quick search.

    lower, upper (ny, nx) float32 mm, solid (ny, nx) bool: the columns.  points (n, 3) float32 mm,
    against the outer corner of cell (0, 0); normals (n, 3) float32, unit, into the material.
    owner (n,) int32: flat index of the solid cell.  face (n,) uint8: 0 cut from above, 1 from below,
    plus twice the direction code of a side, plus STEADY.  start, boxes,
    cones, nby, nbx, kinds: the blocks, as in wall_points_kernels.
    """

    lower: np.ndarray
    upper: np.ndarray
    solid: np.ndarray
    points: np.ndarray
    normals: np.ndarray
    owner: np.ndarray
    face: np.ndarray
    start: np.ndarray
    boxes: np.ndarray
    cones: np.ndarray
    nby: int
    nbx: int
    kinds: int


def surface_points(
    lattice: Lattice, lower: np.ndarray, upper: np.ndarray, edge_is_face: bool = True
) -> SurfacePoints:
    """Return points about a cell apart on both surfaces and all sides of the columns.

    lower, upper (ny, nx) mm; edge_is_face: as in wall_thickness.  A point on a surface is exact; one
    on a vertical side stands half way between two cell centres, so up to half a cell off.
    """
    lower = np.ascontiguousarray(lower, np.float32)
    upper = np.ascontiguousarray(upper, np.float32)
    solid = np.isfinite(lower) & np.isfinite(upper) & (upper > lower)
    cell = float(lattice.cell)
    nby = -(-lattice.ny // points_kernels.BLOCK)
    nbx = -(-lattice.nx // points_kernels.BLOCK)
    slopes = np.concatenate([points_kernels.surface_slopes(z, solid, cell) for z in (upper, lower)])
    floor = float(lower[solid].min()) if solid.any() else 0.0
    height = float(upper[solid].max()) - floor if solid.any() else 0.0
    layer = max(points_kernels.BLOCK * cell, height / points_kernels.LAYERS)
    kinds = points_kernels.SIDE + int(height / layer) + 1
    entries = kinds * nby * nbx
    columns = (lower, upper, solid, slopes, cell, edge_is_face, floor, layer, nby, nbx, kinds)
    start = np.zeros(entries + 1, np.int64)
    boxes, cones = np.zeros((entries, 6)), np.zeros((entries, 4))
    room = _room(0)
    share_ranges(
        lambda a, b: points_kernels.surface_points(a, b, False, *columns, start, *room, boxes, cones),
        nby * nbx,
        16,
    )
    start = np.cumsum(start)
    room = _room(int(start[-1]))
    share_ranges(
        lambda a, b: points_kernels.surface_points(a, b, True, *columns, start, *room, boxes, cones),
        nby * nbx,
        16,
    )
    points, normals, owner, face = room
    return SurfacePoints(
        lower, upper, solid, points, normals, owner, face, start, boxes, cones, nby, nbx, kinds
    )


def _room(n: int) -> tuple:
    """Return arrays for n points: places, normals, owning cells, face codes."""
    return (
        np.zeros((n, 3), np.float32),
        np.zeros((n, 3), np.float32),
        np.zeros(n, np.int32),
        np.zeros(n, np.uint8),
    )


def _hidden(surface: SurfacePoints, chosen: np.ndarray, cell: float) -> np.ndarray:
    """Return how much deeper the surface may go beside the chosen points (ny, nx), 0 where none is, mm."""
    hidden = np.zeros(chosen.shape, np.float32)
    nx = chosen.shape[1]
    for which, z in enumerate((surface.upper, -surface.lower)):
        is_its = chosen >= 0
        is_its[is_its] = surface.face[chosen[is_its]] == which  # no side
        cells = surface.owner[chosen[is_its]]
        hidden[is_its] = hidden_depth(z, surface.solid, cell, cells // nx, cells % nx)
    return hidden


def _ends(lattice: Lattice, chosen: np.ndarray, points, owner, face) -> tuple:
    """Return place, face and cut cell of the chosen points, one per cell."""
    place = np.full((*lattice.shape, 3), np.nan, np.float32)
    whose = np.full(lattice.shape, NO_FACE, np.uint8)
    cell = np.full(lattice.shape, -1, np.int32)
    is_found = chosen >= 0
    rows = chosen[is_found]
    place[is_found] = points[rows] + np.array([*lattice.origin, 0.0])
    whose[is_found] = face[rows] % 2 + UPPER_FACE
    steps = _STEPS[face[rows] % points_kernels.STEADY // 2]
    iy, ix = owner[rows] // lattice.nx + steps[:, 0], owner[rows] % lattice.nx + steps[:, 1]
    is_inside = (iy >= 0) & (iy < lattice.ny) & (ix >= 0) & (ix < lattice.nx)
    cell[is_found] = np.where(is_inside, iy * lattice.nx + ix, -1)
    return place, whose, cell
