"""The maps of a check beside deviation and ridges: walls, the witness step, and who cut where."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from simkit.findings import thin_wall
from simkit.findings.evidence import Evidence
from simkit.findings.made import step_map
from simkit.job.model import Job
from simkit.job.steps import POUR, SAW
from simkit.report.glue_paths import glue_paths
from simkit.report.lengths import Lengths
from simkit.report.seam_view import draw_seam
from simkit.report.wall_views import draw_walls
from simkit.report.who_cut_views import draw_who_cut, owners_of, with_steps


def draw_more_maps(
    folder: Path, evidence: Evidence, turns: dict[int, str], result: dict[str, Any]
) -> list[str]:
    """Draw the maps of walls, of the witness step and of who cut where; return their paths.

    See more_maps_as_drawn.
    """
    return list(more_maps_as_drawn(folder, evidence, turns, result))


def more_maps_as_drawn(
    folder: Path, evidence: Evidence, turns: dict[int, str], result: dict[str, Any]
) -> Iterator[str]:
    """Draw the maps of walls, of the witness step and of who cut where; yield each path when it is drawn.

    turns: how the blank lies for each side, as pictures.turns_of gives it.  A map that would hold nothing is
    left out: walls and the step need a target, the step two sides that meet.
    """
    job, field = evidence.job, evidence.field
    name, lengths = job.name or "part", Lengths(job.unit)
    is_part = None if evidence.envelopes is None else evidence.envelopes.is_part
    sides = sorted({1 if frame.up > 0 else 2 for frame in evidence.frames})
    for side in sides:
        seen = {"side": side, "turn": turns[side], "blank": job.blank, "lengths": lengths}
        findings = [row for row in result["findings"] if row["side"] in (side, None)]
        resin = field.is_resin(side)
        if evidence.walls is not None:
            path = folder / f"walls_side_{side}.png"
            draw_walls(
                path,
                cut=evidence.walls,
                target=evidence.target_walls,
                limit=job.limits.thinnest_wall,
                is_judged=thin_wall.is_judged(evidence),
                is_part=is_part,
                title=f"{name}: how thick the walls are, seen from side {side}",
                findings=result["findings"],
                glue=glue_paths(job.layup, job.blank, field, side, is_part),
                resin=resin,
                **seen,
            )
            yield str(path)
        path = folder / f"who_cut_side_{side}.png"
        rows = field.upper_move if side == 1 else field.lower_move
        draw_who_cut(
            path,
            field=field,
            owners=with_steps(
                owners_of(rows, evidence.moves, job.cutters), step_map(evidence, side), step_names(job)
            ),
            is_part=is_part,
            title=f"{name}: which program and which cutter cut where, side {side}",
            findings=findings,
            resin=resin,
            **seen,
        )
        yield str(path)
    if result["seam"] is not None and evidence.seam.worst is not None:
        path = folder / "witness_step.png"
        draw_seam(
            path,
            seam=evidence.seam,
            limit=job.limits.witness_step,
            lattice=field.lattice,
            is_part=is_part,
            side=sides[0],
            turn=turns[sides[0]],
            blank=job.blank,
            lengths=lengths,
            title=f"{name}: the step where the cuts of the two sides meet",
            findings=result["findings"],
        )
        yield str(path)


def step_names(job: Job) -> list[str]:
    """Return what the map of who cut where calls each step of a job."""
    names = []
    for step in job.steps:
        what = {POUR: "resin as it was poured", SAW: "saw"}.get(step.do, step.tool)
        names.append(f"{what}, after '{job.setups[step.after].name}'")
    return names
