"""Sharp edges of the part, and places along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHARP = np.cos(np.radians(20.0))  # faces that differ by less are one smooth face
MOST_TRIANGLES = 2_000_000  # of a mesh whose sharp edges are looked for: some seconds
UPRIGHT = 0.0175  # of a normal's height: less
SPACING = 2.0  # mm along an edge
SMALL = 1e-9


@dataclass(frozen=True)
class Edges:
    """Sharp edges of a part, n of them.

    a, b (n, 3) mm: their ends; ends (n, 2): their numbers in the mesh.  n1, n2 (n, 3): the normals of their
    faces.  is_outside (n,): whether less than half of what lies about it is part.
    """

    a: np.ndarray
    b: np.ndarray
    ends: np.ndarray
    n1: np.ndarray
    n2: np.ndarray
    is_outside: np.ndarray

    def __getitem__(self, which) -> Edges:
        """Return some edges."""
        return Edges(
            self.a[which], self.b[which], self.ends[which], self.n1[which], self.n2[which],
            self.is_outside[which],
        )  # fmt: skip

    @property
    def is_rim(self) -> np.ndarray:
        """Whether each side sees one face, none of them upright: the part ends in nothing (n,) bool."""
        z = np.sort(np.stack([self.n1[:, 2], self.n2[:, 2]]), axis=0)
        return self.is_outside & (z[0] < -UPRIGHT) & (z[1] > UPRIGHT)

    def are_of(self, side: int) -> np.ndarray:
        """Return whether both faces are of a side, or upright (n,) bool."""
        sign = 1.0 if side == 1 else -1.0
        return np.minimum(sign * self.n1[:, 2], sign * self.n2[:, 2]) > -UPRIGHT


def sharp_edges(target) -> Edges:
    """Return the sharp edges of a target's mesh."""
    t, v = target.triangles, target.vertices
    normal = np.cross(v[t[:, 1]] - v[t[:, 0]], v[t[:, 2]] - v[t[:, 0]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    ends = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    face = np.tile(np.arange(len(t)), 3)
    third = np.concatenate([t[:, 2], t[:, 0], t[:, 1]])
    key = np.sort(ends, axis=1)
    order = np.lexsort((key[:, 1], key[:, 0]))
    key, face, third = key[order], face[order], third[order]
    pair = np.flatnonzero((key[:-1] == key[1:]).all(axis=1))
    f, g = face[pair], face[pair + 1]
    is_sharp = np.sum(normal[f] * normal[g], axis=1) < SHARP
    pair, f, g = pair[is_sharp], f[is_sharp], g[is_sharp]
    a, b = v[key[pair, 0]], v[key[pair, 1]]
    off = np.sum((v[third[pair + 1]] - a) * normal[f], axis=1)
    return Edges(a, b, key[pair], normal[f], normal[g], off < 0)


def along_edges(a: np.ndarray, b: np.ndarray, spacing: float = SPACING) -> tuple[np.ndarray, np.ndarray]:
    """Return places on edges from a to b (n, 3), so far apart: numbers of the edges (k,), places (k, 3)."""
    count = np.maximum(1, np.ceil(np.linalg.norm(b - a, axis=1) / spacing).astype(int))
    which = np.repeat(np.arange(len(a)), count)
    along = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    along = (along + 0.5) / count[which]
    return which, a[which] + along[:, None] * (b[which] - a[which])


def outward_in_plan(edges: Edges) -> np.ndarray:
    """Return unit vectors in plan (n, 3) that lead out of the part, square to edges; NaN of upright ones."""
    along = edges.b - edges.a
    found = np.column_stack([along[:, 1], -along[:, 0], np.zeros(len(along))])
    size = np.linalg.norm(found, axis=1)
    found *= np.where(np.sum(found * (edges.n1 + edges.n2), axis=1) < 0, -1.0, 1.0)[:, None]
    return found / np.where(size > SMALL, size, np.nan)[:, None]
