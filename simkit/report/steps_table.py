"""The steps between the setups as a result tells them: what each does, volume, mass, thickness after."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from simkit.budget.faces import hidden_over, least_taken, why_not
from simkit.findings.evidence import Evidence
from simkit.job.steps import POUR, SAW, THICKNESS, Step
from simkit.stock.field import volume_of
from simkit.stock.pour import Poured

PLAIN_BYTES, POURED_BYTES = 16, 24  # of a cell: two heights and two owners; where wood ends on either side


def step_words(step: Step) -> str:
    """Return what a step does, in words without its setup."""
    if step.do == SAW:
        x0, y0, x1, y1 = step.box
        return f"sawn to x {x0:g} to {x1:g}, y {y0:g} to {y1:g} mm, {x1 - x0:g} by {y1 - y0:g} mm"
    if step.do != POUR:
        return f"side {step.side} taken to {step.thickness:g} mm by {step.tool}"
    if step.over is not None:
        level = f"{step.over:g} mm over the face"
    else:
        level = f"{step.below:g} mm below the face" if step.below else "flush with the face"
    where = ", inside an outline" if step.outline else ""
    closed = ", openings closed" if step.is_closed else ""
    return f"resin into side {step.side}, {level}{where}{closed}"


def steps_table(evidence: Evidence) -> dict[str, Any]:
    """Return `steps` of a result."""
    field = evidence.field
    volume, bound = volume_of(field.resin().astype(np.float64), field.lattice)
    return {
        "rows": [_row(evidence, number, one) for number, one in evidence.steps_done()],
        "resin_left": volume,
        "resin_bound": bound,
        "bytes_per_cell": PLAIN_BYTES if field.wood_upper is None else POURED_BYTES,
    }


def _row(evidence: Evidence, number: int, one) -> dict[str, Any]:
    job, step = evidence.job, one.step
    is_pour = isinstance(one, Poured)
    return {
        "number": number + 1,
        "do": step.do,
        "after": job.setups[step.after].name,
        "side": step.side,
        "words": step_words(step),
        "volume": one.volume,
        "bound": one.bound,
        "mass": one.mass if is_pour else None,
        "density": step.density if is_pour else None,
        "deepest": one.deepest,
        "deepest_at": one.deepest_at if is_pour else None,
        "most_depth": step.most_depth,
        "area": one.area if is_pour else None,
        "hollows": one.hollows if is_pour else None,
        "level": one.level if is_pour else None,
        "openings": [asdict(opening) for opening in one.openings] if is_pour else [],
        "face": one.face if step.do == THICKNESS else None,
        "narrower": one.narrower if step.do == THICKNESS else None,
        "thickness_after": job.body(number + 1).thickness,
        "size_after": [job.body(number + 1).length, job.body(number + 1).width],
    }


def steps_remarks(evidence: Evidence) -> list[str]:
    """Return what a person should know of a job with steps between its setups, in words."""
    job = evidence.job
    if not job.steps:
        return []
    words = []
    if evidence.seam is not None:
        why = why_not(evidence)
        if why:
            words.append(f"how far side 2 may be off is not told: {why}")
        elif evidence.budget is not None:
            told = "the table of how far side 2 may be off takes every step to be done as stated"
            thinner = min(least_taken(job), hidden_over(evidence))
            if thinner < math.inf:
                told += (
                    f", but for the thickness that it leaves: once these errors come to {thinner:.2f} mm "
                    "together, a step takes nothing off, or no longer takes away all that it should"
                )
            words.append(told)
    for number, one in evidence.steps_done():
        if one.step.do == THICKNESS and one.narrower > 0.0:
            far = f"{one.narrower:.1f} mm"
            words.append(f"step {number + 1}: the resin gets narrower by up to {far}, because its walls lean")
    limit = job.limits.thinnest_wall
    for number, one in evidence.steps_done():
        if isinstance(one, Poured) and one.thinnest < limit:
            x, y, _ = one.thinnest_at
            words.append(
                f"step {number + 1}: only {one.thinnest:.2f} mm are left under the resin at "
                f"x {x:.1f}, y {y:.1f} mm before it is poured; a wall may be {limit:g} mm at least"
            )
    poured = [one for _, one in evidence.steps_done() if isinstance(one, Poured)]
    if poured:
        words.append("resin counts as wood in walls, in weight, in what holds a piece, in time and bite")
    if any(one.openings for one in poured):
        words.append("the check goes on as if the resin had been kept from running out")
    return words
