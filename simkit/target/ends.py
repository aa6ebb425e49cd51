"""Walls of a side carried on past the edges at which an underside ends them.

On paper.  A wall of one side ends where a face of the other side meets it: a chamfer, seen from the wall's
side, is an underside.  Let the wood about that edge be blunt (90 degrees and more between wall and underside)
and let a cut stand s too far in all along the wall, up to the underside.  What was wall and what is wall now
are s apart, and so are what was wood at the edge and what is left: s, measured both ways.  But the place at
which the new wall meets the underside, s in and beyond the edge by y <= s, is hypot(s, y) from the wall's
last edge: s / cos a for an upright wall and an underside of a < 45 degrees.  That is no depth: nothing went
in there any farther than s, past a wall that had ended.  So beyond the edge a place counts from the wall's
plane, which leads on through the air there; and where it lies farther beyond than in (y > s), with y.
About a sharp edge (less than 90 degrees) the nearest place of the wall is a foot on it, and nothing changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from simkit.target.sharp import Edges, along_edges

SPACING = 1.0  # mm between places on edges, by which the edges near a point are found
NEAREST = 8  # of these places: edges that are looked at for a point
OUT = 1e-4  # mm before the plane: there no part may be


@dataclass(frozen=True)
class WallEnds:
    """Edges at which walls of a side end, n of them; lengths in mm.

    start (n, 3), along (n, 3) unit, length (n,): the edges.  on (n, 3) unit: along the wall, over its end.
    out (n, 3) unit: the wall's normal.  is_leaning (n,): walls that lean over, as seen from the side.
    """

    start: np.ndarray
    along: np.ndarray
    length: np.ndarray
    on: np.ndarray
    out: np.ndarray
    is_leaning: np.ndarray

    @cached_property
    def _near(self):
        from scipy.spatial import cKDTree

        which, places = along_edges(self.start, self.start + self.length[:, None] * self.along, SPACING)
        return which, cKDTree(places)

    def beyond(self, points: np.ndarray, within: np.ndarray, is_part, with_leaning: bool) -> np.ndarray:
        """Return how far places beyond the ends of walls lie in from these walls, mm (k,); else `within`.

        points (k, 3) mm.  within (k,) mm: what is more does not matter.  is_part(places (m, 3)): (m,) bool,
        whether places lie in the part; a wall that would lead on through the part does not.  with_leaning:
        walls that lean over count, too.
        Error: rounding; of the edges near a point those of its NEAREST places on them are asked.
        Source: own derivation, see above.
        """
        found = within.copy()
        if not len(self.start) or not len(points):
            return found
        which, tree = self._near
        far, _ = tree.query(points)
        rows = np.flatnonzero(far < np.sqrt(2) * within + SPACING)
        if not len(rows):
            return found
        far, nth = tree.query(points[rows], k=min(NEAREST, len(which)))
        for column in nth.reshape(len(rows), -1).T:
            edge = which[column]
            off = points[rows] - self.start[edge]
            along, on, deep = (
                np.einsum("ij,ij->i", off, axis[edge]) for axis in (self.along, self.on, -self.out)
            )
            past = along - np.clip(along, 0.0, self.length[edge])
            depth = np.hypot(np.maximum(deep, on), past)
            is_asked = (deep >= 0) & (on > 0) & (depth < found[rows])
            if not with_leaning:
                is_asked &= ~self.is_leaning[edge]
            one = np.flatnonzero(is_asked)
            foot = points[rows[one]] + (deep[one] + OUT)[:, None] * self.out[edge[one]]
            one = one[~is_part(foot - past[one, None] * self.along[edge[one]])]
            found[rows[one]] = depth[one]
        return found


def wall_ends(edges: Edges, side: int, wall: float, vertical: float) -> WallEnds:
    """Return where walls of a side end at undersides that lie flatter than `wall`, blunt edges alone.

    wall, vertical: largest |z| of the unit normals of a wall that leans over, and of an upright one.
    """
    sign = 1.0 if side == 1 else -1.0
    n1, n2 = edges.n1, edges.n2
    first = sign * n1[:, 2] >= sign * n2[:, 2]
    own, other = np.where(first[:, None], n1, n2), np.where(first[:, None], n2, n1)
    is_end = edges.is_outside & (sign * own[:, 2] >= -wall) & (sign * other[:, 2] < -wall)
    keep = np.flatnonzero(is_end & (np.sum(n1 * n2, axis=1) >= 0))
    start, along, out, other = edges.a[keep], edges.b[keep] - edges.a[keep], own[keep], other[keep]
    length = np.linalg.norm(along, axis=1)
    along = along / np.maximum(length, np.finfo(float).tiny)[:, None]
    on = np.cross(along, out)
    on *= np.where(np.sum(on * other, axis=1) < 0, -1.0, 1.0)[:, None]
    return WallEnds(start, along, length, on, out, sign * out[:, 2] < -vertical)
