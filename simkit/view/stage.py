"""The surfaces of what the window of `simkit view` shows; NumPy only."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from simkit.report import colours
from simkit.report.outer_steps import outer_classes, target_columns
from simkit.report.pictures import in_steps_of_zones
from simkit.report.pooled import pooled, pooled_target, pooled_wood
from simkit.report.scene_file import LIT, PALE, TRUE, Surface
from simkit.report.scenes import FROM_ABOVE, LOW_DOWN, leftover_surfaces, with_resin
from simkit.report.solid_mesh import HOLDS, RESIN, coloured, surface
from simkit.report.standing_things import EDGES, FIXTURE, cutter_surfaces, fixture_surfaces
from simkit.stock.field import Field, Lattice
from simkit.view.look import ACROSS, CUT, LEFTOVER, NONE, PART, STEP, Look

MOST_CELLS = 300_000
FADED, WANTED, WOOD, INSIDE = "#f0ede5", "#dcd9d2", "#ece2cc", "#b9a98a"


@dataclass(frozen=True)
class Goal:
    """Where the eye goes: from the part to it, which way is up, and what lies in the middle; mm.

    size: how much is shown, across the narrower way of the picture.
    """

    eye: np.ndarray
    up: np.ndarray
    about: np.ndarray
    size: float


def surfaces_of(look: Look) -> list[Surface]:
    """Return what is shown as surfaces in the blank frame.

    A section takes away what lies before its plane: in front of it where it runs along the blank, left of it
    where it runs across.  Accuracy: heights at cell centres, pooled where there are more than MOST_CELLS.
    """
    evidence, state = look.evidence, look.state
    field = evidence.field
    if state.subject == STEP:
        return _step(look)
    if state.subject == CUT:
        limits = (evidence.job.limits.gouge, evidence.job.limits.leftover)
        shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
        nothing = np.full(field.lattice.shape, np.nan, np.float32)
        index = [colours.class_index(shown.get(side, nothing), limits) for side in (2, 1)]
        stands_out = outer_classes(evidence, look.findings)
        if stands_out is not None:
            index = [colours.worse(one, stands_out) for one in index]
        wanted = target_columns(evidence)
        more = {"resin": field, "target": wanted, "stands_out": stands_out}
        return _cut_open(look, field.lattice, field.lower, field.upper, *index, **more)
    lower, upper = target_columns(evidence)
    index = np.full(field.lattice.shape, colours.WITHIN, np.int8)
    if state.subject == PART:
        return _cut_open(look, field.lattice, lower, upper, index, index, WANTED)
    made = _cut_open(look, field.lattice, lower, upper, index, index, FADED, PALE)
    shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
    return made + leftover_surfaces(evidence, shown, look.findings, _kept(look, field.lattice))


def goal_of(look: Look) -> Goal:
    """Return where to look from: the side that lies up, near the chosen finding where it has a place."""
    lie, blank, row = look.lie, look.evidence.job.blank, look.finding
    if look.state.section != NONE:  # from the side that was taken away
        eye = np.array([-1.0, -0.15, 0.0] if look.state.section == ACROSS else [-0.15, -1.0, 0.0])
        eye[2] = 0.45 * lie.up
    else:
        eye = lie.matrix @ np.array((*LOW_DOWN[:2], 0.75) if look.state.subject == STEP else FROM_ABOVE)
    up = lie.matrix @ np.array((0.0, 0.0, 1.0))
    middle, size = np.array([blank.length, blank.width, blank.thickness]) / 2, max(blank.length, blank.width)
    if row is not None and row["at"] is not None and look.state.finding is not None:
        return Goal(eye, up, np.array(row["at"], float), max(0.3 * size, min(60.0, 1.2 * size)))
    return Goal(eye, up, middle, size)


def legend_of(look: Look) -> list[tuple[str, str]]:
    """Return (colour, words) of what is in the picture."""
    state, rows = look.state, []
    within, proud, deep = (colours.CLASSES[colours.WITHIN + step] for step in (0, 2, -2))
    limits = look.evidence.job.limits
    told = f"{colours.PROUD} by over {look.lengths.told(limits.leftover)}"
    if state.subject == CUT:
        if look.evidence.deviations:
            rows = [(within, colours.IN_LIMITS), (proud, told)]
            rows.append((deep, f"{colours.TOO_DEEP} by over {look.lengths.told(limits.gouge)}, striped"))
        rows.append((colours.HOLDING, "wood outside the part"))
    elif state.subject == PART:
        rows.append((WANTED, "the part as wanted"))
    elif state.subject == LEFTOVER:
        rows += [(FADED, "the part, faded"), (proud, f"{told}, the darker, the more")]
    else:
        rows += [(WOOD, "wood"), (EDGES, "cutter")]
        if look.evidence.job.fixtures:
            rows.append((FIXTURE, "clamps and stops"))
    if state.subject in (CUT, STEP) and look.evidence.field.wood_upper is not None:
        rows.append((colours.RESIN, "resin, dotted where it is off" if state.subject == CUT else "resin"))
    if state.section != NONE:
        rows.append((INSIDE, "cut open"))
    return rows


def _step(look: Look) -> list[Surface]:
    """The wood behind the line at hand, with clamps and cutter."""
    steps, job, done = look.steps, look.evidence.job, look.done
    field = steps.field_at(done)
    setup = steps.runs[look.state.run][0]
    index = np.full(field.lattice.shape, colours.WITHIN, np.int8)
    made = _cut_open(look, field.lattice, field.lower, field.upper, index, index, WOOD, resin=field)
    lie = job.setups[setup].lie(job.blank)
    things, _ = fixture_surfaces(
        [one for one in job.fixtures if one.stands_in(job.setups[setup])], look.evidence.meshes
    )
    if done and steps.setup_at(done) == setup:
        tip = job.setups[setup].to_table(job.blank).apply(steps.moves.end[done - 1])
        if np.isfinite(tip).all():
            cutter, _ = cutter_surfaces(job.cutters[int(steps.moves.tool[done - 1])], tip)
            things += cutter
    return made + [Surface(lie.apply(one.faces).astype(np.float32), one.colours, one.light) for one in things]


def _kept(look: Look, lattice: Lattice) -> np.ndarray:
    """Return the cells (ny, nx) bool that a section leaves."""
    blank, state = look.evidence.job.blank, look.state
    kept = np.ones(lattice.shape, bool)
    if state.section == NONE:
        return kept
    if state.section == ACROSS:
        return kept & (lattice.x() >= state.at * blank.length)[None, :]
    return kept & (lattice.y() >= state.at * blank.width)[:, None]


def _cut_open(
    look: Look, lattice: Lattice, lower, upper, class_lower, class_upper, colour=None, light=LIT, resin=None,
    target=None, stands_out=None,
):  # fmt: skip
    """Return the surface round the columns that a section leaves, its cut face in a colour of its own.

    colour: of all of it; None: of its classes.  resin: the field whose resin is told, None: none is.
    target: of outer_steps.target_columns; walls then have colours as far as they stand off it.  stands_out:
    of outer_steps.outer_classes, in the classes already.
    """
    kept = _kept(look, lattice)
    low, high = (np.where(kept, level, 0.0).astype(np.float32) for level in (lower, upper))
    low, high, mine, its, fold = pooled(low, high, class_lower, class_upper, most=MOST_CELLS, is_even=True)
    if not (high > low).any():
        return []
    if resin is not None:
        mine, its = mine.copy(), its.copy()
        with_resin(resin, mine, its, fold)
    cell = lattice.cell * fold
    if target is not None:
        target = pooled_target(target, stands_out, fold)
    quads, classes = surface(low, high, mine, its, cell, lattice.origin, target)
    if colour is None:
        faces = coloured(quads, classes, float(np.ptp(quads[..., 0])), cell)
    else:
        faces = np.tile(np.array(colours.rgb(colour), np.uint8), (len(quads), 1))
        faces[classes == RESIN] = colours.rgb(colours.RESIN)
    state = look.state
    if state.section != NONE:
        axis = 0 if state.section == ACROSS else 1
        plane = quads[..., axis].min()
        is_cut = quads[..., axis].max(axis=1) < plane + 1e-3
        blank = look.evidence.job.blank
        if plane > 1e-6 and abs(plane - state.at * (blank.length, blank.width)[axis]) <= cell:
            parts, inside = _inside(quads[is_cut], axis, lattice, resin, fold)
            quads, faces = np.concatenate([quads[~is_cut], parts]), np.concatenate([faces[~is_cut], inside])
            classes = np.concatenate([classes[~is_cut], np.full(len(parts), colours.WITHIN, np.int8)])
    if colour is not None:
        return [Surface(quads, faces, light)]
    is_plain = (classes == colours.WITHIN) | (classes == RESIN)
    parts = ((is_plain, LIT), (classes == HOLDS, PALE), (~is_plain & (classes != HOLDS), TRUE))
    return [Surface(quads[one], faces[one], share) for one, share in parts if one.any()]


def _inside(
    quads: np.ndarray, axis: int, lattice: Lattice, resin: Field | None, fold: int
) -> tuple[np.ndarray, np.ndarray]:
    """Return the faces of a cut (m, 4, 3) mm and their colours (m, 3) uint8: wood and resin apart.

    quads (n, 4, 3) mm: those of the plane across `axis`, on `fold` times the cells of the lattice.
    """
    if resin is None or resin.wood_upper is None:
        return quads, np.tile(np.array(colours.rgb(INSIDE), np.uint8), (len(quads), 1))
    behind = (quads.mean(axis=1)[:, :2] - lattice.origin) / (lattice.cell * fold)
    behind[:, axis] += 0.5  # into the column behind the plane
    column = tuple(behind[:, ::-1].astype(int).T)
    wood = pooled_wood(resin.lower, resin.upper, resin.wood_lower, resin.wood_upper, fold)
    parts, is_resin = _parted(quads, *(level[column] for level in wood))
    return parts, np.array([colours.rgb(INSIDE), colours.rgb(colours.RESIN)], np.uint8)[is_resin.astype(int)]


def _parted(quads: np.ndarray, bottom: np.ndarray, top: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return upright faces parted where wood ends, (m, 4, 3) mm, and which parts are resin, (m,) bool.

    quads (n, 4, 3) mm, blank frame, as `solid_mesh.surface` makes walls: the last two corners stand over or
    under the second and the first.  bottom, top (n,) mm: the wood of the column behind each.
    """
    first, last = quads[:, :2, 2], quads[:, :1:-1, 2]  # heights at either end, (n, 2)
    levels = [
        np.clip(level[:, None], np.minimum(first, last), np.maximum(first, last)) for level in (bottom, top)
    ]
    is_up = (last >= first).all(axis=1)[:, None]
    levels = [first, np.where(is_up, *levels), np.where(is_up, *levels[::-1]), last]
    parts, is_resin = [], []
    for number, (begin, end) in enumerate(pairwise(levels)):
        part = quads.copy()
        part[:, :2, 2], part[:, :1:-1, 2] = begin, end
        part = part[(begin != end).any(axis=1)]
        parts.append(part)
        is_resin.append(np.full(len(part), number != 1))
    return np.concatenate(parts), np.concatenate(is_resin)
