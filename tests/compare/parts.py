"""Parts with known answers, and fields made by hand."""

import numpy as np
import trimesh

from simkit.stock.field import UNCUT, Field, Lattice
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target


def box(low, high):
    low, high = np.array(low, float), np.array(high, float)
    made = trimesh.creation.box(extents=high - low)
    made.apply_translation((low + high) / 2)
    return made


def minus(body, *holes):
    return trimesh.boolean.difference([body, *holes], engine="manifold")


def prism(outline_xz, y0, y1):
    """A convex outline in x and z, counter-clockwise seen from -y, from y0 to y1."""
    outline = np.array(outline_xz, float)
    points = np.vstack([np.insert(outline, 1, y, axis=1) for y in (y0, y1)])
    return trimesh.convex.convex_hull(points)


def grid_of(mesh):
    return TargetGrid(make_target(mesh.vertices, mesh.faces))


def field_of(lattice, lower, upper):
    """A field from heights (numbers or arrays); no move is recorded."""
    none = np.full(lattice.shape, UNCUT, np.int32)
    lower = np.broadcast_to(np.asarray(lower, np.float32), lattice.shape).copy()
    upper = np.broadcast_to(np.asarray(upper, np.float32), lattice.shape).copy()
    return Field(lattice, lower, upper, none, none.copy())


def turned_over(mesh, length, thickness):
    """The part and its fields turned about y: side 2 then sees what side 1 saw."""
    made = mesh.copy()
    made.apply_transform(np.diag([-1.0, 1.0, -1.0, 1.0]))
    made.apply_translation([length, 0, thickness])
    return made


def turned_field(field, length, thickness):
    assert field.lattice.origin == (0.0, 0.0)
    assert np.isclose(field.lattice.nx * field.lattice.cell, length)
    return field_of(field.lattice, thickness - field.upper[:, ::-1], thickness - field.lower[:, ::-1])


def exact_field(grid, lattice):
    """The field of a perfect job: the target itself, nothing around it."""
    found = envelopes(grid, lattice)
    return field_of(lattice, np.nan_to_num(found.lower), np.nan_to_num(found.upper)), found


def plan(lattice):
    return np.meshgrid(lattice.x(), lattice.y())


TRAY = minus(box((2, 2, 0), (38, 28, 10)), box((8, 8, 3), (32, 22, 11)))  # floor 3 mm thick
TRAY_LATTICE = Lattice((0.0, 0.0), 0.25, 160, 120)
