"""All pictures of a check: a plan view of each side, and one 3-D view."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from simkit.compare.outside import FRAME, SKIN
from simkit.compare.reach_options import WANTED_CUSP
from simkit.errors import InputProblems, Place, Problem
from simkit.findings.evidence import Evidence
from simkit.findings.seat import seat_words
from simkit.report.lengths import Lengths
from simkit.report.outer_steps import outer_classes, step_classes, target_columns


def draw_pictures(folder: Path, evidence: Evidence, result: dict[str, Any]) -> tuple[list[str], list[str]]:
    """Draw the pictures into a folder, made if need be; return their paths and remarks for the person.

    evidence: fields and deviations.  result: as report.result gives it; the findings' numbers come
    from there.  A 3-D view that cannot be drawn becomes a remark.
    Raises InputProblems when the folder cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return _draw(folder, evidence, result)
    except OSError as reason:
        raise InputProblems(
            Problem(
                Place(str(folder), key="--pictures"),
                f"'{reason.strerror or reason}'",
                "a folder that can be written",
                "free some space, close them where they are open, or choose another folder",
            )
        ) from None


def in_steps_of_zones(evidence: Evidence, side: int) -> np.ndarray:
    """Return the deviation of a side as it is coloured, in steps of each zone's limit, mm (ny, nx).

    Where a zone has limits of its own, a deviation is drawn as large against the limits of the whole
    part as it is against those of the zone; where nothing is judged, as none.
    """
    normal = evidence.deviations[side].normal
    zones = evidence.zones
    if len(zones.rules) == 1:
        return normal
    whole = zones.rules[0]
    index = zones.index(evidence.field.lattice, side)
    factors = {
        is_gouge: np.array(
            [
                0.0 if not rule.is_judged else of_whole / own if own > 0 and of_whole > 0 else 1.0
                for rule in zones.rules
                for own, of_whole in [
                    (rule.gouge, whole.gouge) if is_gouge else (rule.leftover, whole.leftover)
                ]
            ]
        )[index]
        for is_gouge in (True, False)
    }
    return (normal * np.where(normal < 0, factors[True], factors[False])).astype(np.float32)


def turns_of(evidence: Evidence) -> dict[int, str]:
    """Return how the blank lies in the setup that cuts side 1 and side 2, of frames.TURNS."""
    turns = {1: "none", 2: "about x"}
    for setup, frame in zip(evidence.job.setups, evidence.frames, strict=True):
        turns[1 if frame.up > 0 else 2] = setup.turn
    return turns


def holding_wood(evidence: Evidence) -> np.ndarray | None:
    """Return the cells of frame, tabs and skin (ny, nx) bool, None without a target."""
    wood = evidence.wood_outside
    return None if wood is None else (wood.kind >= FRAME) & (wood.kind <= SKIN)


def draw_plans(folder: Path, evidence: Evidence, result: dict[str, Any]) -> list[str]:
    """Draw the plan views of each side, of jigs, and the plots along the programs; return their paths."""
    return list(plans_as_drawn(folder, evidence, result))


def plans_as_drawn(folder: Path, evidence: Evidence, result: dict[str, Any]) -> Iterator[str]:
    """Draw what `draw_plans` draws, and yield each path when its picture is there."""
    from simkit.report.budget_view import draw_budget
    from simkit.report.effort_views import draw_along
    from simkit.report.glue_paths import glue_paths
    from simkit.report.more_maps import more_maps_as_drawn
    from simkit.report.plan_views import draw_plan_view
    from simkit.report.seat_view import draw_seat
    from simkit.report.section_view import draw_section
    from simkit.report.surface_views import draw_surface_view

    job, field = evidence.job, evidence.field
    nothing = np.full(field.lattice.shape, np.nan, np.float32)
    shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
    stands_out = step_classes(evidence, result["findings"])
    scale = " In zones the colours count in steps of their own limits." if job.zones and shown else ""
    name, lengths = job.name or "part", Lengths(job.unit)
    turns, holding = turns_of(evidence), holding_wood(evidence)
    for side in sorted({1 if frame.up > 0 else 2 for frame in evidence.frames}):
        path = folder / f"leftover_side_{side}.png"
        subject = "what is left standing or cut too deep" if side in shown else "what is left"
        draw_plan_view(
            path,
            lattice=field.lattice,
            deviation=shown.get(side, nothing),
            is_solid=field.is_solid,
            holding=holding,
            side=side,
            turn=turns[side],
            blank=job.blank,
            limits=(job.limits.gouge, job.limits.leftover),
            findings=[row for row in result["findings"] if row["side"] in (side, None)],
            title=f"{name}: {subject}, side {side}",
            is_judged=side in shown,
            subtitle=lengths.text(result["verdict"]["sentence"]) + scale,
            lengths=lengths,
            cell=field.lattice.cell,
            relief=(field.upper if side == 1 else field.lower).astype(np.float64),
            resin=None if field.wood_upper is None else field.is_resin(side),
            stands_out=stands_out,
            glue=glue_paths(job.layup, job.blank, field, side),
        )
        yield str(path)
        if side in evidence.reach and result["reach"] is not None:  # none is told under a wrong turn
            path = folder / f"surface_side_{side}.png"
            draw_surface_view(
                path,
                lattice=field.lattice,
                is_part=evidence.envelopes.is_part,
                cusps=evidence.cusps.get(side),
                cause=evidence.reach[side].cause,
                wanted=job.limits.cusp or WANTED_CUSP,
                is_limit=job.limits.cusp is not None,
                side=side,
                turn=turns[side],
                blank=job.blank,
                lengths=lengths,
                title=f"{name}: ridges between passes, and why wood was left standing, side {side}",
                findings=[row for row in result["findings"] if row["side"] in (side, None)],
                resin=None if field.wood_upper is None else field.is_resin(side),
            )
            yield str(path)
    for number, line in enumerate(evidence.lines, 1):
        path = folder / f"section_{number}.png"
        title = f"{name}: cut open along a line"
        yield draw_section(path, evidence, line, title=title, findings=result["findings"])
    yield from more_maps_as_drawn(folder, evidence, turns, result)
    for laid in evidence.seats:
        words = lengths.text(seat_words(laid, job.setups[laid.setup].name))
        piece = f"_piece_{laid.number}" if laid.number else ""
        path = folder / f"seat_setup_{laid.setup + 1}{piece}.png"
        words, title = f"{words[:1].upper()}{words[1:]}.", f"{name}: the piece in its jig"
        yield draw_seat(path, laid.seat, words, title, lengths)
    if result["budget"] is not None and result["budget"]["plan"]:
        title = f"{name}: how far the second side may land off its place"
        yield draw_budget(folder / "budget.png", result["budget"], title, lengths)
    for number, along in enumerate(result["along"], 1):
        path = folder / f"bite_{number}.png"
        note = result["time"]["note"] or "with the machine's own figures"
        title = f"{name}, {along['program']}: what is bitten off, minute by minute"
        yield draw_along(path, along, title, f"Times {note}", lengths)


def _draw(folder: Path, evidence: Evidence, result: dict[str, Any]) -> tuple[list[str], list[str]]:
    from simkit.report.solid_view import draw_scenes, draw_solid_view

    pictures = draw_plans(folder, evidence, result)
    job, field = evidence.job, evidence.field
    nothing = np.full(field.lattice.shape, np.nan, np.float32)
    shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
    path = folder / "part_3d.png"
    left_out = draw_solid_view(
        path,
        lattice=field.lattice,
        lower=field.lower,
        upper=field.upper,
        deviation_upper=shown.get(1, nothing),
        deviation_lower=shown.get(2, nothing),
        limits=(job.limits.gouge, job.limits.leftover),
        title=f"{job.name or 'part'}: the part as cut",
        turn=turns_of(evidence)[2],
        lengths=Lengths(job.unit),
        resin=None if field.wood_upper is None else {side: field.is_resin(side) for side in (1, 2)},
        stands_out=outer_classes(evidence, result["findings"]),
        target=target_columns(evidence),
    )
    if left_out is not None:
        return pictures, [left_out]  # the others would say the same
    pictures.append(str(path))
    scenes = scenes_of(folder, evidence, shown, turns_of(evidence)[2], result)
    left_out = draw_scenes(scenes)
    if left_out is not None:
        return pictures, [left_out]
    return [*pictures, *map(str, scenes)], []


def scenes_of(
    folder: Path, evidence: Evidence, shown: dict[int, np.ndarray], turn: str, result: dict[str, Any]
) -> dict[Path, Any]:
    """Return the scenes of a check under the paths of their pictures; empty ones are left out."""
    from simkit.report.finding_scenes import finding_scenes
    from simkit.report.scenes import leftover_scene, seam_scene

    made = {}
    if shown:
        made["leftover_3d.png"] = leftover_scene(evidence, shown, turn, result)
    if result["seam"] is not None and evidence.seam.worst is not None:
        made["seam_3d.png"] = seam_scene(evidence, result)
    for number, scene in finding_scenes(evidence, result).items():
        made[f"finding_{number}_3d.png"] = scene
    return {folder / name: scene for name, scene in made.items() if scene is not None}
