"""Exact distance to the triangles, against a general mesh library and closed forms."""

from importlib.util import find_spec
from pathlib import Path

import numba
import numpy as np
import pytest
import trimesh

from simkit.errors import ShapeError
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target

EXAMPLES = Path(find_spec("pyvista").origin).parent / "examples"  # meshes that ship with a public package
SHIPPED = ["ant.ply", "nut.ply", "sphere.ply", "airplane.ply"]


def grid_of(mesh):
    return TargetGrid(make_target(mesh.vertices, mesh.faces))


@pytest.mark.parametrize("name", SHIPPED)
def test_distance__against_a_mesh_library(name):
    # Outside: trimesh.proximity (rtree); points near and far, inside and out, and on the surface.
    mesh = trimesh.load_mesh(EXAMPLES / name)
    rng = np.random.default_rng(7)
    low, high = mesh.bounds
    near = mesh.vertices[rng.integers(0, len(mesh.vertices), 100)] + rng.normal(0, 0.01, (100, 3)) * (
        high - low
    )
    far = rng.uniform(low - (high - low), high + (high - low), (100, 3))
    points = np.vstack([near, far, mesh.vertices[:20], mesh.triangles_center[:20]])
    _, expected, _ = trimesh.proximity.closest_point(mesh, points)
    assert np.abs(grid_of(mesh).distance(points) - expected).max() < 1e-6


@pytest.mark.parametrize("side", [1, 2])
def test_distance__one_side_only(side):
    mesh = trimesh.load_mesh(EXAMPLES / "ant.ply")
    z = mesh.face_normals[:, 2]
    part = mesh.submesh([np.flatnonzero(z >= -1e-9 if side == 1 else z <= 1e-9)], append=True)
    points = np.random.default_rng(3).uniform(*mesh.bounds, (200, 3))
    _, expected, _ = trimesh.proximity.closest_point(part, points)
    assert np.abs(grid_of(mesh).distance(points, side) - expected).max() < 1e-6


def test_distance__box_closed_form():
    mesh = trimesh.creation.box(extents=(10, 6, 4))
    points = np.random.default_rng(1).uniform(-9, 9, (500, 3))
    q = np.abs(points) - [5, 3, 2]
    outside = np.linalg.norm(np.maximum(q, 0), axis=1)
    expected = np.where((q < 0).all(axis=1), -q.max(axis=1), outside)
    assert np.abs(grid_of(mesh).distance(points) - expected).max() < 1e-12


def test_distance__sphere_and_torus_closed_forms():
    points = np.random.default_rng(2).uniform(-12, 12, (500, 3))
    sphere = trimesh.creation.icosphere(5, radius=8.0)
    sagitta = 8.0 - np.sqrt(64 - sphere.edges_unique_length.max() ** 2 / 3)
    exact = np.abs(np.linalg.norm(points, axis=1) - 8)
    assert np.abs(grid_of(sphere).distance(points) - exact).max() <= sagitta
    n = 200
    torus = trimesh.creation.torus(8.0, 2.0, major_sections=n, minor_sections=n)
    exact = np.abs(np.hypot(np.hypot(points[:, 0], points[:, 1]) - 8, points[:, 2]) - 2)
    sagitta = 10 * (1 - np.cos(np.pi / n)) + 2 * (1 - np.cos(np.pi / n))
    assert np.abs(grid_of(torus).distance(points) - exact).max() <= sagitta


def test_distance__cone_closed_form():
    # A cone of base radius 6 and height 8: rim, slant and base are its profile, a triangle in (r, z).
    n = 720
    cone = trimesh.creation.cone(radius=6.0, height=8.0, sections=n)
    points = np.random.default_rng(4).uniform([-9, -9, -4], [9, 9, 12], (500, 3))
    r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]

    def to_segment(a, b):
        along = np.array(b) - a
        s = np.clip(((r - a[0]) * along[0] + (z - a[1]) * along[1]) / (along @ along), 0, 1)
        return np.hypot(r - a[0] - s * along[0], z - a[1] - s * along[1])

    exact = np.minimum(to_segment((6.0, 0.0), (0.0, 8.0)), to_segment((0.0, 0.0), (6.0, 0.0)))
    sagitta = 6.0 * (1 - np.cos(np.pi / n))
    assert np.abs(grid_of(cone).distance(points) - exact).max() <= sagitta


@pytest.mark.parametrize("seed", range(4))
def test_distance__plane_closed_form(seed):
    # The faces of a large tetrahedron, far from its edges: n . p - d.
    rng = np.random.default_rng(seed)
    corners = rng.normal(0, 1, (4, 3)) * 100
    tetrahedron = trimesh.convex.convex_hull(corners)
    normal, origin = tetrahedron.face_normals[0], tetrahedron.triangles_center[0]
    inner = 0.05 * (tetrahedron.triangles[0] - origin)
    weight = rng.dirichlet([1, 1, 1], 200)
    height = rng.uniform(-0.5, 0.5, 200)
    points = origin + weight @ inner + height[:, None] * normal
    nearest = np.min(
        [
            np.abs((points - c) @ n)
            for c, n in zip(tetrahedron.triangles_center, tetrahedron.face_normals, strict=True)
        ],
        axis=0,
    )
    assert grid_of(tetrahedron).distance(points) == pytest.approx(nearest, abs=1e-9)


def test_distance__triangles_without_area_are_lines():
    # A triangle of three points in one line is the longest of its edges.
    vertices = [[0, 0, 0], [4, 0, 0], [10, 0, 0], [0, 0, 0], [0, 5, 5], [0, 0, 9]]
    grid = TargetGrid(make_target(vertices, [[0, 1, 2]]))
    points = np.array([[5.0, 3, 4], [-3, 0, 4], [12, 0, 0]])
    assert np.allclose(grid.distance(points), [5, 5, 2], atol=1e-12)


def test_distance__within_is_the_answer_when_nothing_is_nearer():
    grid = grid_of(trimesh.creation.box(extents=(2, 2, 2)))
    found = grid.distance(np.array([[0.0, 0, 5], [0, 0, 5]]), within=np.array([1.5, 4.5]))
    assert np.array_equal(found, [1.5, 4.0])


def test_distance__wrong_shapes_are_refused():
    grid = grid_of(trimesh.creation.box(extents=(2, 2, 2)))
    with pytest.raises(ShapeError, match=r"points must be \(k, 3\), not \(4, 2\)"):
        grid.distance(np.zeros((4, 2)))
    with pytest.raises(ShapeError, match=r"within must be \(4,\)"):
        grid.distance(np.zeros((4, 3)), within=np.zeros(3))


def test_distance__order_and_threads_do_not_matter():
    grid = grid_of(trimesh.creation.icosphere(4, radius=8.0))
    points = np.random.default_rng(5).uniform(-10, 10, (1000, 3))
    mixed = np.random.default_rng(6).permutation(1000)
    many = grid.distance(points)
    assert np.array_equal(grid.distance(points[mixed]), many[mixed])
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        assert np.array_equal(grid.distance(points), many)
    finally:
        numba.set_num_threads(threads)


@pytest.mark.parametrize("name", ["ant.ply", "nut.ply", "sphere.ply"])
def test_heights__against_ray_casts_of_a_mesh_library(name):
    mesh = trimesh.load_mesh(EXAMPLES / name)
    rng = np.random.default_rng(3)
    low, high = mesh.bounds
    points = rng.uniform(low[:2] - 1, high[:2] + 1, (300, 2))
    origins = np.column_stack([points, np.full(300, low[2] - 10)])
    places, ray, _ = mesh.ray.intersects_location(origins, np.tile([0.0, 0.0, 1.0], (300, 1)))
    lower, upper = np.full(300, np.inf), np.full(300, -np.inf)
    np.minimum.at(lower, ray, places[:, 2])
    np.maximum.at(upper, ray, places[:, 2])
    found = grid_of(mesh).heights(points)
    is_met = np.isfinite(lower)
    assert 30 < is_met.sum() < 300
    assert np.array_equal(np.isfinite(found[0]), is_met)
    assert np.abs(found[0] - lower)[is_met].max() < 1e-6
    assert np.abs(found[1] - upper)[is_met].max() < 1e-6
