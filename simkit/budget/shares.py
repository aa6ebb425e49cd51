"""Shares of the normals of faces in the vectors between them: of two at an edge, of three at a point.

What they are for stands in corners.py.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

# From one normal to the other a row each 10 degrees at most, made as much larger as the middle between two
# would be told too low: what it says is never too little, and up to 0.4 % too much.
BETWEEN = np.radians(10.0)
KNIFE = np.radians(170.0)  # what is as thin as 10 degrees is not asked: it ends where the smallest error says
HALVED = 3  # times, what lies between three normals: rows up to 2 % too high, of spikes more
SMALL = 1e-9


def between_three(normals: np.ndarray, halved: int = HALVED) -> np.ndarray:
    """Return shares (k, r, 3) of three normals (k, 3, 3) in vectors between them: the largest counts.

    Of the flat triangles between unit vectors all over the three: never less than a unit vector between says,
    and more by what such a triangle lies inside the sphere.  None has a share below 0, which would let a face
    that stands out cut into a corner.  Where the middle of a triangle, made as much larger, says less, it
    stands in its place.
    """
    at = normals[:, None]
    for _ in range(halved):
        middle = at + np.roll(at, -1, axis=2)
        middle /= np.linalg.norm(middle, axis=3, keepdims=True)
        ends = [np.stack([at[:, :, k], middle[:, :, k], middle[:, :, k - 1]], axis=2) for k in range(3)]
        at = np.concatenate([*ends, middle], axis=1)

    def to_shares(vectors):
        return np.maximum(np.einsum("krx,kxs->krs", vectors, np.linalg.inv(normals)), 0.0)

    def least(share):
        return np.einsum("krcx,krs,ksx->krc", at, share, normals).min(axis=2)

    found, size = [], []
    for vectors in (np.linalg.solve(at, np.ones((*at.shape[:3], 1)))[..., 0], at.sum(axis=2)):
        share = to_shares(vectors)
        says = least(share)[..., None]
        share = share / np.where(says > 0, says, np.nan)
        found.append(share)
        size.append(np.linalg.norm(share @ normals, axis=2))
    return np.where((size[0] <= size[1] + SMALL)[..., None], *found)


def between_two(normals: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Give numbers of pairs of normals (k, 2, 3), and shares of both in a unit vector between (j, 2).

    Both normals themselves, and the middles of equal parts between them, made as much larger as it takes for
    no vector between to say more.
    """
    n1, n2 = normals[:, 0], normals[:, 1]
    angle = np.arctan2(np.linalg.norm(np.cross(n1, n2), axis=1), np.sum(n1 * n2, axis=1))
    which = np.flatnonzero((angle < KNIFE) & (angle > SMALL))
    yield which, np.tile([1.0, 0.0], (len(which), 1))
    yield which, np.tile([0.0, 1.0], (len(which), 1))
    parts = 2 * np.ceil(angle / BETWEEN / 2 - 1e-6)  # even: exact in the middle, where most edges are worst
    for nth in range(int(parts[which].max(initial=0))):
        one = which[parts[which] > nth]
        whole, at = angle[one], angle[one] * (nth + 0.5) / parts[one]
        larger = 1 / (np.sin(whole) * np.cos(whole / parts[one] / 2))
        yield one, np.column_stack([np.sin(whole - at), np.sin(at)]) * larger[:, None]
