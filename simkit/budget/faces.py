"""Faces that are taken to a thickness on the way: where the budget of such a job is told, and where not.

A planed face follows the blank alone, and what is cut follows its zero.  Where a face was planed down through
what had been cut, the cut under the error of its side may come out below the face: nothing of it is seen now.
"""

from __future__ import annotations

import math

import numpy as np

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
    taken = least_taken(job)
    if taken <= 0:
        return "a step takes nothing off the blank"
    stated = 0.0
    if job.budget is not None:
        stated = sum(getattr(job.budget, key) or 0.0 for key in ("thickness_error", "planing"))
    if stated >= taken:
        return (
            f"a step takes only {taken:.2f} mm off, and the blank may be {stated:.2f} mm thinner than stated"
        )
    over = hidden_over(evidence)
    if over < ROOM:
        return "a face was taken off down to below what had been cut into it, within the part"
    if stated >= over:
        return (
            f"a face was taken off {over:.2f} mm below what had been cut into it, within the part, and the "
            f"blank may be {stated:.2f} mm thinner than stated"
        )
    return ""


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
    taken = [
        job.body(number).thickness - step.thickness
        for number, step in enumerate(job.steps)
        if step.do == THICKNESS
    ]
    return min(taken, default=math.inf)


def hidden_over(evidence) -> float:
    """Return how far cuts that a step took off with the face had ended above it, within the part, mm.

    The least of them: in a blank thinner by so much the first would show.  inf for none; 0 for a cut of the
    side cut second, which an error of its height may bring out as well.
    """
    job, is_part, least = evidence.job, evidence.envelopes.is_part, math.inf
    for setup, field in enumerate(evidence.fields):
        numbers = [number for number, _ in job.steps_after(setup)]
        if not numbers:
            continue
        body = job.body(numbers[-1] + 1)
        for up, owner, over in (
            (1, field.upper_move, field.upper - body.face(1)),
            (-1, field.lower_move, body.face(-1) - field.lower),
        ):
            is_hidden = (owner >= 0) & (over > 0) & field.is_solid & is_part
            if is_hidden.any():
                least = min(least, float(over[is_hidden].min()) if up == evidence.frames[0].up else 0.0)
    return least
