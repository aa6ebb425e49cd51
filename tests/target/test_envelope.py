"""Heights of the target at cell centres: closed forms, ray casts, edges on centres, hidden surface."""

import numba
import numpy as np
import pytest
import trimesh

from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target


def target_of(mesh):
    return make_target(mesh.vertices, mesh.faces)


def box(low, high):
    low, high = np.array(low, float), np.array(high, float)
    made = trimesh.creation.box(extents=high - low)
    made.apply_translation((low + high) / 2)
    return made


def slow_column(mesh, x, y):
    """Lowest and highest crossing and length inside of one column, by solving each plane for z."""
    heights = []
    for a, b, c in mesh.triangles:
        matrix = np.array([[b[0] - a[0], c[0] - a[0]], [b[1] - a[1], c[1] - a[1]]])
        if abs(np.linalg.det(matrix)) < 1e-12:
            continue
        s, t = np.linalg.solve(matrix, [x - a[0], y - a[1]])
        if s >= 0 and t >= 0 and s + t <= 1:
            heights.append(a[2] + s * (b[2] - a[2]) + t * (c[2] - a[2]))
    heights.sort()
    inside = sum(top - low for low, top in zip(heights[::2], heights[1::2], strict=True))
    return heights[0], heights[-1], inside


SHAPES = {
    "sphere": trimesh.creation.icosphere(3, radius=9.0),
    "torus": trimesh.creation.torus(7.0, 2.5, major_sections=37, minor_sections=23),
    "capsule": trimesh.creation.capsule(8.0, 4.0),
    "cone": trimesh.creation.cone(6.0, 9.0, sections=31),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("seed", range(2))
def test_envelopes__against_ray_casts(name, seed):
    # Outside: trimesh's ray queries (rtree), every hit of a vertical ray through the cell centre.
    rng = np.random.default_rng(seed)
    mesh = SHAPES[name].copy()
    mesh.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    lattice = Lattice((-10.0 + rng.random(), -10.0 + rng.random()), 0.73, 26, 27)
    found = envelopes(target_of(mesh), lattice)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    start = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 50.0)])
    at, ray, _ = mesh.ray.intersects_location(start, np.tile([0.0, 0, -1], (len(start), 1)))
    upper, lower = np.full(x.size, -np.inf), np.full(x.size, np.inf)
    np.maximum.at(upper, ray, at[:, 2])
    np.minimum.at(lower, ray, at[:, 2])
    is_hit = np.isfinite(upper).reshape(x.shape)
    assert np.array_equal(found.is_part, is_hit)
    assert np.abs(found.upper[is_hit] - upper.reshape(x.shape)[is_hit]).max() < 1e-9
    assert np.abs(found.lower[is_hit] - lower.reshape(x.shape)[is_hit]).max() < 1e-9


@pytest.mark.parametrize("seed", range(3))
def test_envelopes__against_slow_twin(seed):
    rng = np.random.default_rng(seed)
    mesh = trimesh.creation.torus(6.0, 2.0, major_sections=11, minor_sections=7)
    mesh.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    lattice = Lattice((-9.0 + rng.random(), -9.0 + rng.random()), 0.9, 20, 20)
    found = envelopes(target_of(mesh), lattice)
    assert found.void.max() > 0.5  # a tilted ring hides some of itself
    for iy, ix in np.argwhere(found.is_part):
        low, high, inside = slow_column(mesh, *lattice.centre_of(iy, ix))
        assert found.lower[iy, ix] == pytest.approx(low, abs=1e-9)
        assert found.upper[iy, ix] == pytest.approx(high, abs=1e-9)
        assert found.void[iy, ix] == pytest.approx(high - low - inside, abs=1e-9)


def test_envelopes__sphere_closed_form():
    # z = sqrt(R^2 - r^2), to the facets' sagitta R (1 - cos(half the longest edge's angle)).
    radius, mesh = 10.0, trimesh.creation.icosphere(6, radius=10.0)
    edge = mesh.edges_unique_length.max()
    sagitta = radius - np.sqrt(radius**2 - edge**2 / 3)
    lattice = Lattice((-10.0, -10.0), 0.11, 180, 180)
    found = envelopes(target_of(mesh), lattice)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    r = np.hypot(x, y)
    is_flat = r < 7.0
    exact = np.sqrt(radius**2 - r[is_flat] ** 2)
    for below in (exact - found.upper[is_flat], exact + found.lower[is_flat]):
        assert below.min() > -1e-9  # the facets' corners lie on the sphere, the facets inside it
        assert below.max() < sagitta * np.sqrt(2.0)  # slope up to 1
    assert found.void.max() == 0.0


def test_envelopes__torus_closed_form_and_hole():
    major, minor, n = 8.0, 3.0, 240
    mesh = trimesh.creation.torus(major, minor, major_sections=n, minor_sections=n)
    lattice = Lattice((-12.0, -12.0), 0.25, 96, 96)
    found = envelopes(target_of(mesh), lattice)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    r = np.hypot(x, y)
    assert np.isnan(found.upper[r < major - minor - 0.01]).all()
    assert np.isnan(found.upper[r > major + minor + 0.01]).all()
    ring = np.abs(r - major) < 2.0
    exact = np.sqrt(minor**2 - (r[ring] - major) ** 2)
    assert np.abs(found.upper[ring] - exact).max() < (major + minor) * (1 - np.cos(np.pi / n)) * 2
    assert np.abs(found.lower[ring] + exact).max() < (major + minor) * (1 - np.cos(np.pi / n)) * 2


def test_envelopes__edges_exactly_on_cell_centres():
    # Centres at 0.5, 1.5, ...: the walls at 2.5 and 6.5 run through centres; half open, low side in.
    lattice = Lattice((0.0, 0.0), 1.0, 9, 9)
    found = envelopes(target_of(box((2.5, 2.5, 1), (6.5, 6.5, 4))), lattice)
    expected = np.zeros((9, 9), bool)
    expected[2:6, 2:6] = True
    assert np.array_equal(found.is_part, expected)
    assert (found.upper[expected] == 4).all()
    assert (found.lower[expected] == 1).all()
    assert (found.void == 0).all()


def test_envelopes__two_parts_that_share_a_wall_cover_every_column_once():
    # The shared wall runs through centres; a diagonal of each face runs through more of them.
    lattice = Lattice((0.0, 0.0), 0.5, 20, 20)
    left = envelopes(target_of(box((1.25, 1.25, 0), (5.25, 8.25, 3))), lattice)
    right = envelopes(target_of(box((5.25, 1.25, 0), (8.25, 8.25, 3))), lattice)
    whole = envelopes(target_of(box((1.25, 1.25, 0), (8.25, 8.25, 3))), lattice)
    assert not (left.is_part & right.is_part).any()
    assert np.array_equal(left.is_part | right.is_part, whole.is_part)


@pytest.mark.parametrize("seed", range(10))
def test_envelopes__vertices_on_centres_never_leak(seed):
    # Closed height-field solids whose vertices all stand on cell centres: every column inside counts once.
    rng = np.random.default_rng(seed)
    n = 12
    z = rng.integers(2, 9, (n, n)).astype(float)
    x, y = np.meshgrid(np.arange(n) + 0.5, np.arange(n) + 0.5)
    top = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    bottom = top * [1, 1, 0]
    a = (np.arange(n - 1)[:, None] * n + np.arange(n - 1)).ravel()
    faces = np.vstack([np.column_stack([a, a + 1, a + n + 1]), np.column_stack([a, a + n + 1, a + n])])
    rim = np.r_[
        np.arange(n), n * np.arange(2, n + 1) - 1, n * n - 2 - np.arange(n - 1), n * np.arange(n - 2, 0, -1)
    ]
    after = np.roll(rim, -1)
    walls = np.vstack([
        np.column_stack([rim, rim + n * n, after + n * n]),
        np.column_stack([rim, after + n * n, after]),
    ])  # fmt: skip
    mesh = trimesh.Trimesh(
        np.vstack([top, bottom]), np.vstack([faces, faces[:, ::-1] + n * n, walls]), process=False
    )
    assert mesh.is_watertight
    assert mesh.volume > 0
    found = envelopes(target_of(mesh), Lattice((0.0, 0.0), 1.0, n, n))
    inside = np.zeros((n, n), bool)
    inside[:-1, :-1] = True
    assert np.array_equal(found.is_part, inside)
    assert np.array_equal(found.upper[inside], z[inside])
    assert (found.lower[inside] == 0).all()
    assert (found.void == 0).all()


def test_void__closed_cavity_and_tunnel():
    block, cavity = box((0, 0, 0), (20, 12, 10)), box((3, 3, 4), (8, 9, 7))
    tunnel = box((-1, 5, 2), (21, 7, 4.5))
    part = trimesh.boolean.difference([block, cavity, tunnel], engine="manifold")
    lattice = Lattice((-1.0, -1.0), 0.5, 44, 28)
    found = envelopes(target_of(part), lattice)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    in_block = (x > 0) & (x < 20) & (y > 0) & (y < 12)
    in_cavity = (x > 3) & (x < 8) & (y > 3) & (y < 9)
    in_tunnel = in_block & (y > 5) & (y < 7)
    expected = np.where(in_cavity & in_tunnel, 5.0, np.where(in_cavity, 3.0, np.where(in_tunnel, 2.5, 0.0)))
    assert np.allclose(found.void, expected, atol=1e-9)
    assert (found.upper[in_block] == 10).all()
    assert (found.lower[in_block] == 0).all()


def test_windows__agree_with_the_whole():
    mesh = SHAPES["torus"].copy()
    mesh.apply_transform(trimesh.transformations.rotation_matrix(0.7, [1, 2, 0.5]))
    grid = TargetGrid(target_of(mesh))
    lattice = Lattice((-10.0, -10.0), 0.25, 80, 80)  # cells of a power of two: same centres to the bit
    whole = envelopes(grid, lattice)
    part = envelopes(grid, lattice.window(30, 55, 12, 47))
    for name in ("lower", "upper", "void"):
        assert np.array_equal(getattr(part, name), getattr(whole, name)[30:55, 12:47], equal_nan=True)


def test_envelopes__part_outside_the_lattice():
    found = envelopes(target_of(box((0, 0, 0), (5, 5, 5))), Lattice((6.0, 0.0), 0.5, 10, 10))
    assert not found.is_part.any()
    assert (found.void == 0).all()


def test_envelopes__threads_do_not_matter():
    target, lattice = target_of(SHAPES["sphere"]), Lattice((-10.0, -10.0), 0.1, 200, 200)
    many = envelopes(target, lattice)
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        one = envelopes(target, lattice)
    finally:
        numba.set_num_threads(threads)
    for name in ("lower", "upper", "void"):
        assert np.array_equal(getattr(one, name), getattr(many, name), equal_nan=True)


@pytest.mark.parametrize("seed", range(4))
def test_volume__by_columns_is_the_mesh_volume(seed):
    # Midpoint sums over a random offset agree with the divergence theorem to the boundary cells.
    rng = np.random.default_rng(seed)
    mesh = SHAPES["capsule"].copy()
    mesh.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    lattice = Lattice((-14.0 + rng.random(), -14.0 + rng.random()), 0.05, 560, 560)
    found = envelopes(target_of(mesh), lattice)
    summed = np.nansum(found.upper - found.lower - found.void) * lattice.cell**2
    assert summed == pytest.approx(mesh.volume, rel=1e-3)
