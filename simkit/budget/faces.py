"""Faces that are taken to a thickness on the way: where the budget of such a job is told, and where not.

A planed face follows the blank alone, and what is cut follows its zero.  Where a face was planed down through
what had been cut, the cut under the error of its side may come out below the face: nothing of it is seen now.
"""

from __future__ import annotations

import math

import numpy as np

from simkit.budget.lifts import cut_lifts, face_lifts, part_lift, stated_sizes, taken
from simkit.job.model import Job
from simkit.job.steps import THICKNESS
from simkit.stock.pour import Poured

SAME = 1e-4  # mm: heights in float32 nearer than this are the same
ROOM = 0.5  # mm: a cut nearer above the face that took it off is as good as in it


def why_not(evidence) -> str:
    """Return in words why the budget of a job with steps is not told, "" where it is told.

    evidence: of findings, compared with the target.
    """
    job = evidence.job
    if resin := _resin(evidence):
        return resin
    sizes = stated_sizes(job)
    for _, size, grows in taken(job):
        if size <= 0:
            return "a step takes nothing off the blank"
        if (off := float(np.abs(grows) @ sizes)) >= size:
            return f"a step takes only {size:.2f} mm off, and {_may_be(off)}"
    for over, grows in hidden(evidence):
        if over < ROOM:
            return "a face was taken off down to below what had been cut into it, within the part"
        if (off := float(np.abs(grows) @ sizes)) >= over:
            return (
                f"a face was taken off {over:.2f} mm below what had been cut into it, within the part, and "
                f"{_may_be(off)}"
            )
    return ""


def _may_be(off: float) -> str:
    return f"by the errors that the job states that may be {off:.2f} mm less"


def _resin(evidence) -> str:
    """Return in words why resin on the way is in the way, "" where it is not.

    Resin stays where it was poured into a cut of the first side, and what the second side cuts into it is as
    if it were wood.  Not so where it lies on the second side, or the blank is open under it; and how high it
    stands in a thicker blank is known while its level lies as far below the face to the end.
    """
    frames, done = evidence.frames, evidence.steps_done()
    second = next((frame.up for frame in frames if frame.up != frames[0].up), 0)
    for number, one in done:
        if not isinstance(one, Poured):
            continue
        if one.up == second:
            return "resin is poured into what the side cut second opened"
        if one.openings or one.is_through.any():
            return "resin is poured where the blank is open below or at its edge"
        is_later = any(step.do == THICKNESS for step in evidence.job.steps[number + 1 :])
        if is_later and _shows(evidence, one):
            return "resin is left on the part as high as it was poured, and the blank is thinner then"
    return ""


def _shows(evidence, one: Poured) -> bool:
    """Return whether resin of a pour still stands as high as it was poured, within the part."""
    field = evidence.field
    height, owner = (field.upper, field.upper_move) if one.up > 0 else (field.lower, field.lower_move)
    is_there = (owner < 0) & (np.abs(height - one.level) < SAME) & one.is_filled
    return bool((is_there & field.is_solid & evidence.envelopes.is_part).any())


def least_taken(job: Job) -> float:
    """Return the least that a step to a thickness takes off between the faces, mm; inf without one."""
    return min((size for _, size, _ in taken(job)), default=math.inf)


def hidden_over(evidence) -> float:
    """Return the least of `hidden`, mm; inf for none."""
    return min((over for over, _ in hidden(evidence)), default=math.inf)


def hidden(evidence) -> list[tuple[float, np.ndarray]]:
    """Return how far cuts that a step took off with the face had ended above it, within the part.

    For each setup and face: mm of the least of them, and by how much that grows for each mm of each error of
    thickness, (1 + k,).  0 mm for a cut of the side cut second, which an error of its height may bring out.
    """
    job, is_part, found = evidence.job, evidence.envelopes.is_part, []
    lift = cut_lifts(job) + part_lift(job)
    for setup, field in enumerate(evidence.fields):
        numbers = [number for number, _ in job.steps_after(setup)]
        if not numbers:
            continue
        body, faces = job.body(numbers[-1] + 1), face_lifts(job, numbers[-1] + 1)
        for up, owner, over in (
            (1, field.upper_move, field.upper - body.face(1)),
            (-1, field.lower_move, body.face(-1) - field.lower),
        ):
            is_hidden = (owner >= 0) & (over > 0) & field.is_solid & is_part
            by = evidence.moves.setup[owner[is_hidden]]
            for one in np.unique(by):
                least = float(over[is_hidden][by == one].min()) if up == evidence.frames[0].up else 0.0
                found.append((least, up * (lift[one] - faces[up > 0])))
    return found
