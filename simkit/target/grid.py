"""The target's triangles binned in plan, for windows and for exact closest-point queries."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from simkit.errors import ShapeError
from simkit.stock.workers import share_ranges
from simkit.target.mesh import Target

VERTICAL = 1e-9  # largest |z| of a unit normal that still counts as a vertical face
UPRIGHT = 0.0175  # the same for a wall a degree out of plumb
WALL = float(
    np.sqrt(0.5)
)  # the same for any wall: an underside steeper than 45 degrees is a wall leaning over
BIN_LIMITS = (0.25, 20.0)  # mm, edge of a bin
GROUP = 4  # bins along the edge of a group
LARGEST_GRID = 4_000_000  # bins
SMALL_BOX = 4  # a box of a smaller share of the bins is looked up among them
NOT_ASKED = np.empty(0, np.int64)


class TargetGrid:
    """A target with what repeated questions need, each made once when first asked for.

    target: a closed mesh in the blank frame.
    boxes (m, 6) float64 mm: low and high corner of each triangle.
    facing (m,) int8: 1 faces up, -1 faces down, 0 vertical (or without area).
    """

    def __init__(self, target: Target):
        self.target = target
        corners = target.vertices[target.triangles]
        self.boxes = np.concatenate([corners.min(axis=1), corners.max(axis=1)], axis=1)
        self._bins: dict = {}

    @cached_property
    def sharp(self):
        """Its sharp edges: sharp.Edges, n of them."""
        from simkit.target.sharp import sharp_edges

        return sharp_edges(self.target)

    @cached_property
    def facing(self) -> np.ndarray:
        """Which way each triangle faces (m,) int8."""
        return self._facing(VERTICAL)

    def _facing(self, vertical: float) -> np.ndarray:
        """Return which way each triangle faces (m,) int8, 0 where |z| of its normal is at most `vertical`."""
        a, b, c = (self.target.vertices[self.target.triangles[:, k]] for k in range(3))
        normal = np.cross(b - a, c - a)
        flat = vertical * np.linalg.norm(normal, axis=1)
        z = normal[:, 2]
        return np.where(z > flat, 1, np.where(z < -flat, -1, 0)).astype(np.int8)

    def bins(self, side: int, vertical: float = VERTICAL) -> tuple:
        """Return the triangles that side 1 or 2 sees, vertical ones too, binned in plan.

        vertical: largest |z| of a unit normal that counts as vertical.

        Returns origin x, origin y, edge (mm), bins along x, along y, start, items, the lowest and
        highest z of each bin (bins, 2) mm, bins along the edge of a group, and the z ranges of groups.
        The sides are kept apart so that a bin's z range is narrow.
        """
        key = (side, vertical)
        if key not in self._bins:
            self._bins[key] = self._binned(side, vertical)
        return self._bins[key]

    def over(self, x0: float, x1: float, y0: float, y1: float) -> np.ndarray:
        """Return the triangles whose box in plan meets a box, mm: (k,) rows of the target's, rising."""
        origin_x, origin_y, edge, nx, ny = self._layout
        bx0, bx1 = (int(np.clip(np.floor((x - origin_x) / edge), 0, nx - 1)) for x in (x0, x1))
        by0, by1 = (int(np.clip(np.floor((y - origin_y) / edge), 0, ny - 1)) for y in (y0, y1))
        if SMALL_BOX * (bx1 - bx0 + 1) * (by1 - by0 + 1) >= nx * ny:
            chosen = np.arange(len(self.boxes))
        else:
            runs = []
            for side in (1, 2):  # upright triangles are among both
                start, items = self.bins(side)[5:7]
                for by in range(by0, by1 + 1):
                    runs.append(items[start[by * nx + bx0] : start[by * nx + bx1 + 1]])
            chosen = np.unique(self.order[np.concatenate(runs)])
        low_x, low_y, _, high_x, high_y, _ = self.boxes[chosen].T
        return chosen[(low_x <= x1) & (high_x >= x0) & (low_y <= y1) & (high_y >= y0)]

    @cached_property
    def _layout(self) -> tuple[float, float, float, int, int]:
        """Origin x, y, edge (mm) and numbers of bins along x and y: a few triangles to a bin."""
        low, high = self.target.bounds
        extent = np.maximum(high - low, 1e-6)
        edge = 2.0 * float(np.sqrt(extent[0] * extent[1] / max(len(self.boxes) / 2, 1)))
        edge = float(np.clip(edge, *BIN_LIMITS))
        while (extent[0] / edge + 1) * (extent[1] / edge + 1) > LARGEST_GRID:
            edge *= 2
        return float(low[0]), float(low[1]), edge, int(extent[0] / edge) + 1, int(extent[1] / edge) + 1

    def _binned(self, side: int, vertical: float) -> tuple:
        facing = self._facing(vertical)[self.order]
        return self._in_bins(np.flatnonzero(facing >= 0 if side == 1 else facing <= 0))

    def _leaning(self, side: int) -> tuple | None:
        """Return the walls that lean over as seen from a side, binned likewise; None where there are none."""
        key = (side, -WALL)
        if key not in self._bins:
            is_under = self.facing == (-1 if side == 1 else 1)
            chosen = np.flatnonzero((is_under & (self._facing(WALL) == 0))[self.order])
            self._bins[key] = self._in_bins(chosen) if len(chosen) else None
        return self._bins[key]

    def _in_bins(self, chosen: np.ndarray) -> tuple:
        """Return triangles, by their numbers in plan order, in bins as `bins` does."""
        from simkit.target.closest_kernels import bin_triangles, group_bins

        start, items, heights = bin_triangles(self.ordered[1], chosen, *self._layout)
        tops = group_bins(heights, *self._layout[3:], GROUP)
        return *self._layout, start, items, heights, GROUP, tops

    @cached_property
    def order(self) -> np.ndarray:
        """The triangles in plan order, by bin (m,) int64."""
        origin_x, origin_y, edge, nx, _ = self._layout
        ix = ((self.boxes[:, 0] - origin_x) / edge).astype(np.int64)
        iy = ((self.boxes[:, 1] - origin_y) / edge).astype(np.int64)
        return np.argsort(iy * nx + ix, kind="stable")

    @cached_property
    def ordered(self) -> tuple[np.ndarray, np.ndarray]:
        """Corners and boxes of the triangles in plan order, so that neighbours lie close in memory.

        Numbers in `bins` count in this order.
        """
        corners = np.ascontiguousarray(self.target.vertices[self.target.triangles][self.order])
        return corners, np.ascontiguousarray(self.boxes[self.order])

    def upward(self, side: int) -> np.ndarray:
        """Return the corners of `ordered` (m, 3, 3) in heights along the axis of side 1 or 2."""
        key = (side, "upward")
        if key not in self._bins:
            corners = self.ordered[0]
            self._bins[key] = corners if side == 1 else corners * np.array([1.0, 1.0, -1.0])
        return self._bins[key]

    def faces(self, side: int) -> tuple:
        """Return what kernels need of the triangles that a side sees, over squares in plan.

        Corners along the side's axis, boxes, slopes in x and y with twice the signed area in plan (m, 3), and
        of the bins the layout (5,), start and items.
        """
        from simkit.target.closest_kernels import gradients

        key = (side, "faces")
        if key not in self._bins:
            corners, bins = self.upward(side), self.bins(side)
            self._bins[key] = corners, self.ordered[1], gradients(corners), bins[:5], bins[5], bins[6]
        return self._bins[key]

    def distance(
        self,
        points: np.ndarray,
        side: int = 0,
        within: np.ndarray | None = None,
        vertical: float = VERTICAL,
    ) -> np.ndarray:
        """Return the shortest distance from points to the target's surface, mm (k,) float64.

        points (k, 3) float64 mm, blank frame.  side: 0 all triangles, 1 those that face up or are
        vertical, 2 those that face down or are vertical.  within (k,) mm: no triangle farther than
        this matters, and this is the answer when none is nearer; +inf when not given.
        vertical: largest |z| of a unit normal that counts as vertical.
        Error: rounding only, under 1e-9 mm for parts up to 2 m.
        Source: closest point on a triangle by its seven regions, C. Ericson, Real-Time Collision
        Detection, 2005, section 5.1.5 (from memory); against a general mesh library in tests/target.
        """
        points = np.ascontiguousarray(points, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 3:
            raise ShapeError(f"points must be (k, 3), not {points.shape}")
        if within is None:
            within = np.full(len(points), np.inf)
        within = np.ascontiguousarray(within, dtype=np.float64)
        if within.shape != (len(points),):
            raise ShapeError(f"within must be ({len(points)},), not {within.shape}")
        for one in (1, 2) if side == 0 else (side,):
            within, _ = self._closest(points, within, self.bins(one, vertical))
        return within

    def nearest(self, points: np.ndarray, side: int) -> np.ndarray:
        """Return the triangle of a side that is nearest to each of points (k, 3) mm: (k,) in `ordered`."""
        return self._closest(points, None, self.bins(side), is_asked=True)[1]

    def to_leaning(self, points: np.ndarray, side: int, within: np.ndarray | None = None) -> np.ndarray:
        """Return the distance from points (k, 3) mm to the walls that lean over, mm (k,) float64.

        Those are undersides, as seen from a side, that are steeper than 45 degrees.  within: as for
        `distance`.
        """
        bins = self._leaning(side)
        if bins is None:
            return np.full(len(points), np.inf) if within is None else np.array(within, np.float64)
        return self._closest(points, within, bins)[0]

    def has_leaning(self, side: int) -> bool:
        """Return whether any wall leans over, as seen from a side."""
        return self._leaning(side) is not None

    def on_leaning(self, points: np.ndarray, side: int) -> np.ndarray:
        """Return the nearest places of the walls that lean over, mm (k, 3); the mesh must have such walls."""
        triangle = self._closest(points, None, self._leaning(side), is_asked=True)[1]
        return closest_places(points, self.ordered[0][triangle])

    def _closest(self, points, within, bins, is_asked: bool = False) -> tuple[np.ndarray, np.ndarray]:
        """Return distances to binned triangles, mm (k,), and if asked which are nearest (k,)."""
        from simkit.target.closest_kernels import RUN, closest_distance

        points = np.ascontiguousarray(points, dtype=np.float64)
        within = np.full(len(points), np.inf) if within is None else within
        within = np.ascontiguousarray(within, dtype=np.float64)
        out = np.empty(len(points))
        found = np.empty(len(points), np.int64) if is_asked else NOT_ASKED
        search = (points, within, *self.ordered, *bins, out, found)
        share_ranges(lambda a, b: closest_distance(a, b, *search), -(-len(points) // RUN), 8)
        return out, found

    def heights(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the lower and the upper envelope at any points, mm (k,) float64, NaN beside the part.

        points (k, 2) float64 mm, blank frame.  Error: rounding, about 1e-12 mm times the slope of the
        triangle; a point within a billionth of a triangle's size of its edge counts as on it.
        """
        from simkit.target.column_kernels import column_ends

        x, y = np.ascontiguousarray(np.asarray(points, dtype=np.float64).T)
        ends, above = [], np.full(len(x), -np.inf)
        for side in (2, 1):
            out = np.empty(len(x))
            column_ends(x, y, self.ordered[0], *self.bins(side)[:7], side == 1, above, out)
            ends.append(out)
        return ends[0], ends[1]

    def ahead(self, points: np.ndarray, side: int) -> tuple[np.ndarray, np.ndarray]:
        """Return where a ray from points towards side 1 or 2 first enters the part, and first leaves it.

        points (k, 3) float64 mm, blank frame.  Each (k,) mm, heights along the side's axis (z for side 1,
        -z for side 2); NaN where there is no such crossing.  Where the first entry is the nearer one (or
        nothing is left), the point lies outside the part.  Error: as for `heights`.
        """
        from simkit.target.column_kernels import column_ends

        x, y, z = np.ascontiguousarray(np.asarray(points, dtype=np.float64).T)
        sign = 1.0 if side == 1 else -1.0
        corners = self.upward(side)
        found = []
        for faces in (3 - side, side):
            out = np.empty(len(x))
            column_ends(x, y, corners, *self.bins(faces)[:7], False, sign * z, out)
            found.append(out)
        return found[0], found[1]


def closest_places(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return the place on each triangle that is nearest to its point, mm (k, 3) float64.

    points (k, 3) mm; triangles (k, 3, 3) mm: a point and a triangle for each row.
    Error: rounding.  The foot on the plane where it lies inside, else the nearest place of the edges.
    """
    a, b, c = (triangles[:, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    area2 = np.maximum((normal**2).sum(axis=1), np.finfo(float).tiny)
    off = ((points - a) * normal).sum(axis=1) / area2
    found = points - off[:, None] * normal
    is_inside = (normal != 0).any(axis=1)
    best = np.full(len(points), np.inf)
    place = np.empty_like(found)
    for p, q in ((a, b), (b, c), (c, a)):
        along = q - p
        is_inside &= (np.cross(along, found - p) * normal).sum(axis=1) >= 0
        length2 = np.maximum((along**2).sum(axis=1), np.finfo(float).tiny)
        share = np.clip(((points - p) * along).sum(axis=1) / length2, 0.0, 1.0)
        foot = p + share[:, None] * along
        away = ((points - foot) ** 2).sum(axis=1)
        is_nearer = away < best
        best, place = np.where(is_nearer, away, best), np.where(is_nearer[:, None], foot, place)
    return np.where(is_inside[:, None], found, place)
