"""Kernels that look at faces over squares, against corners counted one by one."""

import numpy as np
import pytest

from simkit.compare import far_faces_kernels as kernels
from tests.compare import plain_faces as plain
from tests.compare import plain_squares
from tests.compare.parts import grid_of
from tests.stock.from_python import from_python
from tests.verdict_jobs import solid


@pytest.fixture(scope="module")
def clipped():
    return from_python(kernels._clipped)


def random_triangles(rng, count, spread):
    made = rng.uniform(-1, 1, (count, 3, 3)) * np.array([spread, spread, 2.0])
    edges = made[:, 1:, :2] - made[:, :1, :2]
    return made[np.abs(np.linalg.det(edges)) > 1e-3]


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("spread", [0.3, 1.0, 6.0])
def test_clipped__has_the_corners_of_the_part_over_the_square(clipped, spread, sign):
    # Two convex shapes are the same if they reach as far in every direction.
    rng = np.random.default_rng(int(spread * 10))
    ways = rng.normal(size=(60, 3))
    seen = set()
    for triangle in random_triangles(rng, 300, spread):
        x, y = rng.uniform(-1, 1, 2)
        half = rng.uniform(0.05, 1.5)
        points, room = np.full((9, 3), np.nan), np.full((9, 3), np.nan)
        count = clipped(triangle, sign, x, y, half, points, room)
        expected = plain.corners_over(triangle, x, y, half) * np.array([1, 1, sign])
        seen.add(min(count, 4))
        assert (count == 0) == (len(expected) == 0)
        if count:
            assert (points[:count] @ ways.T).max(axis=0) == pytest.approx(
                (expected @ ways.T).max(axis=0), abs=1e-9
            )
    assert {0, 3, 4} <= seen or spread < 1


def test_clipped__whole_triangle_whole_square_and_neither(clipped):
    points, room = np.empty((9, 3)), np.empty((9, 3))
    triangle = np.array([[0.0, 0, 1], [4, 0, 3], [0, 4, 5]])  # z = 1 + x / 2 + y
    assert clipped(triangle, 1.0, 1.0, 1.0, 5.0, points, room) == 3
    assert points[:3] == pytest.approx(triangle)
    assert clipped(triangle, 1.0, 1.0, 1.0, 0.5, points, room) == 4
    assert sorted(points[:4, 2]) == pytest.approx([2.0 - 0.25, 2.25, 2.75, 3.25])
    assert clipped(triangle, 1.0, 4.0, 4.0, 0.5, points, room) == 0
    # The most corners that there can be: each of the triangle's cut off, x + y = 4 as well.
    assert clipped(triangle, 1.0, 1.9, 1.9, 1.8, points, room) == 5


def surface(seed):
    """A target of random facets, its triangles in heights of side 1, in bins, and which of them are seen."""
    rng = np.random.default_rng(seed)
    grid = grid_of(solid(10 + rng.normal(0, 1.0, (9, 11)), 20.0, 16.0))
    arrays = grid.faces(1)
    corners = arrays[0]
    normals = plain.normals(corners)
    return rng, arrays, corners[normals[:, 2] > 1e-9]


@pytest.mark.parametrize("seed", range(3))
def test_uphill__of_squares_on_one_face_is_its_steepest_way_up(seed):
    _, arrays, faces = surface(seed)
    middles = faces.mean(axis=1)
    ways = np.full((len(faces), 2), np.nan)
    kernels.uphill(0, len(faces), middles[:, 0].copy(), middles[:, 1].copy(), 0.01, *arrays, ways)
    up = -plain.normals(faces)[:, :2]
    assert ways == pytest.approx(up / np.linalg.norm(up, axis=1, keepdims=True), abs=1e-9)


@pytest.mark.parametrize("half", [0.2, 0.9])
def test_uphill__of_squares_on_several_faces_is_their_mean(half):
    # Weights: the part of each face's box over the square.  In one bin: a face in several counts in each.
    rng, (corners, boxes, slopes, *_), faces = surface(7)
    is_seen = plain.normals(corners)[:, 2] > 1e-9
    items = np.flatnonzero(is_seen)
    arrays = (corners, boxes, slopes, (0.0, 0.0, 100.0, 1, 1), np.array([0, len(items)]), items)
    x, y = rng.uniform([1.5, 1.5], [18.5, 14.5], (80, 2)).T.copy()
    ways = np.full((80, 2), np.nan)
    kernels.uphill(0, 80, x, y, half, *arrays, ways)
    slopes = plain.normals(faces)
    slopes = -slopes[:, :2] / slopes[:, 2:]
    several = 0
    for k in range(80):
        mean, count = np.zeros(2), 0
        for face, slope in zip(faces, slopes, strict=True):
            if len(plain.corners_over(face, x[k], y[k], half)):
                low = np.maximum(face[:, :2].min(axis=0), [x[k] - half, y[k] - half])
                high = np.minimum(face[:, :2].max(axis=0), [x[k] + half, y[k] + half])
                mean, count = mean + np.prod(high - low) * slope, count + 1
        several += count > 1
        assert ways[k] == pytest.approx(mean / np.linalg.norm(mean), abs=1e-8)
        assert np.linalg.norm(ways[k]) == pytest.approx(1.0)
    assert several > 30


def test_uphill__of_what_is_level_is_nowhere():
    grid = grid_of(solid(np.full((9, 11), 10.0), 20.0, 16.0))
    ways = np.full((1, 2), np.nan)
    kernels.uphill(0, 1, np.array([9.3]), np.array([7.1]), 0.7, *grid.faces(1), ways)
    assert (ways == 0.0).all()


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("half", [0.1, 0.8])
def test_faces_off__is_the_worst_face_at_its_best_place(half, sign):
    rng, arrays, faces = surface(11)
    count = 30
    x, y = rng.uniform([1.5, 1.5], [18.5, 14.5], (count, 2)).T.copy()
    places = np.column_stack([x, y])[:, None] + rng.normal(0, 0.7, (count, 5, 2))
    cut = rng.normal(10.0, 1.0, (count, 5))
    off, which = np.full(count, np.nan), np.full(count, -1)
    kernels.faces_off(0, count, x, y, half, sign, places, cut, *arrays, off, which)
    for k in range(count):
        worst, nearest = 0.0, 0
        for face in faces:
            corners = plain.corners_over(face, x[k], y[k], half)
            if not len(corners):
                continue
            aside = np.linalg.norm(corners[:, None, :2] - places[k], axis=2)
            rise = np.maximum(sign * (corners[:, None, 2] - cut[k]), 0.0)
            apart = np.hypot(aside, rise).max(axis=0)
            if apart.min() > worst:
                worst, nearest = apart.min(), apart.argmin()
        assert off[k] == pytest.approx(worst, abs=1e-7)
        assert which[k] == nearest
    # And no place on a face is farther from all of them.
    points = np.column_stack([x, y])[:, None] + half * rng.uniform(-1, 1, (count, 40, 2))
    heights = plain_squares.top(points.reshape(-1, 2), faces).reshape(points.shape[:2])
    aside = np.linalg.norm(points[:, :, None] - places[:, None], axis=3)
    rise = np.maximum(sign * (heights[:, :, None] - cut[:, None]), 0.0)
    assert (np.hypot(aside, rise).min(axis=2) <= off[:, None] + 1e-7).all()
