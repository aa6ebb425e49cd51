"""Rows of sharp corners of the part: what is off there by more than at either of their faces."""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.rows import GOUGE, LEFTOVER, Rows, make_rows
from simkit.budget.steps import crossing

SHARP = np.cos(np.radians(20.0))  # faces that differ by less are one smooth face
NEAR_CORNER = 3.0  # mm: so far from a corner its faces are looked for
MOST_TRIANGLES = 2_000_000  # of a mesh whose sharp edges are looked for: some seconds
# Normals from one face to the other: a wall counts to its very end.  Of a square corner every 10 degrees, so
# that none is missed by more than 5, and a value told by 0.4 % too low.
BETWEEN = (0.0, 0.15, 0.267, 0.366, 0.456, 0.544, 0.634, 0.733, 0.85, 1.0)
SPACING = 2.0  # mm along an edge
INSIDE = 0.02  # mm in front of an inside corner: a cutter that gets so near has got in
FILLED = 6.0  # mm: what no cutter takes out of a corner is looked for so far


def corner_rows(evidence, motion: Motion, rows: Rows, heights: SideHeights) -> list[Rows]:
    """Return rows of sharp corners of the part, made of the rows of their two faces.

    rows: of faces and walls.  heights: of the second side.  A corner of the cut that lies off that of the
    part lies farther off than either face: from it to the corner of the part.  An inside corner into which no
    cutter gets has no such corner: there what stands is measured towards the middle of its faces.
    """
    from scipy.spatial import cKDTree

    side = heights.side
    a, b, n1, n2, is_outside = _sharp_edges(evidence.target, side)
    middle = (a + b) / 2 + INSIDE * (n1 + n2)
    is_reached = np.zeros(len(a), bool)
    if len(a):
        is_reached = ~heights.is_wood(middle)
    edge = np.flatnonzero(is_outside | is_reached)
    filled = np.flatnonzero(~is_outside & ~is_reached)
    parts = _filled_rows(evidence, motion, heights, *(one[filled] for one in (a, b, n1, n2)))
    for kind, way in ((GOUGE, -1.0), (LEFTOVER, 1.0)):
        faces = np.flatnonzero((rows.kind == kind) & (rows.side == side) & ~np.isnan(rows.outward[:, 0]))
        if not len(edge) or not len(faces):
            continue
        nth, at = _along(a[edge], b[edge])
        which = edge[nth]
        # Places and directions in one tree: a face of another direction is never near.
        weight = 20.0
        tree = cKDTree(np.column_stack([rows.at[faces], weight * rows.outward[faces]]))
        ends = [
            tree.query(np.column_stack([at, weight * n[which]]), distance_upper_bound=NEAR_CORNER)
            for n in (n1, n2)
        ]
        is_near = np.isfinite(ends[0][0]) & np.isfinite(ends[1][0])
        which, at = which[is_near], at[is_near]
        first, second = (faces[end[1][is_near]] for end in ends)
        for between in BETWEEN:
            m = (1 - between) * n1[which] + between * n2[which]
            size = np.linalg.norm(m, axis=1)
            share = np.column_stack([(1 - between) / size, between / size])
            value = share[:, 0] * rows.value[first] + share[:, 1] * rows.value[second]
            thick = share[:, :1] * rows.thick[first] + share[:, 1:] * rows.thick[second]
            limit = np.minimum(rows.limit[first], rows.limit[second])
            grow = way * m / size[:, None]
            parts.append(
                make_rows(
                    kind, side, at, value, limit, grow, thick, np.full_like(at, np.nan),
                    rows.lift[first], (first, second, share),
                )
            )  # fmt: skip
    return parts


def _along(a: np.ndarray, b: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return places on edges from a to b (n, 3), SPACING apart: numbers of the edges (k,), places (k, 3)."""
    count = np.maximum(1, np.ceil(np.linalg.norm(b - a, axis=1) / SPACING).astype(int))
    which = np.repeat(np.arange(len(a)), count)
    along = np.concatenate([(np.arange(k) + 0.5) / k for k in count]) if len(count) else np.zeros(0)
    return which, a[which] + along[:, None] * (b[which] - a[which])


def _filled_rows(evidence, motion: Motion, heights: SideHeights, a, b, n1, n2) -> list[Rows]:
    """Return rows of inside corners that no cutter gets into: how far it is from them to the air."""
    which, at = _along(a, b)
    if not len(which):
        return []
    m = n1[which] + n2[which]
    m /= np.maximum(np.linalg.norm(m, axis=1), 1e-9)[:, None]
    far, is_found = crossing(
        lambda nth, along: heights.is_wood(at[nth] + along[:, None] * m[nth]), np.zeros(len(at)), FILLED
    )
    lattice = evidence.field.lattice
    limit = evidence.zones.limits(lattice, heights.side)[1][lattice.cell_at(*at[:, :2].T)]
    chosen = np.flatnonzero(is_found & (np.nan_to_num(far) > 0) & np.isfinite(limit))
    lift = np.tile(motion.lift[motion.setup], (len(chosen), 1))
    one, way = at[chosen], m[chosen]
    rows = make_rows(
        LEFTOVER, heights.side, one, far[chosen], limit[chosen], way, way[:, 2:] * lift, way, lift
    )
    return [rows]


def _sharp_edges(target, side: int):
    """Return ends a, b and normals (n, 3) of sharp edges between faces of a side, and is_outside (n,)."""
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
    sign = 1.0 if side == 1 else -1.0
    is_mine = (np.sum(normal[f] * normal[g], axis=1) < SHARP) & (
        np.minimum(sign * normal[f, 2], sign * normal[g, 2]) > -0.0175
    )
    pair, f, g = pair[is_mine], f[is_mine], g[is_mine]
    a, b = v[key[pair, 0]], v[key[pair, 1]]
    off = np.sum((v[third[pair + 1]] - a) * normal[f], axis=1)
    return a, b, normal[f], normal[g], off < 0
