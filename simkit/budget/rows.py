"""What limits the job, place by place: the value there now, and how it grows when the second side moves.

A surface that moves by a small v along with its cutters comes out of the part by m . v, m the outward normal.
So each place gives one row: value + grow . v <= limit.  Sharp corners give a row for each normal between
those of their faces, for a corner moved by v lies as far off as the farthest of these says.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.toward import MOST, toward

GOUGE, LEFTOVER, WALL, STEP, TABLE = range(5)
KINDS = ("gouge", "leftover", "thin-wall", "witness-step", "table-contact")
BLOCK = 1.2  # mm: of each so large a block the deepest and the proudest cell of each slope make rows
STEEP = 4.0  # rise per cell: there walls are asked, not cells
ASIDE = 0.03  # mm: by so much more is a part off its cut where the cut lies beside it
SMALL = 1e-9  # mm for each mm: what grows by less stays
ALIKE = 0.1  # mm: as thin as the part is, within this and both bounds, is no fault (see findings.thin_wall)


@dataclass(frozen=True)
class Rows:
    """Places that limit a job, n of them.

    kind (n,) int8: index in KINDS.  side (n,) int8: whose surface.  at (n, 3) mm, blank frame.
    value, limit (n,) mm: now, and the most it may be (a wall's thickness counts negative).
    grow (n, 3): by how much the value grows for each mm that the cuts of the second side move.
    thick (n, 1 + k): for each mm that the blank is thicker and that each step to a thickness leaves more.
    outward (n, 3): the part's normal, unit length, along which the place can be asked anew if it moves with
    the second side (grow), NaN where it cannot.  lift (n, 1 + k): of the cut there, see Motion.
    faces (n, 3) int64: rows of the faces of a corner, -1 for none; share (n, 3): of their values in
    its own.  lean (n, 3): a row with any counts with no more than the largest lean x value of its faces.
    """

    kind: np.ndarray
    side: np.ndarray
    at: np.ndarray
    value: np.ndarray
    limit: np.ndarray
    grow: np.ndarray
    thick: np.ndarray
    outward: np.ndarray
    lift: np.ndarray
    faces: np.ndarray
    share: np.ndarray
    lean: np.ndarray

    def __len__(self) -> int:
        return len(self.kind)

    def __getitem__(self, which) -> Rows:
        """Return some rows; faces still count in the table they came from."""
        return Rows(*(getattr(self, one.name)[which] for one in fields(self)))

    @property
    def moves(self) -> np.ndarray:
        """The rows that some error lets grow or fall (n,) bool."""
        return (np.abs(self.grow) > SMALL).any(axis=1) | (np.abs(self.thick) > SMALL).any(axis=1)

    @property
    def is_capped(self) -> np.ndarray:
        """The rows that count with no more than their own side is too deep there (n,) bool."""
        return (self.lean > 0).any(axis=1)

    @property
    def now(self) -> np.ndarray:
        """What each row counts with as the job is, mm (n,); of the whole table, in which faces count."""
        found = self.value.copy()
        mine = np.flatnonzero(self.is_capped)
        found[mine] = np.minimum(found[mine], self.caps(mine, self.value[self.faces[mine]]))
        return found

    def caps(self, which: np.ndarray, of_faces: np.ndarray) -> np.ndarray:
        """Return the most that rows count with, mm (..., k); inf where they have no cap.

        which (k,): rows.  of_faces (..., k, 3) mm: what their faces count with.
        """
        lean = self.lean[which]
        most = np.max(np.where(lean > 0, lean * of_faces, -np.inf), axis=-1)
        return np.where((lean > 0).any(axis=1), most, np.inf)

    def columns(self, motion: Motion) -> np.ndarray:
        """Return how the values grow for one of each of motion.names, (n, 5 + k)."""
        moved = np.einsum("nkc,nc->nk", motion.columns(self.at), self.grow)
        return np.column_stack([moved, self.thick])


def make_rows(kind: int, side: int, at, value, limit, grow, thick, outward, lift, corner=None) -> Rows:
    """Return rows of one kind and side.  corner: faces, share and lean, None for faces."""
    n = len(at)
    faces, share, lean = corner or (np.full((n, 3), -1), *np.zeros((2, n, 3)))
    return Rows(
        np.full(n, kind, np.int8), np.full(n, side, np.int8), np.asarray(at, float).reshape(n, 3),
        np.asarray(value, float), np.broadcast_to(np.asarray(limit, float), (n,)).copy(),
        np.asarray(grow, float).reshape(n, 3), _table(thick),
        np.asarray(outward, float).reshape(n, 3),
        _table(lift), np.asarray(faces, np.int64), share, lean,
    )  # fmt: skip


def _table(numbers) -> np.ndarray:
    """Return numbers of rows (n,) or (n, 1 + k) as a table (n, 1 + k)."""
    numbers = np.asarray(numbers, float)
    return numbers[:, None] if numbers.ndim == 1 else numbers


def joined(parts: list[Rows]) -> Rows:
    """Return the rows of all parts in one table; corners must count in the table they are joined to."""
    return Rows(*(np.concatenate([getattr(part, one.name) for part in parts]) for one in fields(Rows)))


def face_rows(evidence, motion: Motion, heights: dict[int, SideHeights]) -> Rows:
    """Return rows of the faces that each side's cells show, walls left out, those that never move, too.

    evidence: of findings, compared with the target.  heights: of both sides.  Of each BLOCK the worst cell
    either way is taken.
    """
    parts = []
    lattice = evidence.field.lattice
    for side, deviation in evidence.deviations.items():
        sign = 1.0 if side == 1 else -1.0
        target = evidence.envelopes.side(side)
        is_open = ~np.isnan(deviation.normal) & ~is_steep(target, lattice.cell)
        cut = evidence.field.upper if side == 1 else evidence.field.lower
        owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
        limits = evidence.zones.limits(lattice, side)
        for kind, way, limit in ((GOUGE, -1.0, limits[0]), (LEFTOVER, 1.0, limits[1])):
            is_asked = is_open & np.isfinite(limit)
            value = np.where(is_asked, way * deviation.normal - limit, -np.inf)
            cells = worst_cells(value, lattice.cell, _quadrant(target))
            iy, ix = np.divmod(cells, lattice.nx)
            x, y = lattice.centre_of(iy, ix)
            at = np.column_stack([x, y, cut.ravel()[cells].astype(float)])
            outward = normals(evidence.target_grid, at, side)
            off_target = _along_normal(deviation, cells, at, evidence.target_grid)
            z = target.ravel()[cells]
            aside = _aside(off_target, at, np.column_stack([x, y, z]), heights[side], evidence.target_grid)
            is_aside = ~np.isnan(aside[:, 0])
            # A wall beside an uncut place may move, and the place stays.
            is_moved = (side == motion.side) & ((owner.ravel()[cells] >= 0) | is_aside)
            outward = np.where(is_aside[:, None], aside, outward)
            grow = way * outward * is_moved[:, None]
            lift = lifts(evidence, motion, side, owner.ravel()[cells])
            thick = way * outward[:, 2:] * lift
            faces_it = sign * outward[:, 2] > 0.05
            at -= outward * np.where(faces_it, off_target, 0.0)[:, None]
            at[is_aside, 2] = z[is_aside]
            parts.append(
                make_rows(
                    kind, side, at, way * off_target, limit.ravel()[cells], grow, thick, outward, lift,
                )
            )  # fmt: skip
    return joined(parts)


def _aside(off_target, cut, wanted, heights: SideHeights, grid) -> np.ndarray:
    """Return the normals of places that miss the cut sideways (k, 3), NaN where the part's own normal tells.

    off_target (k,) mm: deviations.  cut, wanted (k, 3) mm: the cut and the part there.  Where the part is
    farther from the cut than the cut from the part, the cut lies beside: in a corner, at a wall.
    """
    found = np.full((len(cut), 3), np.nan)
    size = np.abs(off_target)
    rows = np.flatnonzero(size > ASIDE)
    off = grid.distance(cut[rows], 0)
    rows = rows[size[rows] > off + ASIDE]
    rows = rows[np.argsort(-size[rows], kind="stable")][:MOST]
    for is_leftover in (True, False):
        mine = rows[(off_target[rows] > 0) == is_leftover]
        if len(mine):
            way = toward(heights, wanted[mine], size[mine], is_leftover)
            found[mine] = way if is_leftover else -way
    return found


def _along_normal(deviation, cells: np.ndarray, at: np.ndarray, grid) -> np.ndarray:
    """Return the deviations of cells along the normal, mm (k,).

    at (k, 3) mm: the cut there.  Where a deviation is so small that its vertical part stands for it (see
    compare.deviation), which is the larger on a slope, the distance is measured.
    """
    value = deviation.normal.ravel()[cells].astype(float)
    small = np.flatnonzero(
        (np.abs(value) <= deviation.threshold) & (value == deviation.vertical.ravel()[cells])
    )
    value[small] = np.copysign(grid.distance(at[small], deviation.side), value[small])
    return value


def lifts(evidence, motion: Motion, side: int, owner: np.ndarray) -> np.ndarray:
    """Return by how much surfaces rise for each mm of an error of thickness, (n, 1 + k), see Motion.

    owner (n,): the rows that cut them, -1 for none: the blank's own face, or one that a step left.
    """
    setup = evidence.moves.setup[np.maximum(owner, 0)]
    return np.where(owner[:, None] >= 0, motion.lift[setup], motion.face_lift[side - 1])


def is_steep(target: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells beside a steep step of a surface (ny, nx) mm or beside its outline, bool."""
    steep = np.zeros(target.shape, bool)
    for axis in (0, 1):
        jump = np.abs(np.diff(target, axis=axis))
        is_jump = ~(jump <= STEEP * cell)  # NaN, the outline, too
        first, second = ([slice(None)] * 2 for _ in range(2))
        first[axis], second[axis] = slice(None, -1), slice(1, None)
        steep[tuple(first)] |= is_jump
        steep[tuple(second)] |= is_jump
    return steep


def _quadrant(target: np.ndarray) -> np.ndarray:
    """Return into which of four quadrants a surface falls at each cell (ny, nx)."""
    falls = [np.diff(target, axis=axis, append=np.nan) < 0 for axis in (0, 1)]
    return falls[0] + 2 * falls[1]


def worst_cells(value: np.ndarray, cell: float, kind: np.ndarray | None = None) -> np.ndarray:
    """Return the flat index of the highest finite value of each BLOCK, of each kind of cells in it (k,)."""
    if kind is not None:
        parts = [worst_cells(np.where(kind == one, value, -np.inf), cell) for one in np.unique(kind)]
        return np.concatenate(parts)
    block = max(1, round(BLOCK / cell))
    ny, nx = value.shape
    by, bx = -(-ny // block), -(-nx // block)
    padded = np.full((by * block, bx * block), -np.inf)
    padded[:ny, :nx] = value
    blocks = padded.reshape(by, block, bx, block).swapaxes(1, 2).reshape(by * bx, -1)
    worst = np.argmax(blocks, axis=1)
    number = np.flatnonzero(np.isfinite(blocks[np.arange(len(worst)), worst]))
    iy = number // bx * block + worst[number] // block
    ix = number % bx * block + worst[number] % block
    return iy * nx + ix


def normals(grid, points: np.ndarray, side: int) -> np.ndarray:
    """Return the outward unit normals of the triangles of a side that are nearest to points, (n, 3)."""
    if not len(points):
        return np.zeros((0, 3))
    corners = grid.ordered[0][grid.nearest(points, side)]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]


def wall_rows(evidence, motion: Motion, is_judged: np.ndarray) -> Rows | None:
    """Return rows of the places where the wood is nearly too thin, None where walls were not measured.

    is_judged (ny, nx) bool: cells whose wall counts.  The ball that measures a wall touches it at two places;
    its diameter grows by what these move apart along the line between them, and shrinks by what either does
    alone where the other moves out of the wood.
    """
    walls, wanted = evidence.walls, evidence.target_walls
    if walls is None:
        return None
    limit = evidence.job.limits.thinnest_wall
    design = np.where(np.isnan(wanted.thickness), np.inf, wanted.thickness - walls.bound - ALIKE)
    if evidence.may_lose is not None:  # known better, from a closer look at cut and part
        lost = walls.thickness - evidence.may_lose
        design = np.where(np.isnan(evidence.may_lose), design, lost)
    least = np.minimum(limit, design)
    value = np.where(is_judged & ~np.isnan(walls.thickness), least - walls.thickness, -np.inf)
    cells = worst_cells(value, evidence.field.lattice.cell)
    if not len(cells):
        return None
    near, contact = (a.reshape(-1, 3)[cells].astype(float) for a in (walls.near, walls.contact))
    thickness = walls.thickness.ravel()[cells].astype(float)
    apart = (near - contact) / np.maximum(thickness, 1e-9)[:, None]
    lift = np.zeros((len(cells), motion.lift.shape[1]))
    grows, thicks, moved = (
        np.zeros((2, len(cells), 3)),
        np.zeros((2, *lift.shape)),
        np.zeros((2, len(cells)), bool),
    )
    at, places = near.copy(), (near, contact)
    for nth, (face, foot, way) in enumerate(
        ((walls.near_face, walls.near_cell, 1.0), (walls.contact_face, walls.contact_cell, -1.0))
    ):
        side = face.ravel()[cells]
        cell = np.maximum(foot.ravel()[cells], 0)
        for number, owners in ((1, evidence.field.upper_move), (2, evidence.field.lower_move)):
            owner = owners.ravel()[cell]
            mine = side == number
            rises = lifts(evidence, motion, number, owner)
            thicks[nth] -= np.where(mine[:, None], way * apart[:, 2:] * rises, 0.0)
            if number == motion.side:
                moved[nth] = mine & (owner >= 0)
                grows[nth] = np.where(moved[nth][:, None], -way * apart, 0.0)
                at[moved[nth]] = places[nth][moved[nth]]
    # What a face leaves standing when it moves away from the wood is taken off: then the other moves alone.
    both = np.flatnonzero(moved.all(axis=0))
    chosen = np.concatenate([np.arange(len(cells)), both, both])
    grow = np.concatenate([grows.sum(axis=0), grows[0][both], grows[1][both]])
    thick = np.concatenate([thicks.sum(axis=0), thicks[0][both], thicks[1][both]])
    at = np.concatenate([at, near[both], contact[both]])
    return make_rows(
        WALL, motion.side, at, -thickness[chosen], -least.ravel()[cells][chosen], grow, thick,
        np.full_like(at, np.nan), lift[chosen],
    )  # fmt: skip


def seam_rows(evidence, motion: Motion, is_judged: np.ndarray) -> Rows | None:
    """Return rows of the witness step, either way, at the stations of the seam that count (n,) bool."""
    seam = evidence.seam
    if seam is None or not len(seam.offset):
        return None
    limit = evidence.job.limits.witness_step
    chosen = np.flatnonzero(is_judged)
    at = np.column_stack([seam.stations, seam.level])[chosen]
    outward = np.column_stack([seam.normal[chosen], np.zeros(len(chosen))])
    row = (seam.row_upper if motion.side == 1 else seam.row_lower)[chosen]
    lift = lifts(evidence, motion, motion.side, row)
    way = 1.0 if motion.side == 1 else -1.0  # the offset is side 1's wall less side 2's
    parts = [
        make_rows(
            STEP, motion.side, at, sign * seam.offset[chosen], limit, sign * way * outward,
            np.zeros_like(lift), outward, lift,
        )
        for sign in (1.0, -1.0)
    ]  # fmt: skip
    return joined(parts)
