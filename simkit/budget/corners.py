"""Rows of sharp edges and corners of the part: what is off there by more than at any of their faces.

On paper.  About a sharp edge the part is a wedge {n1 . x <= 0, n2 . x <= 0}, and what is left of the wood is
the same wedge with its faces d1 and d2 farther out, each as the row of that face says.  By duality a place p
is as far from that wedge as the largest of m . p - a1 d1 - a2 d2 over all unit vectors m = a1 n1 + a2 n2
between the normals (a1, a2 >= 0).  Of the edge of the part, p = 0, that is the gouge; of that of the wood,
the other way round, the leftover, a1 d1 + a2 d2.  So each m makes a row of the rows of the faces, whichever
way each of these moves: with the second side, with an error of thickness, or not at all.  A ridge of 45
degrees that rises by t has d1 = d2 = t / sqrt(2) and stands t off; a square edge of which one face is off by
x and the other by z stands sqrt(x^2 + z^2) off.  An inside edge is such a wedge of air: the same numbers.
Where faces meet in a point of wood it is the same with each three of them: no more are needed at once
(Caratheodory).  Points at which an inside edge ends, too, are not asked.

Between the two sides it is as the check judges (compare.deviation): each side by itself tells of a place of
its own how far the nearest wood is that both left.  Where the part ends in a sharp rim between a face of each
that is all of it: a level top that is t too low takes a rim of 45 degrees back by t sqrt(2), one of 20
degrees by t / sin 20.  But where the part has a wall at that end, which the other side cut, a place counts as
no farther than its side cut too deep there, along its axis: at the end of a face that lies d off and whose
normal rises by z that is d / z, and at a corner of several such faces the largest of these, for the lowest
cut is the one that is left.  So a row of such a place counts with the smaller of what its faces say and that
cap (lean): a level top t too low above a wall that is s too far in says t, and the wall says s.  A slanted
face of a side that cut a wall there, too, has no cap, for it may have cut as deep as that wall goes.
Where a wall of a side ends at an underside of less than 45 degrees and the wood there is blunt (c = n1 . n2 >
0, n1 of the wall), the wall that is d1 too far in takes the underside, as far as the part has it, whatever
the other side cut there; the last place of it is measured to the wall's last edge: d1 / sqrt(1 - c^2).
Beside a sharp rim the wall that takes away what is not part ends the wood, too, where it is too far in: it
makes a row of its own there, and more with the faces of the rim (rims.py).
What stands out of the outline is judged in plan, and no face that ends there adds to it.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.rows import GOUGE, LEFTOVER, Rows, lifts, make_rows
from simkit.budget.shares import HALVED, between_three, between_two
from simkit.budget.steps import crossing
from simkit.target.sharp import SHARP, UPRIGHT, Edges, along_edges, outward_in_plan

UNDERSIDE = np.sqrt(0.5)  # of a normal's height downwards: more is no wall that leans over
BLUNT = 0.02  # n1 . n2: less is as good as square
NEAR_CORNER = 3.0  # mm: so far from a corner its faces are looked for
WEIGHT = 20.0  # mm for a difference of 1 of unit normals
BESIDE = 0.3  # mm
INSIDE = 0.02  # mm in front of an inside corner: a cutter that gets so near has got in
FILLED = 6.0  # mm: what no cutter takes out of a corner is looked for so far
LEVEL = 0.98  # of a normal's height: more
SHARP_TURN = 0.34  # sine of 20 degrees: walls of less are one
MOST_POINTS = 2000  # points of wood where three faces meet; of parts with more of them none is asked
FEW_POINTS = 100  # once more where there are no more of them
SMALL = 1e-9


class _Faces:
    """Finds the rows of the faces that meet at a place.

    clear (n,) bool: rows that lie beside all edges, which are taken where there is one.
    is_counted (n,) bool: rows that count at all, True for all.
    """

    def __init__(self, rows: Rows, clear: np.ndarray, kind: int, side: int, is_counted=True):
        from scipy.spatial import cKDTree

        mine = (rows.kind == kind) & (rows.side == side) & ~np.isnan(rows.outward[:, 0]) & is_counted
        # Places and directions in one tree: a face of another direction is never near.
        self._trees = []
        for some in (mine & clear, mine & ~clear):
            which = np.flatnonzero(some)
            if len(which):
                tree = cKDTree(np.column_stack([rows.at[which], WEIGHT * rows.outward[which]]))
                self._trees.append((which, tree))

    def near(self, at: np.ndarray, normal: np.ndarray) -> np.ndarray:
        """Return the row of the face with a normal that is nearest to each place (k,), -1 where none is."""
        found = np.full(len(at), -1)
        for which, tree in self._trees:
            rest = np.flatnonzero(found < 0)
            places = np.column_stack([at[rest], WEIGHT * normal[rest]])
            far, nth = tree.query(places, distance_upper_bound=NEAR_CORNER)
            is_near = np.isfinite(far)
            found[rest[is_near]] = which[nth[is_near]]
        return found


def _is_clear(rows: Rows, edges: Edges) -> np.ndarray:
    """Return whether rows lie beside all edges (n,) bool: at an edge its other face moves the cut, too."""
    from scipy.spatial import cKDTree

    if not len(edges.a):
        return np.ones(len(rows), bool)
    _, places = along_edges(edges.a, edges.b, BESIDE)
    far, _ = cKDTree(places).query(rows.at, distance_upper_bound=BESIDE)
    return ~np.isfinite(far)


def corner_rows(
    evidence, motion: Motion, rows: Rows, heights: dict[int, SideHeights], plain: int
) -> list[Rows]:
    """Return rows of sharp edges and corners of the part, made of the rows of their faces.

    rows: of faces and walls of both sides, so many plain, behind them those of rims.py.  heights: of both.
    An inside edge into which no cutter gets has no such corner: there what stands is measured towards the
    middle of its faces.
    """
    edges = evidence.target_grid.sharp
    is_wall = np.arange(len(rows)) >= plain
    walls = [_Faces(rows, ~is_wall, GOUGE, one, is_wall) for one in (1, 2)]
    every, rows = rows, rows[:plain]
    clear = _is_clear(rows, edges)
    parts = _rim_rows(every, rows, walls, clear, edges)
    for side, its in heights.items():
        if side not in evidence.deviations:
            continue
        mine = edges[edges.are_of(side)]
        is_reached = np.zeros(len(mine.a), bool)
        if len(mine.a):
            is_reached = ~its.is_wood((mine.a + mine.b) / 2 + INSIDE * (mine.n1 + mine.n2))
        parts += _filled_rows(evidence, motion, its, mine[~mine.is_outside & ~is_reached])
        parts += _edge_rows(evidence, side, rows, clear, mine[mine.is_outside | is_reached])
        parts += _point_rows(evidence, side, rows, clear, edges)
        parts += _shared_rows(side, rows, clear, edges)
        parts += _ended_rows(side, rows, clear, edges)
    return [part[part.moves] for part in parts]  # of what stays the check itself tells


def _edge_rows(evidence, side: int, rows: Rows, clear: np.ndarray, edges: Edges) -> list[Rows]:
    """Return rows of edges between two faces of a side."""
    nth, at = along_edges(edges.a, edges.b)
    here = edges[nth]
    normals = np.stack([here.n1, here.n2], axis=1)
    is_rim = _is_rim(evidence, side, at, normals)
    parts = []
    for kind in (GOUGE, LEFTOVER):
        faces = _Faces(rows, clear, kind, side)
        both = np.column_stack([faces.near(at, here.n1), faces.near(at, here.n2)])
        is_asked = (both >= 0).all(axis=1)
        if kind == LEFTOVER:
            is_asked &= ~is_rim
        chosen = np.flatnonzero(is_asked)
        for which, share in between_two(normals[chosen]):
            one = chosen[which]
            parts.append(_row_of(kind, side, at[one], normals[one], share, both[one], rows))
    return parts


def _is_rim(evidence, side: int, at: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Return whether the outline ends at places (k, 3) between walls and a face that is none (k,) bool.

    normals (k, f, 3): of the faces that meet there.
    """
    lattice, outline = evidence.field.lattice, evidence.envelopes.side(side)
    is_wall = np.abs(normals[..., 2]) <= UPRIGHT
    beside = at[:, None, :2] + lattice.cell * normals[..., :2]
    is_end = is_wall & np.isnan(outline[lattice.cell_at(beside[..., 0], beside[..., 1])])
    return is_end.any(axis=1) & ~is_wall.all(axis=1)


def _shared_rows(side: int, rows: Rows, clear: np.ndarray, edges: Edges) -> list[Rows]:
    """Return rows of gouges of a side where a face of it, no wall, meets one that the other side cut."""
    sign = 1.0 if side == 1 else -1.0
    own, other = (_Faces(rows, clear, GOUGE, one) for one in (side, 3 - side))
    parts = []
    for n1, n2 in ((edges.n1, edges.n2), (edges.n2, edges.n1)):
        mine = np.flatnonzero(edges.is_outside & (sign * n1[:, 2] > UPRIGHT) & (sign * n2[:, 2] < UPRIGHT))
        nth, at = along_edges(edges.a[mine], edges.b[mine])
        normals = np.stack([n1[mine[nth]], n2[mine[nth]]], axis=1)
        both = np.column_stack([own.near(at, normals[:, 0]), other.near(at, normals[:, 1])])
        is_own = np.broadcast_to([True, False], both.shape)
        lean = _leans(side, own, at, normals, is_own)
        # A level face has no rows: its own say as much, or those of the other side's slanted one.
        chosen = np.flatnonzero((both >= 0).all(axis=1) & (sign * normals[:, 0, 2] < LEVEL))
        for which, share in between_two(normals[chosen]):
            one = chosen[which]
            parts.append(_row_of(GOUGE, side, at[one], normals[one], share, both[one], rows, lean[one]))
    return parts


def _ended_rows(side: int, rows: Rows, clear: np.ndarray, edges: Edges) -> list[Rows]:
    """Return rows of gouges where a wall of a side ends at an underside that the other side cut."""
    sign = 1.0 if side == 1 else -1.0
    own, other = (_Faces(rows, clear, GOUGE, one) for one in (side, 3 - side))
    parts = []
    for n1, n2 in ((edges.n1, edges.n2), (edges.n2, edges.n1)):
        is_end = (sign * n1[:, 2] >= -UPRIGHT) & (sign * n2[:, 2] < -UNDERSIDE)
        mine = np.flatnonzero(edges.is_outside & is_end & (np.sum(n1 * n2, axis=1) > BLUNT))
        nth, at = along_edges(edges.a[mine], edges.b[mine])
        nth = np.concatenate([nth, *[np.arange(len(mine))] * 2])  # a turn tells most at the ends
        at = np.concatenate([at, edges.a[mine], edges.b[mine]])
        normals = np.stack([n1[mine[nth]], n2[mine[nth]]], axis=1)
        both = np.column_stack([own.near(at, normals[:, 0]), other.near(at, normals[:, 1])])
        one = np.flatnonzero((both >= 0).all(axis=1))
        cosine = np.sum(normals[one, 0] * normals[one, 1], axis=1)
        share = np.column_stack([1 / np.sqrt(1 - cosine**2), np.zeros(len(one))])
        parts.append(_row_of(GOUGE, side, at[one], normals[one], share, both[one], rows))
    return parts


def _rim_rows(every: Rows, rows: Rows, walls: list[_Faces], clear: np.ndarray, edges: Edges) -> list[Rows]:
    """Return rows of gouges where a wall that a side cut beside a sharp rim meets what else ends there.

    every: rows of faces and of such walls; rows: of faces alone.  walls: of side 1 and side 2.
    """
    rims, parts = edges[edges.is_rim], []
    nth, at = along_edges(rims.a, rims.b)
    points, three = _points(edges)
    plan = outward_in_plan(rims)[nth]
    of_side = {one: _Faces(rows, clear, GOUGE, one) for one in (1, 2)}

    def face(at, normal):
        ends = [of_side[one].near(at, normal) for one in (1, 2)]
        return np.where(normal[:, 2] > 0, *ends)

    def add(side, at, normals, faces):
        chosen = np.flatnonzero((faces >= 0).all(axis=1))
        if not len(chosen):
            return
        if faces.shape[1] == 3:
            shares = between_three(normals[chosen])
            fan = [(chosen.repeat(shares.shape[1]), shares.reshape(-1, 3))]
        else:
            fan = [(chosen[which], share) for which, share in between_two(normals[chosen])]
        for one, share in fan:
            parts.append(_row_of(GOUGE, side, at[one], normals[one], share, faces[one], every))

    for side, wall in enumerate(walls, 1):
        beside = wall.near(at, np.nan_to_num(plan))
        for normal in (rims.n1[nth], rims.n2[nth]):
            add(side, at, np.stack([normal, plan], axis=1), np.column_stack([face(at, normal), beside]))
        # At a corner two such walls meet: those of each two edges that end there.
        out = three * np.array([1.0, 1.0, 0.0])
        size = np.linalg.norm(out, axis=2)
        out /= np.maximum(size, SMALL)[..., None]
        for k in range(3):
            i, j = (k + 1) % 3, (k + 2) % 3
            is_two = (size[:, [i, j]] > UPRIGHT).all(axis=1)
            is_two &= np.abs(np.cross(out[:, i], out[:, j])[:, 2]) > SHARP_TURN
            here, first, second, last = points[is_two], out[is_two, i], out[is_two, j], three[is_two, k]
            pair = np.column_stack([wall.near(here, first), wall.near(here, second)])
            add(side, here, np.stack([first, second], axis=1), pair)
            add(
                side, here, np.stack([first, second, last], axis=1), np.column_stack([pair, face(here, last)])
            )
    return parts


def _leans(side: int, own: _Faces, at, normals, is_own) -> np.ndarray:
    """Return lean (k, f) of rows between both sides.

    own: faces of the side.  normals (k, f, 3): of the faces that meet at places at (k, 3) mm.  is_own (k, f).
    """
    z = (1.0 if side == 1 else -1.0) * normals[..., 2]
    is_wall = np.abs(z) <= UPRIGHT
    walls = [own.near(at, normals[:, k]) >= 0 for k in range(z.shape[1])]
    is_walled = (is_own | is_wall).all(axis=1)
    is_capped = is_walled & ~(is_wall & np.column_stack(walls)).any(axis=1)
    return np.where(is_own & is_capped[:, None], 1 / np.maximum(z, UPRIGHT), 0.0)


def _point_rows(evidence, side: int, rows: Rows, clear: np.ndarray, edges: Edges) -> list[Rows]:
    """Return rows of points where three faces of a side meet, or of both sides with one of it, no wall."""
    sign = 1.0 if side == 1 else -1.0
    at, normals = _points(edges)
    z = sign * normals[..., 2]
    is_own = z > -UPRIGHT
    is_all = is_own.all(axis=1)
    parts = []
    for kind in (GOUGE, LEFTOVER):
        own, other = (_Faces(rows, clear, kind, one) for one in (side, 3 - side))
        mine, others = (
            np.column_stack([faces.near(at, normals[:, k]) for k in range(3)]) for faces in (own, other)
        )
        none = np.zeros(z.shape)
        if kind == LEFTOVER:
            groups = [(is_all & ~_is_rim(evidence, side, at, normals), mine, none)]
        else:
            # A wall may be of either side.
            is_its = (z > UPRIGHT) | ((np.abs(z) <= UPRIGHT) & (mine >= 0))
            lean = _leans(side, own, at, normals, is_its)
            is_mixed = ~is_its.all(axis=1) & ((z > UPRIGHT) & (z < LEVEL)).any(axis=1)
            groups = [(is_all, mine, none), (is_mixed, np.where(is_its, mine, others), lean)]
        for is_asked, three, lean in groups:
            chosen = np.flatnonzero(is_asked & (three >= 0).all(axis=1))
            if not len(chosen):
                continue
            share = between_three(normals[chosen], HALVED + (len(at) <= FEW_POINTS))
            one, share = chosen.repeat(share.shape[1]), share.reshape(-1, 3)
            parts.append(_row_of(kind, side, at[one], normals[one], share, three[one], rows, lean[one]))
    return parts


def _points(edges: Edges) -> tuple[np.ndarray, np.ndarray]:
    """Return places (k, 3) mm and three normals (k, 3, 3) of points where none but outside edges meet.

    A place comes once for each three of its normals.  Empty for too many of them.
    """
    none = np.zeros((0, 3)), np.zeros((0, 3, 3))
    inside = np.unique(edges.ends[~edges.is_outside])
    number = np.concatenate([edges.ends[:, 0], edges.ends[:, 1]] * 2)
    place = np.concatenate([edges.a, edges.b] * 2)
    normal = np.concatenate([edges.n1, edges.n1, edges.n2, edges.n2])
    keep = ~np.isin(number, inside)
    number, place, normal = number[keep], place[keep], normal[keep]
    order = np.argsort(number, kind="stable")
    number, place, normal = number[order], place[order], normal[order]
    start = np.flatnonzero(np.r_[True, number[1:] != number[:-1]]) if len(number) else np.zeros(0, int)
    stop = np.r_[start[1:], len(number)].astype(int) if len(number) else start
    many = np.flatnonzero(stop - start >= 6)  # three edges, each with two normals
    if len(many) > MOST_POINTS:
        return none
    at, found = [], []
    for k in many:
        kept: list[np.ndarray] = []
        for one in normal[start[k] : stop[k]]:
            if all(one @ other < SHARP for other in kept):
                kept.append(one)
        for three in combinations(kept, 3):
            if abs(np.linalg.det(np.array(three))) > 0.05:
                at.append(place[start[k]])
                found.append(np.array(three))
    return (np.array(at), np.array(found)) if at else none


def _row_of(kind: int, side: int, at, normals, share, faces, rows: Rows, lean=None) -> Rows:
    """Return rows of corners: the sum of those of their faces (k, f), each times its share (k, f).

    lean (k, f): see Rows, None for rows without a cap.
    """
    way = -1.0 if kind == GOUGE else 1.0
    k, f = share.shape
    if not k:
        return make_rows(
            kind,
            side,
            at,
            *np.zeros((2, 0)),
            np.zeros((0, 3)),
            rows.thick[:0],
            np.zeros((0, 3)),
            rows.lift[:0],
        )
    each = way * share[..., None] * normals
    moves = (rows.grow[faces] != 0).any(axis=2)
    wide = 3 - f
    lean = np.zeros_like(share) if lean is None else lean
    corner = (np.pad(faces, ((0, 0), (0, wide)), constant_values=-1),)
    corner += tuple(np.pad(numbers, ((0, 0), (0, wide))) for numbers in (share, lean))
    return make_rows(
        kind, side, at, np.sum(share * rows.value[faces], axis=1), rows.limit[faces].min(axis=1),
        np.sum(each * moves[..., None], axis=1), np.sum(each[..., 2:] * rows.lift[faces], axis=1),
        np.full_like(at, np.nan), rows.lift[faces[:, 0]], corner,
    )  # fmt: skip


def _filled_rows(evidence, motion: Motion, heights: SideHeights, edges: Edges) -> list[Rows]:
    """Return rows of inside corners that no cutter gets into: how far it is from them to the air."""
    which, at = along_edges(edges.a, edges.b)
    if not len(which):
        return []
    m = edges.n1[which] + edges.n2[which]
    m /= np.maximum(np.linalg.norm(m, axis=1), 1e-9)[:, None]
    far, is_found = crossing(
        lambda nth, along: heights.is_wood(at[nth] + along[:, None] * m[nth]), np.zeros(len(at)), FILLED
    )
    lattice, side = evidence.field.lattice, heights.side
    limit = evidence.zones.limits(lattice, side)[1][lattice.cell_at(*at[:, :2].T)]
    chosen = np.flatnonzero(is_found & (np.nan_to_num(far) > 0) & np.isfinite(limit))
    one, way = at[chosen], m[chosen]
    if side == motion.side:
        lift, grow = np.tile(motion.lift[motion.setup], (len(chosen), 1)), way
    else:
        air = one + (far[chosen, None] + lattice.cell / 2) * way
        owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
        lift = lifts(evidence, motion, side, owner[lattice.cell_at(*air[:, :2].T)])
        grow = np.zeros_like(way)
    rows = make_rows(LEFTOVER, side, one, far[chosen], limit[chosen], grow, way[:, 2:] * lift, way, lift)
    return [rows]
