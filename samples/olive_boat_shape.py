"""The olive boat as closed-form heights, and its mesh.

Blank frame, mm: x along the length, y along the width, z up with side 1 (the foot) facing up, so the
boat lies upside down.  Its rim lies in the plane z = RIM, its foot ends at z = FOOT_TOP.  Outside and
hollows are height functions, so every number a check may want can be computed from this file alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import Delaunay

LENGTH, WIDTH, THICKNESS = 280.0, 90.0, 38.0
RIM, FOOT_TOP = 1.0, 37.0

# Outside: height of the rim band, how far the hull rises above it, slope at the band, roundness of the keel.
BAND, HULL_RISE, HULL_SLOPE, KEEL = 8.0, 26.3, 2.4, 5.0
# Foot: a stadium about a short line, with a sloping wall that runs into the hull through a fillet.
FOOT_ENDS, FOOT_RADIUS, FOOT_SLOPE = ((112.0, 44.2), (143.0, 45.6)), 9.5, 1.4
FOOT_EDGE, FOOT_FILLET = 0.8, 3.5
LIP = 1.5  # roundness of the hollows' upper edge


@dataclass(frozen=True)
class Arc:
    """A circular arc of a chain that runs counter-clockwise: from angle `first` through `sweep`."""

    centre: tuple[float, float]
    radius: float
    first: float
    sweep: float

    def point(self, part, grow=0.0):
        """Return the points (..., 2) at these parts (0 to 1) of the arc, `grow` mm outside it."""
        angle = self.first + self.sweep * np.asarray(part, dtype=float)
        return np.stack(
            [
                self.centre[0] + (self.radius + grow) * np.cos(angle),
                self.centre[1] + (self.radius + grow) * np.sin(angle),
            ],
            axis=-1,
        )


@dataclass(frozen=True)
class Side:
    """One long side of a pointed shape: two arcs that touch, with the same tangent, at `top`.

    top: (x, y); normal: outward unit vector there; left, right: (centre x, centre y, radius) of the
    tip circles that the arcs touch from outside (radius 0: the arcs go through the point).
    """

    top: tuple[float, float]
    normal: tuple[float, float]
    left: tuple[float, float, float]
    right: tuple[float, float, float]

    def circle(self, tip):
        """Return centre and radius of the arc from `top` to that tip circle."""
        vx, vy = self.top[0] - tip[0], self.top[1] - tip[1]
        along = vx * self.normal[0] + vy * self.normal[1]
        radius = (vx * vx + vy * vy - tip[2] ** 2) / (2 * (along - tip[2]))
        return (self.top[0] - radius * self.normal[0], self.top[1] - radius * self.normal[1]), radius

    def inside(self, x, y):
        """Return the distance to this side, positive inside; smooth, also beyond the tips.

        Holds on this side of both centres, so the arcs must be wider than the shape.
        """
        tx, ty = abs(self.normal[1]), -self.normal[0] * math.copysign(1, self.normal[1])
        (ax, ay), a = self.circle(self.left)
        (bx, by), b = self.circle(self.right)
        is_left = (x - self.top[0]) * tx + (y - self.top[1]) * ty < 0
        return np.where(is_left, a - np.hypot(x - ax, y - ay), b - np.hypot(x - bx, y - by))


def _unit(degrees):
    return (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))


def soft_min(a, b, k):
    """Smaller of two, rounded as a hyperbola; k / 2 below both where they are equal."""
    return (a + b - np.sqrt((a - b) ** 2 + k * k)) / 2


def near_min(a, b, k):
    """Smaller of two, rounded only where they differ by less than k (k / 4 below at the crossing)."""
    return np.minimum(a, b) - np.maximum(k - np.abs(a - b), 0.0) ** 2 / (4 * k)


def near_max(a, b, k):
    """Larger of two, rounded only where they differ by less than k."""
    return -near_min(-a, -b, k)


_LEFT_TIP, _RIGHT_TIP = (31.2, 45.4, 4.2), (246.3, 44.6, 6.7)
BACK = Side((158.0, 78.2), _unit(90.6), _LEFT_TIP, _RIGHT_TIP)
FRONT = Side((152.0, 12.2), _unit(-90.4), _LEFT_TIP, _RIGHT_TIP)


def outline():
    """Return the outline as six arcs, counter-clockwise from the left tip, tangents continuous."""

    def angle(centre, to):
        return math.atan2(to[1] - centre[1], to[0] - centre[0])

    circles = []
    for side, tip in ((FRONT, _LEFT_TIP), (FRONT, _RIGHT_TIP), (BACK, _RIGHT_TIP), (BACK, _LEFT_TIP)):
        centre, radius = side.circle(tip)
        circles.append((centre, radius, angle(centre, tip), angle(centre, side.top)))
    (c0, r0, t0, m0), (c1, r1, t1, m1), (c2, r2, t2, m2), (c3, r3, t3, m3) = circles
    parts = [
        (_LEFT_TIP[:2], _LEFT_TIP[2], t3, t0),
        (c0, r0, t0, m0),
        (c1, r1, m1, t1),
        (_RIGHT_TIP[:2], _RIGHT_TIP[2], t1, t2),
        (c2, r2, t2, m2),
        (c3, r3, m3, t3),
    ]
    return [Arc(c, r, first, (last - first) % (2 * math.pi)) for c, r, first, last in parts]


OUTLINE = outline()


def outside(x, y):
    """Return the distance to the outline: positive outside, negative inside."""
    best = np.full(np.broadcast(x, y).shape, -np.inf)
    for arc in OUTLINE:
        dx, dy = x - arc.centre[0], y - arc.centre[1]
        is_in = (np.arctan2(dy, dx) - arc.first) % (2 * math.pi) <= arc.sweep
        best = np.where(is_in, np.maximum(best, np.hypot(dx, dy) - arc.radius), best)
    return best


def top(x, y):
    """Return the height of the outside; also defined beyond the outline, where it goes on down."""
    d = soft_min(BACK.inside(x, y), FRONT.inside(x, y), KEEL)
    hull = BAND + HULL_RISE * (1 - np.exp(-HULL_SLOPE / HULL_RISE * d))
    (ax, ay), (bx, by) = FOOT_ENDS
    along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / ((bx - ax) ** 2 + (by - ay) ** 2)
    along = np.clip(along, 0.0, 1.0)
    r = np.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay))
    foot = near_min(FOOT_TOP, FOOT_TOP + FOOT_SLOPE * (FOOT_RADIUS - r), FOOT_EDGE)
    return near_max(hull, foot, FOOT_FILLET)


@dataclass(frozen=True)
class Hollow:
    """A pointed hollow cut up into the boat from the rim.

    back, front: its sides.  point: roundness of the pointed ends in plan.  slope of its walls.
    depth: of the floor below the rim at x = deepest; the floor rises by bow * (x - deepest)^2.
    bend: roundness between wall and floor.
    """

    name: str
    back: Side
    front: Side
    point: float
    slope: float
    depth: float
    deepest: float
    bow: float
    bend: float

    def below_rim(self, x, y):
        """Return how far the hollow reaches above the rim plane (blank frame: upwards), 0 outside it."""
        wall = self.slope * near_min(self.back.inside(x, y), self.front.inside(x, y), self.point)
        floor = self.depth - self.bow * (x - self.deepest) ** 2
        return near_max(soft_min(wall, floor, self.bend), 0.0, LIP)


def _hollow(name, left, right, back, front, **numbers):
    left, right = (*left, 0.0), (*right, 0.0)
    sides = Side(back[0], _unit(back[1]), left, right), Side(front[0], _unit(front[1]), left, right)
    return Hollow(name, *sides, **numbers)


MAIN = _hollow(
    "main hollow",
    (46.5, 45.6),
    (181.5, 44.9),
    ((119.0, 67.6), 91.0),
    ((117.0, 22.8), -91.0),
    point=3.5,
    slope=1.9,
    depth=25.3,
    deepest=122.0,
    bow=0.0016,
    bend=4.0,
)
SMALL = _hollow(
    "stone hollow",
    (188.0, 44.5),
    (240.5, 45.0),
    ((212.0, 57.0), 90.8),
    ((213.5, 32.6), -90.4),
    point=2.7,
    slope=1.8,
    depth=15.5,
    deepest=211.0,
    bow=0.003,
    bend=4.0,
)
HOLLOWS = (MAIN, SMALL)


def deeper(hollow, by):
    """Return the same hollow with its floor `by` mm deeper."""
    return replace(hollow, depth=hollow.depth + by)


def bottom(x, y, hollows=HOLLOWS):
    """Return the height of the lower surface: the rim plane and the hollows."""
    return RIM + sum(hollow.below_rim(x, y) for hollow in hollows)


def outline_points(sagitta=0.003, longest=1.2):
    """Return points (n, 2) on the outline, counter-clockwise; chords this close to the arcs."""
    rows = []
    for arc in OUTLINE:
        chord = min(longest, math.sqrt(8 * arc.radius * sagitta))
        count = math.ceil(arc.radius * arc.sweep / chord)
        rows.append(arc.point(np.arange(count) / count))
    return np.concatenate(rows)


def _facet_error(height, points):
    """Return how far points (n, 3) on facets lie from the height function, normal to the surface."""
    x, y, z = points.T
    step = 1e-4
    slope_x = (height(x + step, y) - height(x - step, y)) / (2 * step)
    slope_y = (height(x, y + step) - height(x, y - step)) / (2 * step)
    return np.abs(z - height(x, y)) / np.sqrt(1 + slope_x**2 + slope_y**2)


_INNER = np.array([[2, 2, 2], [4, 1, 1], [1, 4, 1], [1, 1, 4]]) / 6  # where a facet is tried


def _surface(height, ring, error, coarse=2.0, rounds=12):
    """Return points (n, 3), ring first, and triangles (m, 3) over the convex outline `ring`.

    Edges are halved until facets lie within `error` mm, normal to the surface, of the height function.
    """
    low, high = ring.min(axis=0), ring.max(axis=0)
    rows = np.arange(low[1], high[1], coarse * math.sqrt(0.75))
    grid = np.concatenate(
        [
            np.stack(np.broadcast_arrays(np.arange(low[0] + coarse / 2 * (i % 2), high[0], coarse), y), -1)
            for i, y in enumerate(rows)
        ]
    )
    points = np.concatenate([ring, grid[outside(*grid.T) < -0.5]])
    for _ in range(rounds):
        triangles = Delaunay(points).simplices
        solid = np.column_stack([points, height(*points.T)])
        corner = solid[triangles]
        inner = [np.einsum("k,fkc->fc", w, corner) for w in _INNER]
        is_bad = np.any([_facet_error(height, points_in) > error for points_in in inner], axis=0)
        wanted, is_split = [], np.zeros(len(triangles), dtype=bool)
        for i, j in ((0, 1), (1, 2), (2, 0)):
            half = (corner[:, i] + corner[:, j]) / 2
            is_ring = (triangles[:, [i, j]] < len(ring)).all(axis=1) & (outside(*half.T[:2]) > -0.1)
            is_wanted = (_facet_error(height, half) > error) & ~is_ring
            is_split |= is_wanted
            wanted.append(half[is_wanted, :2])
        wanted.append(corner.mean(axis=1)[is_bad & ~is_split, :2])
        wanted = np.unique(np.concatenate(wanted).round(6), axis=0)
        if not len(wanted):
            break
        points = np.concatenate([points, wanted])
    return np.column_stack([points, height(*points.T)]), triangles


def mesh(error=0.0095):
    """Return vertices (n, 3) and faces (m, 3), closed, outward; facets within about `error` mm."""
    ring = outline_points()
    upper, upper_faces = _surface(top, ring, error)
    lower, lower_faces = _surface(bottom, ring, error)

    def facing(points, faces, up):
        a, b, c = (points[faces[:, i], :2] for i in range(3))
        area = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        turned = np.where((area > 0)[:, None] == up, faces, faces[:, ::-1])
        return turned[area != 0]

    n, shift = len(ring), len(upper)
    i, j = np.arange(n), (np.arange(n) + 1) % n
    band = np.concatenate([np.column_stack([i, i + shift, j]), np.column_stack([j, i + shift, j + shift])])
    faces = [facing(upper, upper_faces, True), facing(lower, lower_faces, False) + shift, band]
    return np.concatenate([upper, lower]), np.concatenate(faces)
