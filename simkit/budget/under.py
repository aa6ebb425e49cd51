"""Faces and cuts over what is left now: an error of a thickness may bring them below it, into the part.

What is left of a column is the lowest of all that was planed and cut on its side.  Where a planed face lies
0.2 mm over what a cutter left there, whose zero is not set at that face, a step that leaves 0.3 mm less
takes 0.1 mm off the part; and a cut that the face took away with it shows again when the step leaves more.
So each such surface has rows of its own: how far it would be in the part, negative while it lies over it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from simkit.budget.lifts import face_lifts, part_lift
from simkit.budget.motion import Motion
from simkit.budget.region import FAR
from simkit.budget.rows import GOUGE, Rows, lifts, make_rows, normals, worst_cells
from simkit.stock.pour import Poured

SAME = 1e-4  # mm: heights in float32 nearer than this are the same


def under_rows(evidence, motion: Motion) -> list[Rows]:
    """Return rows of gouges by the faces of the blank, by resin and by cuts that are hidden now.

    evidence: of findings.  Faces and resin are level: the highest place of the part is cut deepest, and by
    what is missing there.  A hidden cut is taken to run along the part: it is measured along its normal.
    """
    field, lattice, parts = evidence.field, evidence.field.lattice, []
    for side in evidence.deviations:
        sign = 1.0 if side == 1 else -1.0
        wanted = sign * evidence.envelopes.side(side).astype(float)
        limit = evidence.zones.limits(lattice, side)[0]
        left = evidence.zones.allowance(lattice, side)
        least = 0.0 if left is None else left[0]
        owner, height = (field.upper_move, field.upper) if side == 1 else (field.lower_move, field.lower)
        now = lifts(evidence, motion, side, owner.ravel()).reshape(*owner.shape, -1)
        is_asked = np.isfinite(limit) & np.isfinite(wanted) & evidence.envelopes.is_part
        for high, lift, is_level in _surfaces(evidence, motion, side):
            is_other = is_asked & (lift != now).any(axis=2) & (high > sign * height + SAME)
            value = np.where(is_other, wanted + least - high, -np.inf)
            cells = worst_cells(np.where(value > limit - 2 * FAR[-1], value - limit, -np.inf), lattice.cell)
            if not len(cells):
                continue
            x, y = lattice.centre_of(*np.divmod(cells, lattice.nx))
            at = np.column_stack([x, y, sign * wanted.ravel()[cells]])
            if is_level:
                outward = np.tile([0.0, 0.0, sign], (len(cells), 1))
            else:
                outward = normals(evidence.target_grid, at, side)
            rises = np.broadcast_to(lift, now.shape).reshape(-1, now.shape[2])[cells]
            is_moved = side == motion.side and not is_level
            parts.append(
                make_rows(
                    GOUGE, side, at, value.ravel()[cells] * np.abs(outward[:, 2]), limit.ravel()[cells],
                    -outward * is_moved, -outward[:, 2:] * rises, np.full_like(at, np.nan), rises,
                )
            )  # fmt: skip
    return parts


def _surfaces(evidence, motion: Motion, side: int) -> Iterator[tuple[np.ndarray, np.ndarray, bool]]:
    """Give the surfaces that side has had, but for what is left.

    Each: heights along the side's own axis (ny, nx) mm, inf where it is not; by how much it rises for each mm
    of an error of thickness, (1 + k,) or (ny, nx, 1 + k); and whether it is a level face.
    """
    job, shape = evidence.job, evidence.field.lattice.shape
    up = 1 if side == 1 else -1
    yield np.full(shape, up * job.last_body.face(up)), motion.face_lift[side - 1], True
    for number, one in evidence.steps_done():
        if isinstance(one, Poured) and one.up == up:
            lift = face_lifts(job, number)[up > 0] - part_lift(job)
            yield np.where(one.is_filled, up * one.level, np.inf), lift, True
    for setup, field in enumerate(evidence.fields):
        owner, height = (field.upper_move, field.upper) if side == 1 else (field.lower_move, field.lower)
        is_cut = (owner >= 0) & field.is_solid
        for its in evidence.done[setup:]:
            for one in its:
                if isinstance(one, Poured) and one.up == up:
                    is_cut &= ~one.is_filled  # resin stands in it
        if is_cut.any():
            lift = lifts(evidence, motion, side, owner.ravel()).reshape(*shape, -1)
            yield np.where(is_cut, up * height.astype(float), np.inf), lift, False
