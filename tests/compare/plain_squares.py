"""Plain twins of what is proved over squares: walk the path, look at all triangles."""

import numpy as np

from tests.stock import naive

STEPS = 401  # tips along a path
INSIDE = 1e-9  # share of a triangle


def top(points, triangles, sign=1.0):
    """Highest sign z (k,) of triangles (m, 3, 3) over points (k, 2), -inf beside all; no upright ones."""
    found = np.full(len(points), -np.inf)
    for a, b, c in triangles:
        edges = np.column_stack([b[:2] - a[:2], c[:2] - a[:2]])
        if abs(np.linalg.det(edges)) < 1e-9:
            continue
        low, high = np.min([a, b, c], axis=0)[:2] - 1e-6, np.max([a, b, c], axis=0)[:2] + 1e-6
        near = np.flatnonzero(((points >= low) & (points <= high)).all(axis=1))
        u, v = np.linalg.solve(edges, (points[near] - a[:2]).T)
        is_over = (u >= -INSIDE) & (v >= -INSIDE) & (u + v <= 1 + INSIDE)
        z = sign * (a[2] + u * (b[2] - a[2]) + v * (c[2] - a[2]))
        found[near] = np.where(is_over, np.maximum(found[near], z), found[near])
    return found


def steepest(triangles):
    """Greatest slope among triangles (m, 3, 3) that are not upright, rise per mm."""
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    level = np.abs(normals[:, 2]) > 1e-9
    return float((np.hypot(normals[:, 0], normals[:, 1])[level] / np.abs(normals[level, 2])).max())


def over(x, y, half, n):
    """Points (k, n n, 2) spread over squares of half edge `half` about x, y (k,), borders included."""
    at = np.linspace(-1.0, 1.0, n)
    offsets = np.column_stack([part.ravel() for part in np.meshgrid(at, at)])
    return np.column_stack([x, y])[:, None] + offsets * np.reshape(half, (-1, 1, 1))


def parts(x, y, half, n):
    """Middles x, y and half edges (k, n, n) of the n x n parts of squares, by row and column."""
    at = (2 * np.arange(n) + 1) / n - 1
    shape = (len(x), n, n)
    return (
        np.broadcast_to(x[:, None, None] + half[:, None, None] * at, shape),
        np.broadcast_to(y[:, None, None] + half[:, None, None] * at[:, None], shape),
        np.broadcast_to(half[:, None, None] / n, shape),
    )


def floor_with(points, moves, cutters, profile_of):
    """Lowest (k,) of tip + profile_of(cutter, distances (k, STEPS)) along the paths of the moves."""
    found = np.full(len(points), np.inf)
    for row in range(len(moves)):
        tips = naive.path(moves, row, STEPS)
        distance = np.linalg.norm(points[:, None] - tips[None, :, :2], axis=2)
        heights = tips[:, 2] + profile_of(cutters[int(moves.tool[row])], distance)
        found = np.minimum(found, heights.min(axis=1))
    return found


def lowest_within(points, away, moves, cutters):
    """Lowest place (k,) of the cut within away (k,) of points in plan: the profile rises with the radius."""
    return floor_with(
        points, moves, cutters, lambda cutter, d: cutter.profile(np.maximum(d - away[:, None], 0.0))
    )


def drawn_in(points, away, moves, cutters):
    """Lowest tip (k,) that covers all within away (k,) of a point, and how high it leaves wood there."""
    return floor_with(points, moves, cutters, lambda cutter, d: cutter.profile(d + away[:, None]))
