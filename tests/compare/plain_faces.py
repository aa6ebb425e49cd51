"""Plain twins of what is asked of a target's faces: all triangles for all points, no bins, no halving."""

import numpy as np
import trimesh

WALL = np.cos(np.radians(45))  # |z| of a unit normal: less is a wall that leans over


def normals(triangles):
    """Unit normals (m, 3)."""
    found = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return found / np.linalg.norm(found, axis=1, keepdims=True)


def to_segment(points, a, b):
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
    return np.linalg.norm(points - a - share[:, None] * (b - a), axis=1)


def distance(points, triangles):
    """Shortest distance (k,) to triangles (m, 3, 3): to the plane if its foot is inside, else to an edge."""
    found = np.full(len(points), np.inf)
    for (a, b, c), normal in zip(triangles, normals(triangles), strict=True):
        off = (points - a) @ normal
        foot = points - off[:, None] * normal
        is_in = np.all([np.cross(q - p, foot - p) @ normal >= 0 for p, q in ((a, b), (b, c), (c, a))], axis=0)
        edges = np.min([to_segment(points, *ends) for ends in ((a, b), (b, c), (c, a))], axis=0)
        found = np.minimum(found, np.where(is_in, np.abs(off), edges))
    return found


def seen(triangles, side, upright=1e-9):
    """Those that face a side's way, and those that are upright."""
    z = normals(triangles)[:, 2] * (1 if side == 1 else -1)
    return triangles[z >= -upright]


def crossings(point, triangles, side):
    """Heights along the side's axis at which a plumb line crosses, and z of their normals, in order."""
    sign = 1.0 if side == 1 else -1.0
    found = []
    for (a, b, c), normal in zip(triangles, normals(triangles), strict=True):
        if abs(normal[2]) < 1e-9:
            continue
        u, v = np.linalg.solve(np.column_stack([b[:2] - a[:2], c[:2] - a[:2]]), point[:2] - a[:2])
        if u >= 0 and v >= 0 and u + v <= 1:
            found.append((sign * (a[2] + u * (b[2] - a[2]) + v * (c[2] - a[2])), sign * normal[2]))
    return sorted(found)


def nearest_place(point, triangles):
    """The place of triangles (m, 3, 3) nearest to a point.  Outside: a general mesh library's."""
    places = trimesh.triangles.closest_point(triangles, np.tile(point, (len(triangles), 1)))
    return places[np.linalg.norm(places - point, axis=1).argmin()]


def removed(point, triangles, side, is_bare, steps=1001):
    """How deep a cut down to a point gouged, mm, and how much less it may be for the steps it is found in.

    is_bare(place): whether the cut took the wood off a place of the surface.
    """
    sign = 1.0 if side == 1 else -1.0
    z = normals(triangles)[:, 2] * sign
    near, leaning = triangles[z >= -1e-9], triangles[(z < -1e-9) & (z >= -WALL)]
    straight = distance(point[None], near)[0]
    rows = crossings(point, triangles, side)
    above = [row for row in rows if row[0] > sign * point[2]]
    if not above:
        return straight, 0.0  # over all of it

    def beside(foot, kept, is_wall):
        """What is gone above a foot counts, if what leans over is nearer there and bare beside it."""
        if not len(leaning) or not (is_wall or distance(foot[None], leaning)[0] < kept):
            return kept, 0.0
        heights = np.linspace(sign * foot[2], next(h for h, up in above if up > 0), steps)
        for _ in range(2):  # again about the best height
            column = np.column_stack([np.tile(foot[:2], (steps, 1)), sign * heights])
            away = np.minimum(distance(column, near), distance(column, leaning))
            k, step = away.argmax(), np.diff(heights).max()
            heights = np.clip(
                np.linspace(heights[k] - step, heights[k] + step, steps), heights[0], heights[-1]
            )
        if not is_bare(nearest_place(column[k], leaning)):
            return kept, 0.0
        return min(kept, away.max()), step * (away.max() < kept)

    if len(above) % 2:  # in material
        return beside(point, straight, False)
    under, slope = above[0]
    foot = np.array([*point[:2], sign * under])
    depth, step = beside(foot, distance(foot[None], near)[0], -slope < WALL)
    return (depth, step) if depth < straight else (straight, 0.0)


def corners_over(triangle, x, y, half):
    """Corners (n, 3) of the part of a triangle over a square: corners of one in the other, and crossings."""
    a, b, c = triangle
    edges = np.column_stack([b[:2] - a[:2], c[:2] - a[:2]])
    middle = np.array([x, y])
    square = middle + half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    found = [p for p in triangle if (np.abs(p[:2] - middle) <= half).all()]
    for p in square:
        u, v = np.linalg.solve(edges, p - a[:2])
        if u >= 0 and v >= 0 and u + v <= 1:
            found.append(a + u * (b - a) + v * (c - a))
    for i in range(3):
        p, q = triangle[i], triangle[(i + 1) % 3]
        for j in range(4):
            r, s = square[j], square[(j + 1) % 4]
            across = np.column_stack([q[:2] - p[:2], r - s])
            if abs(np.linalg.det(across)) < 1e-14:
                continue
            t, w = np.linalg.solve(across, r - p[:2])
            if 0 <= t <= 1 and 0 <= w <= 1:
                found.append(p + t * (q - p))
    return np.array(found).reshape(-1, 3)
