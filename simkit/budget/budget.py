"""The budget of a check: how much error of the second side it bears, and what stated errors make of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.budget.anew import Anew
from simkit.budget.chance import Chance, chance
from simkit.budget.contributions import Contribution, contributions
from simkit.budget.corners import corner_rows
from simkit.budget.motion import Motion, SideHeights, motion_of
from simkit.budget.region import FAR, Reach, axis_far, axis_ways, plan_ways, reaches
from simkit.budget.rims import rim_rows
from simkit.budget.rows import KINDS, STEP, WALL, Rows, face_rows, joined, seam_rows, wall_rows
from simkit.budget.steps import step_rows
from simkit.budget.table import table_rows
from simkit.budget.under import under_rows
from simkit.target.sharp import MOST_TRIANGLES

BESIDE = 1.0  # mm: so near to the box of an accepted finding its limit does not count


@dataclass(frozen=True)
class Budget:
    """What a job bears.

    motion, rows: of the modules of those names.  axes: reach down and up along each of motion.names, which
    ends at far where no limit breaks before.
    plan: reach all round without a turn, ways of region.plan_ways.  off mm: the most that rows and exact
    sweeps differ in value where a limit breaks.  beyond: a row that is beyond its limit as the job is, -1 for
    none.
    parts, left_out: what the job states of its errors, and what it does not.  chance: None without parts.
    """

    motion: Motion
    rows: Rows
    axes: Reach
    far: np.ndarray
    plan: Reach
    off: float
    beyond: int
    parts: list[Contribution]
    left_out: list[str]
    chance: Chance | None


def budget_of(evidence, is_wall_judged: np.ndarray, is_seam_judged: np.ndarray, accepted=()) -> Budget | None:
    """Return the budget of a job that was compared with its target, None for a job of one side.

    evidence: of findings.  is_wall_judged (ny, nx), is_seam_judged (n,) bool: what counts of walls and seam.
    accepted: findings that the job lets stand, each with a box: there their limits do not count.
    """
    motion = motion_of(evidence.job, evidence.frames)
    if motion is None or motion.side not in evidence.deviations:
        return None
    rows, heights = gathered(evidence, motion, is_wall_judged, is_seam_judged)
    rows = _without(rows, accepted)
    if not len(rows):
        return None
    anew = Anew(rows, motion, heights)
    wide = len(motion.names)
    plan_far = np.full(len(plan_ways()), FAR[0])
    far = axis_far(evidence.job)
    axes = reaches(anew, axis_ways(wide), far)
    plan = reaches(anew, plan_ways(wide), plan_far)
    off = max([float(one.off[one.row >= 0].max(initial=0.0)) for one in (axes, plan)])
    over = rows.now - rows.limit
    beyond = int(np.argmax(over)) if over.max() > 0 else -1
    parts, left_out = contributions(evidence, motion, rows)
    found = chance(rows, parts, off) if parts else None
    return Budget(motion, rows, axes, far, plan, off, beyond, parts, left_out, found)


def gathered(evidence, motion: Motion, is_wall_judged, is_seam_judged) -> tuple[Rows, SideHeights]:
    """Return all rows of a job, and the surface of its second side."""
    heights, other = SideHeights(evidence, motion.side), SideHeights(evidence, 3 - motion.side)
    both = {motion.side: heights, 3 - motion.side: other}
    faces = face_rows(evidence, motion, both)
    # What never moves counts if it is beyond its limit by what the check's cells say.
    counts = faces.moves | (faces.value > faces.limit)
    walls = step_rows(evidence, motion, heights, other)
    if other.side in evidence.deviations:
        walls += step_rows(evidence, motion, other, heights)
    faces = joined([faces, *walls])
    counts = np.concatenate([counts, faces.moves[len(counts) :]])
    corners = []
    if len(evidence.target.triangles) <= MOST_TRIANGLES:
        plain = len(faces)
        faces = joined([faces, *rim_rows(evidence, motion, both)])
        counts = np.concatenate([counts, faces.moves[plain:]])
        corners = corner_rows(evidence, motion, faces, both, plain)
    parts = [*_kept(faces, counts, corners), *under_rows(evidence, motion), *table_rows(evidence, motion)]
    for more in (wall_rows(evidence, motion, is_wall_judged), seam_rows(evidence, motion, is_seam_judged)):
        if more is not None:
            parts.append(more)
    return joined(parts), heights


def _kept(faces: Rows, counts: np.ndarray, corners: list[Rows]) -> list[Rows]:
    """Return the rows of faces that count (n,) bool or that corners are made of, and the corners.

    First those of faces: corners count in them.  Those that do not count themselves have no limit.
    """
    faces = replace(faces, limit=np.where(counts, faces.limit, np.inf))
    kept = counts.copy()
    for part in corners:
        kept[part.faces[part.faces >= 0]] = True
    number = np.append(np.cumsum(kept) - 1, -1)  # -1 stays so
    return [faces[kept], *(replace(part, faces=number[part.faces]) for part in corners)]


def _without(rows: Rows, accepted) -> Rows:
    """Return rows that never break where a finding of their kind and side is accepted."""
    if not accepted:
        return rows
    value, grow, thick = rows.value.copy(), rows.grow.copy(), rows.thick.copy()
    for finding in accepted:
        x0, y0, x1, y1 = finding.box
        x, y, _ = rows.at.T
        is_in = (x >= x0 - BESIDE) & (x <= x1 + BESIDE) & (y >= y0 - BESIDE) & (y <= y1 + BESIDE)
        kind = next((k for k, name in enumerate(KINDS) if finding.kind.startswith(name)), -1)
        mine = is_in & (rows.kind == kind) & ((rows.side == finding.side) | (kind in (WALL, STEP)))
        value[mine], grow[mine], thick[mine] = np.minimum(value[mine], rows.limit[mine]), 0.0, 0.0
    return replace(rows, value=value, grow=grow, thick=thick)
