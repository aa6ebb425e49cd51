"""Who made a surface that no cutter left: a step of the job, or the blank itself; and the words for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.job.model import Job
from simkit.job.steps import POUR, SAW
from simkit.stock.pour import Poured
from simkit.stock.saw import Sawn
from simkit.units import area_words


def step_name(job: Job, number: int) -> str:
    """Return what a step is called in a sentence, such as "pour after 'outside'"."""
    step = job.steps[number]
    what = {POUR: "pour", SAW: "sawing"}.get(step.do) or f"step to {step.thickness:g} mm"
    return f"{what} after '{job.setups[step.after].name}'"


def step_map(evidence: Evidence, side: int) -> np.ndarray:
    """Return the number of the step that left the surface of a side in each cell, -1 for none (ny, nx).

    A face that a cutter cut later is the cutter's; what was sawn off is the saw's, whatever ran there.
    """
    field = evidence.field
    height, owner = (field.upper, field.upper_move) if side == 1 else (field.lower, field.lower_move)
    made = np.full(field.lattice.shape, -1, np.int16)
    is_left = (owner < 0) & field.is_solid
    for number, one in evidence.steps_done():
        if isinstance(one, Sawn):
            is_off = one.is_off(*np.meshgrid(field.lattice.x(), field.lattice.y()))
            made[is_off & evidence.starts[0].is_solid & (made < 0)] = number
        elif one.step.side == side:
            at = one.level if isinstance(one, Poured) else one.face
            is_mine = is_left & (np.abs(height - at) < shape.SAME)
            made[is_mine & one.is_near if isinstance(one, Poured) else is_mine] = number
    return made


def step_of(evidence: Evidence, one: shape.Looked) -> int | None:
    """Return the number of the step that made a spot's worst place, None for none."""
    if one.row >= 0 or not evidence.job.steps:
        return None
    return shape.step_at(evidence, one.side, one.look.at)


def gouge_words(evidence: Evidence, one: shape.Looked) -> tuple[str, str] | None:
    """Return message and advice for a part that lacks something no cutter took, None where one did."""
    size, over = f"{abs(one.look.value):.2f} mm", f"over {area_words(one.spot.area)}"
    number = step_of(evidence, one)
    if number is not None:
        name = step_name(evidence.job, number)
        if evidence.job.steps[number].do == POUR:
            return (
                f"the resin of the {name} stands {size} below the part {over}",
                "Pour higher, or over the face and take it off as a step to a thickness.",
            )
        if evidence.job.steps[number].do == SAW:
            return (
                f"the {name} goes {size} into the part {over}",
                "Leave a larger box, or move the part in it.",
            )
        return (
            f"the {name} takes {size} off the part {over}",
            "Check thickness and side of this step, and how high the part lies in the blank (`target.at`).",
        )
    if _is_bare_face(evidence, one):
        return (
            f"the blank lacks {size} of the part {over}: its face was never cut there",
            "Take a thicker blank, or lay the part lower in it.",
        )
    return None


def leftover_words(evidence: Evidence, one: shape.Looked) -> tuple[str, str] | None:
    """Return message and advice for what a step left standing on the part, None where none did."""
    number = step_of(evidence, one)
    if number is None:
        return None
    name, step = step_name(evidence.job, number), evidence.job.steps[number]
    size, over = f"{abs(one.look.value):.2f} mm", f"over {area_words(one.spot.area)}"
    later = "or let a setup behind it cut this place"
    if step.do == POUR:
        return (
            f"the resin of the {name} stands {size} over the part {over}, and nothing takes it off",
            f"Pour lower, take it off as a step to a thickness, {later}.",
        )
    return (
        f"the {name} leaves {size} standing over the part {over}, and nothing behind it takes that off",
        f"Check thickness and side of this step, and how high the part lies in the blank, {later}.",
    )


def source_fields(evidence: Evidence, one: shape.Looked) -> dict[str, Any]:
    """Return the fields of a Finding that a face never cut has: the job's thickness, and no cutter."""
    if step_of(evidence, one) is not None or not _is_bare_face(evidence, one):
        return {}
    line = evidence.job_line("blank.thickness")
    return {"cutter": "", "column": None, **line}


def _is_bare_face(evidence: Evidence, one: shape.Looked) -> bool:
    """Return whether a spot lies on a face of the blank that nothing cut or planed there.

    Only in a blank that is supposed to be thinner: else no part reaches above its faces.
    """
    if evidence.job.target is None or not evidence.job.target.lacking:
        return False
    columns = evidence.columns(np.array([one.look.at[:2]], float))
    row, height = (columns.row_upper, columns.upper) if one.side == 1 else (columns.row_lower, columns.lower)
    face = evidence.job.last_body.face(1 if one.side == 1 else -1)
    return bool(row[0] < 0 and abs(height[0] - face) < shape.SAME)
