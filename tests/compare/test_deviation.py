"""Deviation both ways: the cases that one-way distances understate, slopes, corners, break-through."""

import numba
import numpy as np
import pytest
import trimesh
from scipy.interpolate import RegularGridInterpolator

from simkit.compare.both_ways import BothWays
from simkit.compare.deviation import CutSurface, break_through, deviation
from simkit.compare.deviation_kernels import columns
from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import (
    TRAY,
    TRAY_LATTICE,
    box,
    exact_field,
    field_of,
    grid_of,
    minus,
    plan,
    prism,
    turned_field,
    turned_over,
)

DIAGONAL = np.sqrt(2.0)


def both_sides(mesh, field, length, thickness):
    """Deviation of side 1, and of side 2 of the same part and cut turned over (mirrored back)."""
    yield deviation(field, envelopes(grid_of(mesh), field.lattice), grid_of(mesh), 1)
    grid = grid_of(turned_over(mesh, length, thickness))
    turned = turned_field(field, length, thickness)
    yield deviation(turned, envelopes(grid, field.lattice), grid, 2)


def test_deviation__perfect_cut_is_zero():
    grid = grid_of(TRAY)
    field, around = exact_field(grid, TRAY_LATTICE)
    for side in (1, 2):
        found = deviation(field, around, grid, side)
        assert np.array_equal(np.isnan(found.normal), ~around.is_part)
        for values in (found.vertical, found.normal, found.most):
            assert np.nanmax(np.abs(values)) < 1e-6


def test_deviation__gouge_in_a_thin_floor_reads_its_depth():
    # 2.9 deep in a floor of 3: only 0.1 from the other face, and yet 2.9.
    field, _ = exact_field(grid_of(TRAY), TRAY_LATTICE)
    x, y = plan(TRAY_LATTICE)
    field.upper[(np.abs(x - 20) < 4) & (np.abs(y - 15) < 4)] = 0.1
    for found in both_sides(TRAY, field, 40, 10):
        assert np.nanmin(found.normal) == pytest.approx(-2.9, abs=1e-6)
        assert np.nanmin(found.most) == pytest.approx(-2.9, abs=1e-6)
        assert np.nanmax(found.normal) < 1e-6


def test_deviation__uncut_slot_reads_its_depth():
    # 3 wide, 20 deep: the nearest wall is 1.5 away, and yet 20.
    part = minus(box((1, 1, 0), (47, 59, 30)), box((22.5, 0, 10), (25.5, 60, 31)))
    lattice = Lattice((0.0, 0.0), 0.25, 192, 240)
    field, _ = exact_field(grid_of(part), lattice)
    field.upper[field.upper > 0] = 30
    for found in both_sides(part, field, 48, 30):
        assert np.nanmax(found.vertical) == 20
        assert np.nanmax(found.normal) == pytest.approx(20, abs=1e-6)


def test_break_through__has_its_own_mask_and_depth():
    grid = grid_of(TRAY)
    field, around = exact_field(grid, TRAY_LATTICE)
    x, y = plan(TRAY_LATTICE)
    hole = (np.abs(x - 20) < 4) & (np.abs(y - 15) < 4)
    field.upper[hole] = -0.5
    upper, lower = deviation(field, around, grid, 1), deviation(field, around, grid, 2)
    found = break_through(field, around)
    assert np.array_equal(found.mask, hole)
    assert (found.depth[hole] == 3).all()
    assert np.isnan(found.depth[~hole]).all()
    assert np.nanmin(upper.normal) == pytest.approx(-3.5, abs=1e-6)
    assert np.nanmax(np.abs(lower.normal)) < 1e-6  # side 2 cut nothing there, and nothing stands proud


def test_break_through__from_both_sides_and_with_wood_left_below():
    grid = grid_of(box((2, 2, 4), (38, 28, 8)))
    field, around = exact_field(grid, TRAY_LATTICE)
    x, y = plan(TRAY_LATTICE)
    met, below = (np.abs(x - 10) < 3) & (np.abs(y - 15) < 3), (np.abs(x - 30) < 3) & (np.abs(y - 15) < 3)
    field.upper[met], field.lower[met] = 5, 6
    field.upper[below], field.lower[below] = 2, 0
    upper, lower = deviation(field, around, grid, 1), deviation(field, around, grid, 2)
    found = break_through(field, around)
    assert np.array_equal(found.mask, met | below)
    assert (found.depth[found.mask] == 4).all()
    assert upper.normal[met].min() == pytest.approx(-3, abs=1e-6)
    assert lower.normal[met].min() == pytest.approx(-2, abs=1e-6)
    assert lower.vertical[below].max() == 4


def test_break_through__a_shaved_outer_wall_is_not_one():
    grid = grid_of(box((2, 2, 0), (38, 28, 10)))
    lattice = Lattice((0.0, 0.0), 0.04, 1000, 750).window(300, 400, 0, 100)
    field, around = exact_field(grid, lattice)
    x, _ = plan(lattice)
    field.upper[x < 2.07] = 0
    upper = deviation(field, around, grid, 1)
    assert break_through(field, around).mask.sum() == 0
    assert np.nanmin(upper.normal) == pytest.approx(-0.06, abs=1e-6)


@pytest.mark.parametrize("error", [0.4, -0.4])
def test_deviation__steep_wall_reads_the_cosine(error):
    # A vertical difference e on a plane sloped by t is e cos t along the normal.
    slope = np.radians(80.0)
    run = 25 / np.tan(slope)
    part = prism([(5, 0), (20 + run, 0), (20, 25), (5, 25)], 2, 28)
    grid, lattice = grid_of(part), Lattice((0.0, 0.0), 0.1, 400, 300)
    field, around = exact_field(grid, lattice)
    field.upper[around.is_part] += np.float32(error)
    for found in both_sides(part, field, 40, 25):
        x, y = plan(lattice)
        x = x if found.side == 1 else 40 - x
        middle = (x > 20.5) & (x < 20 + run - 0.5) & (np.abs(y - 15) < 10)
        assert found.vertical[middle] == pytest.approx(error, abs=1e-5)
        assert found.normal[middle] == pytest.approx(error * np.cos(slope), abs=1e-5)
        flat = (x > 7) & (x < 18) & (np.abs(y - 15) < 10)
        assert found.normal[flat] == pytest.approx(error, abs=1e-5)


@pytest.mark.parametrize("cell", [0.2, 0.1])
def test_deviation__vertical_inside_corner(cell):
    # A round cutter of radius R leaves (sqrt 2 - 1) R from the corner edge to the cut (target -> cut)
    # and (1 - 1/sqrt 2) R from the cut to the nearest wall (cut -> target).
    radius = 3.0
    lattice = Lattice((0.0, 0.0), cell, round(40 / cell), round(30 / cell))
    grid = grid_of(TRAY)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    qx, qy = np.abs(x - 20) - (12 - radius), np.abs(y - 15) - (7 - radius)
    in_pocket = around.upper == 3
    is_left = in_pocket & (np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) > radius)
    field.upper[is_left] = 10
    found = deviation(field, around, grid, 1)
    exact = (DIAGONAL - 1) * radius
    worst = np.nanmax(found.normal)
    assert exact - 2 * DIAGONAL * cell <= worst <= exact
    assert exact - DIAGONAL * cell <= np.nanmax(found.most) <= exact + DIAGONAL * cell
    assert np.nanmax(found.most - found.normal) <= 2 * DIAGONAL * cell + 1e-6
    cut = np.column_stack([x[is_left], y[is_left], np.full(is_left.sum(), 10.0)])
    to_target = grid.distance(cut, 1).max()
    exact = (1 - 1 / DIAGONAL) * radius
    assert exact - DIAGONAL * cell <= to_target <= exact


def test_deviation__right_angled_vee():
    # A ball R in a 90 degree vee stays (sqrt 2 - 1) R above the bottom, (1 - 1/sqrt 2) R off the faces.
    radius, cell = 3.0, 0.05
    left = prism([(0, 0), (20, 0), (20, 10), (10, 20), (0, 20)], 0, 10)
    right = prism([(20, 0), (40, 0), (40, 20), (30, 20), (20, 10)], 0, 10)
    part = trimesh.boolean.union([left, right], engine="manifold")
    grid = grid_of(part)
    lattice = Lattice((10 - cell / 2, 3.0), cell, round(20 / cell), 80)  # the bottom lies on centres
    field, around = exact_field(grid, lattice)
    x, _ = plan(lattice)
    ball = 10 + radius * DIAGONAL - np.sqrt(np.maximum(radius**2 - (x - 20) ** 2, 0))
    near = np.abs(x - 20) < radius / DIAGONAL
    field.upper[near] = np.maximum(ball, around.upper)[near]
    found = deviation(field, around, grid, 1)
    exact = (DIAGONAL - 1) * radius
    assert np.nanmax(found.vertical) == pytest.approx(exact, abs=1e-5)
    assert np.nanmax(found.most) == pytest.approx(exact, abs=1e-5)
    assert exact - 0.01 <= np.nanmax(found.normal) <= exact + 1e-5
    bottom = np.array([[20.0, 5.0, 10 + exact]])
    assert grid.distance(bottom, 1)[0] == pytest.approx((1 - 1 / DIAGONAL) * radius, abs=1e-9)


def test_deviation__wall_off_by_less_than_a_cell_is_no_deep_gouge():
    # The wall is cut 0.05 too far; one column of centres stands in the strip, 7 mm deep in z.
    grid = grid_of(TRAY)
    lattice = Lattice((0.07, 0.0), 0.2, 199, 150)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    strip = (x > 7.95) & (x < 8) & (np.abs(y - 15) < 7)
    assert strip.any()
    field.upper[strip] = 3
    found = deviation(field, around, grid, 1)
    assert found.vertical[strip].min() == -7
    assert -0.05 <= np.nanmin(found.normal) < 0
    assert np.nanmin(found.most) == pytest.approx(-0.2, abs=1e-6)


def slow_to_cut(x, y, height, heights, lattice, is_gouge):
    """Distances of a point to material or air, by clipping it onto every square column."""
    xs, ys = lattice.x(), lattice.y()
    sign = 1 if is_gouge else -1
    least = most = np.inf
    for iy in range(lattice.ny):
        for ix in range(lattice.nx):
            top = heights[iy, ix]
            z = min(height, top) if is_gouge else max(height, top)
            most = min(most, np.linalg.norm([x - xs[ix], y - ys[iy], height - z]))
            four = heights[iy : iy + 2, ix : ix + 2]
            top = sign * (sign * four).max()
            z = min(height, top) if is_gouge else max(height, top)
            near_x = np.clip(x, xs[ix], xs[ix] + lattice.cell)
            near_y = np.clip(y, ys[iy], ys[iy] + lattice.cell)
            least = min(least, np.linalg.norm([x - near_x, y - near_y, height - z]))
    return least, most


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("is_gouge", [True, False])
def test_to_cut__against_slow_twin(seed, is_gouge):
    rng = np.random.default_rng(seed)
    lattice = Lattice((1.0, -2.0), 0.7, 15, 13)
    heights = rng.uniform(0, 6, lattice.shape).astype(np.float32)
    surface = CutSurface(field_of(lattice, -1.0, heights), 1)
    x, y, z = rng.uniform([-1, -4, -3], [13, 9, 9], (25, 3)).T
    far = np.full(25, 100.0)
    found = [surface.distance(x, y, z, far, is_gouge, is_least) for is_least in (True, False)]
    for k in range(25):
        least, most = slow_to_cut(x[k], y[k], z[k], heights.astype(float), lattice, is_gouge)
        assert found[0][k] == pytest.approx(least, abs=1e-12)
        assert found[1][k] == pytest.approx(most, abs=1e-12)


def test_way_out__is_the_way_to_the_nearest_column_that_is_not_skipped():
    rng = np.random.default_rng(0)
    lattice = Lattice((1.0, -2.0), 0.7, 15, 13)
    surface = CutSurface(field_of(lattice, -1.0, 5.0), 1)
    skipping = surface.without((3, 10, 2, 12))
    assert surface.way_out(5.0, 5.0, 3.0, 3.0) == 0.0
    for _ in range(50):
        x, y = rng.uniform([2.4, 0.1], [9.4, 5.0], (6, 2)).T
        far, level = np.full(6, 100.0), np.full(6, 4.0)
        nearest = skipping.distance(x, y, level, far, True, True).min()
        way = skipping.way_out(x.min(), x.max(), y.min(), y.max())
        assert way == pytest.approx(nearest, abs=1e-8)
        assert way <= nearest
    beside = skipping.way_out(0.0, 1.0, 0.0, 1.0)
    assert beside == 0.0


def test_to_cut__of_two_surfaces_is_the_least_of_both():
    # Each asked by itself, and whichever is asked first.
    rng = np.random.default_rng(1)
    lattice = Lattice((0.0, 0.0), 0.4, 40, 40)
    coarse = field_of(lattice, -1.0, rng.uniform(1, 3, lattice.shape).astype(np.float32))
    box = (14, 26, 14, 26)
    window = lattice.window(*box, divide=4)
    fine = field_of(window, -1.0, rng.uniform(1, 3, window.shape).astype(np.float32))
    grid = grid_of(trimesh.creation.box(bounds=[[0, 0, -1], [16, 16, 2]]))
    around = envelopes(grid, window)
    is_near = np.zeros(window.shape, bool)
    is_near[18:30, 18:30] = True
    vertical = (fine.upper.astype(float) - around.upper).ravel()
    flat = np.flatnonzero(is_near)
    surfaces = CutSurface(coarse, 1, box), CutSurface(fine, 1)
    both = BothWays(flat, fine, around, grid, 1, vertical[flat], surfaces, is_larger=False)
    for is_least in (True, False):
        expected = np.abs(vertical[flat])
        for is_gouge in (True, False):
            rows = np.flatnonzero((vertical[flat] < 0) == is_gouge)
            for surface in surfaces:
                place = both.x[rows], both.y[rows], both.target[rows]
                own = surface.distance(*place, np.full(len(rows), 50.0), is_gouge, is_least)
                expected[rows] = np.minimum(expected[rows], own)
        assert np.allclose(both.to_cut(np.arange(len(flat)), is_least), expected, rtol=0, atol=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_deviation__two_way_ends_are_in_order(seed):
    rng = np.random.default_rng(seed)
    mesh = trimesh.creation.icosphere(3, radius=8.0)
    mesh.apply_translation([10, 10, 10])
    grid, lattice = grid_of(mesh), Lattice((0.0, 0.0), 0.5, 40, 40)
    field, around = exact_field(grid, lattice)
    field.upper[:] += rng.normal(0, 1, lattice.shape).astype(np.float32)
    field.lower[:] += rng.normal(0, 1, lattice.shape).astype(np.float32)
    for side in (1, 2):
        found = deviation(field, around, grid, side)
        is_part = around.is_part
        vertical, normal, most = (a[is_part] for a in (found.vertical, found.normal, found.most))
        assert (np.abs(normal) <= np.abs(most) + 1e-6).all()
        assert (np.abs(most) <= np.abs(vertical) + 1e-6).all()
        assert (np.sign(normal) == np.sign(vertical)).all()
        iy, ix = np.nonzero(is_part)
        x, y = lattice.centre_of(iy, ix)
        z = (field.upper if side == 1 else field.lower)[is_part].astype(float)
        z_facing = mesh.face_normals[:, 2] * (1 if side == 1 else -1)
        part = mesh.submesh([np.flatnonzero(z_facing >= -1e-9)], append=True)
        # Outside: a general mesh library's distance, of a gouge to the triangles of this side, of leftover
        # to all.  What went right through the part has tests of its own (test_overhang).
        is_within = z > around.lower[is_part] if side == 1 else z < around.upper[is_part]
        for far, facing in (((vertical < -0.05) & is_within, part), (vertical > 0.05, mesh)):
            assert np.count_nonzero(far) > 50
            points = np.column_stack([x, y, z])[far]
            _, expected, _ = trimesh.proximity.closest_point(facing, points)
            if facing is part:
                upper = (around.upper if side == 1 else around.lower)[is_part][far]
                expected = np.minimum(expected, gone_beside_walls(mesh, points, upper, expected, field, side))
            assert (np.abs(normal[far]) >= expected - 1e-6).all()


def gone_beside_walls(mesh, points, tops, straight, field, side):
    """How deep is what is gone above points, where the cut came down past a wall that leans over.

    Past the sphere's equator the cutter took a layer as thin as the sphere is within the outline there: 0.05
    in from the equator nothing deeper than 0.05 is missing, though the cut ends 0.9 below the upper half's
    rim.  By brute force: of 400 places of the wood gone above each point the one that is farthest from both
    the surface that looks to this side and such walls (steeper than 45 degrees), if the wall beside
    that place is gone, too (the cut, straight between its samples, lies below it).
    """
    sign = 1 if side == 1 else -1
    z = mesh.face_normals[:, 2] * sign
    walls = mesh.submesh([np.flatnonzero((z < -1e-9) & (z > -np.sqrt(0.5)))], append=True)
    both = mesh.submesh([np.flatnonzero(z > -np.sqrt(0.5))], append=True)
    heights = RegularGridInterpolator(
        (field.lattice.y(), field.lattice.x()),
        sign * (field.upper if side == 1 else field.lower),
        bounds_error=False,
    )
    _, to_walls, _ = trimesh.proximity.closest_point(walls, points)
    found = np.full(len(points), np.inf)
    for k in np.flatnonzero(to_walls < straight):
        column = np.tile(points[k], (400, 1))
        column[:, 2] = np.linspace(points[k, 2], tops[k], 400)
        _, away, _ = trimesh.proximity.closest_point(both, column)
        deepest = column[away.argmax()][None]
        (place,), _, _ = trimesh.proximity.closest_point(walls, deepest)
        if heights(place[1::-1])[0] <= sign * place[2]:
            found[k] = away.max()
    # Beside this part side 1 went down to the table; side 2 cut nothing there, so no wall is bare to it.
    assert np.isfinite(found).sum() == ((to_walls < straight).sum() if side == 1 else 0)
    assert side == 2 or np.isfinite(found).sum() > 1
    return found


def test_deviation__threads_do_not_matter():
    grid = grid_of(TRAY)
    field, around = exact_field(grid, TRAY_LATTICE)
    field.upper[:] += np.random.default_rng(0).normal(0, 0.5, field.upper.shape).astype(np.float32)
    many = deviation(field, around, grid, 1)
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        one = deviation(field, around, grid, 1)
    finally:
        numba.set_num_threads(threads)
    for name in ("vertical", "normal", "most"):
        assert np.array_equal(getattr(one, name), getattr(many, name), equal_nan=True)


def test_deviation__mistakes_of_the_caller():
    grid = grid_of(TRAY)
    field, around = exact_field(grid, TRAY_LATTICE)
    with pytest.raises(ShapeError, match="side must be 1 or 2, not 3"):
        deviation(field, around, grid, 3)
    with pytest.raises(ShapeError, match="different lattices"):
        deviation(field, envelopes(grid, Lattice((0.0, 0.0), 0.5, 80, 60)), grid, 1)


def test_break_through__a_thin_part_cut_wholly_away_is_one():
    grid = grid_of(box((2, 2, 4), (38, 28, 4.5)))
    field, around = exact_field(grid, TRAY_LATTICE)
    field.upper[:], field.lower[:] = 3.9, 4.6  # each side goes past the other
    assert np.array_equal(break_through(field, around).mask, around.is_part)


@pytest.mark.parametrize("shape", [(1, 1), (3, 17), (70, 65)])
@pytest.mark.parametrize("is_gouge", [True, False])
@pytest.mark.parametrize("is_least", [True, False])
def test_columns__are_the_heights_and_the_highest_of_blocks_and_groups(shape, is_gouge, is_least):
    rng = np.random.default_rng(3)
    heights = rng.normal(0, 1, shape)
    heights[rng.random(shape) < 0.1] = -np.inf
    sign, (ny, nx) = 1.0 if is_gouge else -1.0, shape
    tables = [np.full([-(-n // 8**k) for n in shape], np.nan) for k in range(3)]
    columns(heights, sign, is_least, 8, *tables)
    for iy in range(ny):
        for ix in range(nx):
            size = 2 if is_least else 1
            assert tables[0][iy, ix] == (sign * heights)[iy : iy + size, ix : ix + size].max()
    for k, table in enumerate(tables):
        for by, bx in np.ndindex(table.shape):
            part = tables[0][by * 8**k : (by + 1) * 8**k, bx * 8**k : (bx + 1) * 8**k]
            assert table[by, bx] == part.max()
