"""How far the flat facets of a mesh stand off the smooth surface they stand for: an estimate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.target.mesh import Target

SMOOTH = 20.0  # degrees: facets that meet at more than this meet at an edge of the part (common practice)


@dataclass(frozen=True)
class Coarseness:
    """The sagitta of each facet.

    sagitta (m,) float64 mm: about how far the smooth surface bulges over the facet; 0 where it is flat.
    centre (m, 3) mm: the facets' middles.
    """

    sagitta: np.ndarray
    centre: np.ndarray

    @property
    def worst(self) -> int:
        """The facet with the largest sagitta."""
        return int(np.argmax(self.sagitta))


def coarseness(target: Target) -> Coarseness:
    """Return how far the facets of a mesh stand off the surface through their corners, estimated.

    target: a closed mesh.  A strip of chord c on a circle of radius R has the sagitta R - sqrt(R^2 - c^2/4),
    about c^2 / (8 R) (circle geometry).  Neighbouring strips meet at the angle t = 2 asin(c / (2 R)), so it
    is c/2 tan(t/4), about c t / 8.  Each facet sums this over its three edges, the chord being the
    smaller height of the two facets over their edge: exact for strips of a cylinder, an eighth
    too large in the middle of equilateral facets of a sphere.  Edges at which facets meet at more than
    SMOOTH degrees count as edges of the part.  A flat bevel between large faces that meet at less is
    taken for a coarse curve: it is an estimate, for information, and nothing is judged by it.
    """
    corners = target.vertices[target.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    has_area = twice > 0
    unit = normal / np.where(has_area, twice, 1.0)[:, None]
    count = len(target.triangles)
    ends = np.sort(np.concatenate([target.triangles[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1)
    facet = np.tile(np.arange(count), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    same = (ends[order[1:]] == ends[order[:-1]]).all(axis=1)
    one, two = facet[order[:-1][same]], facet[order[1:][same]]
    edge = ends[order[1:][same]]
    length = np.linalg.norm(target.vertices[edge[:, 0]] - target.vertices[edge[:, 1]], axis=1)
    is_good = has_area[one] & has_area[two] & (length > 0)
    one, two, length = one[is_good], two[is_good], length[is_good]
    across = np.linalg.norm(np.cross(unit[one], unit[two]), axis=1)
    angle = np.arctan2(across, np.einsum("ij,ij->i", unit[one], unit[two]))
    chord = np.minimum(twice[one], twice[two]) / length
    bulge = np.where(angle <= np.radians(SMOOTH), chord / 2 * np.tan(angle / 4), 0.0)
    sagitta = np.bincount(one, bulge, count) + np.bincount(two, bulge, count)
    return Coarseness(sagitta, corners.mean(axis=1))
