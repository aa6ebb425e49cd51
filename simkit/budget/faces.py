"""Faces that are taken to a thickness on the way: where the budget of such a job is told, and where not.

A planed face follows the blank alone, and what is cut follows its zero.  Where a face was planed down through
what had been cut, the cut under the error of its side may come out below the face: nothing of it is seen now.
"""

from __future__ import annotations

import math

import numpy as np

from simkit.job.model import Job
from simkit.job.steps import POUR, THICKNESS


def why_not(evidence) -> str:
    """Return in words why the budget of a job with steps is not told, "" where it is told.

    evidence: of findings, compared with the target.
    """
    job = evidence.job
    if any(step.do == POUR for step in job.steps):
        return "resin is poured into the blank on its way"
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
    if _is_hidden(evidence):
        return "a face was taken off down to below what had been cut into it, within the part"
    return ""


def least_taken(job: Job) -> float:
    """Return the least that a step to a thickness takes off between the faces, mm; inf without one."""
    taken = [
        job.body(number).thickness - step.thickness
        for number, step in enumerate(job.steps)
        if step.do == THICKNESS
    ]
    return min(taken, default=math.inf)


def _is_hidden(evidence) -> bool:
    """Return whether steps took off a face where a cut had ended above the new one, within the part."""
    job, is_part = evidence.job, evidence.envelopes.is_part
    for setup, field in enumerate(evidence.fields):
        numbers = [number for number, _ in job.steps_after(setup)]
        if not numbers:
            continue
        body = job.body(numbers[-1] + 1)
        high = (field.upper_move >= 0) & (field.upper > body.face(1))
        low = (field.lower_move >= 0) & (field.lower < body.face(-1))
        if np.any((high | low) & field.is_solid & is_part):
            return True
    return False
