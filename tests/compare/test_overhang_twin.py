"""Cuts through and past lips, of random parts, against the plain twin that looks at every triangle."""

import numpy as np
import pytest
import trimesh
from scipy.interpolate import RegularGridInterpolator

from simkit.compare.deviation import deviation
from simkit.compare.overhang import removed_below
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare import plain_faces as plain
from tests.compare.parts import exact_field, field_of, grid_of
from tests.compare.test_overhang import MUSHROOM


def tilted(mesh, rng, most):
    """The part turned about two level axes by up to so many degrees, about its middle."""
    made = mesh.copy()
    for axis in ([1, 0, 0], [0, 1, 0]):
        turn = np.radians(rng.uniform(-most, most))
        made.apply_transform(trimesh.transformations.rotation_matrix(turn, axis, mesh.centroid))
    return made


def lump(rng, size):
    """A convex lump with undersides of all slopes."""
    ways = rng.normal(size=(14, 3))
    return trimesh.convex.convex_hull(ways / np.linalg.norm(ways, axis=1, keepdims=True) * size)


def part_of(seed):
    """0, 1: a cap on a stem, upright and tilted; 2: a lump; 3: a lump above another, clear of it."""
    rng = np.random.default_rng(seed)
    if seed < 2:
        return tilted(MUSHROOM, rng, 8.0 * seed), rng
    below = lump(rng, [12, 9, 6])
    if seed == 2:
        return below, rng
    above = lump(rng, [10, 12, 5])
    above.apply_translation([3, 2, 14])
    return trimesh.util.concatenate([below, above]), rng


def triangles_of(grid):
    return np.array(grid.target.vertices[grid.target.triangles], float)


def bare(places):
    """Walls are bare to one side of a slanting line in plan: some are, some are not."""
    return np.sin(places @ np.array([0.3, 0.2, 0.1])) > 0


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("seed", range(4))
def test_removed_below__random_points_against_the_twin(seed, side):
    mesh, rng = part_of(seed)
    grid = grid_of(mesh)
    triangles = triangles_of(grid)
    low, high = mesh.bounds + np.array([[0, 0, -2.0], [0, 0, 2.0]])
    points = rng.uniform(low, high, (150, 3))
    sign = 1 if side == 1 else -1
    rows = [plain.crossings(p, triangles, side) for p in points]
    # A cut: something of the part lies above it.
    is_cut = [bool(r) and r[-1][0] > sign * p[2] for p, r in zip(points, rows, strict=True)]
    points = points[is_cut]
    found = removed_below(points, grid.distance(points, side), grid, side, bare)
    expected, step = np.array([plain.removed(p, triangles, side, bare) for p in points]).T
    assert (found >= expected - 1e-6).all()
    assert (found <= expected + step + 1e-6).all()
    straight = plain.distance(points, plain.seen(triangles, side))
    assert (expected < straight - 0.1).sum() > 5  # lips that count for less
    assert (np.abs(expected - straight) < 1e-9).sum() > 10  # and cuts that stay inside


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("seed", range(4))
def test_deviation__small_grid_of_cuts_through_and_past_lips(seed, side):
    mesh, rng = part_of(seed)
    grid = grid_of(mesh)
    triangles = triangles_of(grid)
    (x0, y0, bottom), (x1, y1, top) = mesh.bounds
    cell = 2.0 if seed < 2 else 1.0
    nx, ny = int((x1 - x0) / cell) + 3, int((y1 - y0) / cell) + 3
    lattice = Lattice((x0 - 1.13, y0 - 1.07), cell, nx, ny)  # no centre over an edge
    field, around = exact_field(grid, lattice)
    mine = field.upper if side == 1 else -field.lower
    other = field.lower if side == 1 else -field.upper
    sign = 1 if side == 1 else -1
    ends = sorted([sign * bottom, sign * top])
    cut = np.where(rng.random(lattice.shape) < 0.6, rng.uniform(*ends, lattice.shape), mine)
    # What stands in the air beside and under lips: keep something in each column, so that all are solid.
    other = np.minimum(other, np.minimum(cut, ends[0]) - 1.0)
    cut = cut.astype(np.float32).astype(float)
    field = field_of(lattice, other, cut) if side == 1 else field_of(lattice, -cut, -other)
    found = deviation(field, around, grid, side)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    target = envelopes(grid, lattice).side(side) * sign
    near = plain.seen(triangles, side)
    columns = np.column_stack([x.ravel(), y.ravel(), cut.ravel()])
    heights = RegularGridInterpolator((lattice.y(), lattice.x()), cut, bounds_error=False, fill_value=-np.inf)

    def is_bare(place):
        return heights(place[1::-1])[0] <= sign * place[2] + 1e-6

    count = 0
    for iy, ix in zip(*np.nonzero(np.abs(found.vertical) > 0.06), strict=True):
        at = np.array([x[iy, ix], y[iy, ix], sign * cut[iy, ix]])
        aside = np.hypot(columns[:, 0] - at[0], columns[:, 1] - at[1])
        gap = columns[:, 2] - target[iy, ix]
        if found.vertical[iy, ix] > 0:
            to_target, step = plain.distance(at[None], triangles)[0], 0.0
            to_cut = np.hypot(aside, np.maximum(gap, 0)).min()
        else:
            to_target, step = plain.removed(at, triangles, side, is_bare, 201)
            to_cut = np.hypot(aside, np.maximum(-gap, 0)).min()
            count += step > 0 or to_target < plain.distance(at[None], near)[0] - 0.1
        size = min(abs(found.vertical[iy, ix]), max(to_target, to_cut))
        assert abs(found.most[iy, ix]) >= size - 2e-5
        assert abs(found.most[iy, ix]) <= max(size, min(to_target + step, abs(found.vertical[iy, ix]))) + 2e-5
        assert np.sign(found.most[iy, ix]) == np.sign(found.vertical[iy, ix])
    assert count > 3
