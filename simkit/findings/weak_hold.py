"""weak-hold: what is left of tape or vacuum bears less than the largest cutting force.  A caution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare.held import held_cells, under_wood
from simkit.compare.pieces import pieces_of, volumes
from simkit.effort.chips import power, tangential_force
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.job.model import Setup

MEASURE = "tape or vacuum under the piece at the end of the setup; mean force over a turn, an estimate"


@dataclass(frozen=True)
class Hold:
    """Tape and vacuum in a setup whose strength is stated.

    area, off: mm2 under the largest piece (the part, where there is one) at its end, and how far that may be
    off.  bears, bears_off: N.  force: the largest cutting force, N, at row of the setup's moves; None where
    it cannot be told.  is_alone: nothing else holds that piece.
    """

    setup: int
    kinds: tuple[str, ...]
    area: float
    off: float
    bears: float
    bears_off: float
    force: float | None
    row: int
    is_alone: bool


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup whose tape and vacuum, alone, bear less than the largest force."""
    return [
        _finding(evidence, one)
        for one in holds(evidence)
        if one.is_alone and one.force is not None and one.bears < one.force
    ]


def hold_remarks(evidence: Evidence) -> list[str]:
    """Return for each setup with tape or vacuum of stated strength what it comes to, in words."""
    words = []
    for one in holds(evidence):
        name = evidence.job.setups[one.setup].name
        held = " and ".join(one.kinds)
        force = (
            f"the largest cutting force is about {_newtons(one.force)} (mean over a turn, an estimate)"
            if one.force is not None
            else "no cutting force is known to hold it against (blank.cutting_force, a spindle speed)"
        )
        beside = "" if one.is_alone else "; other things hold it too"
        words.append(
            f"{held} in '{name}': {one.area / 100:.0f} cm2 (within {one.off / 100:.0f}) are left under it at "
            f"the end and bear about {_newtons(one.bears)} by the strength stated; {force}{beside}. A "
            "caution, no promise: dust, oil and a bowed face take most of it"
        )
    return words


def holds(evidence: Evidence) -> list[Hold]:
    """Return what tape and vacuum of stated strength hold at the end of each setup, from the fields."""
    job, found = evidence.job, []
    for index, setup in enumerate(job.setups):
        stated = [one for one in job.holding if one.bears is not None and one.stands_in(setup)]
        if not stated:
            continue
        field = evidence.fields[index]
        piece = _piece(evidence, field)
        each = [(*under_wood(field, setup, job.blank, one, piece), one.bears / 100.0) for one in stated]
        force, row = _largest_force(evidence, index)
        found.append(
            Hold(
                setup=index,
                kinds=tuple(dict.fromkeys(one.kind for one in stated)),
                area=sum(area for area, _, _ in each),
                off=sum(off for _, off, _ in each),
                bears=sum(area * bears for area, _, bears in each),
                bears_off=sum(off * bears for _, off, bears in each),
                force=force,
                row=row,
                is_alone=not (_others(evidence, field, setup, stated) & piece).any(),
            )
        )
    return found


def _piece(evidence: Evidence, field) -> np.ndarray:
    """Return the cells of the piece that has most of the part, else of the largest, bool (ny, nx)."""
    pieces = pieces_of(field)
    share = volumes(field, pieces)
    if evidence.envelopes is not None:
        share = pieces.sums(evidence.envelopes.is_part.astype(float))
    share[0] = -1.0
    return pieces.label == int(np.argmax(share))


def _others(evidence: Evidence, field, setup: Setup, stated) -> np.ndarray:
    rest = [one for one in evidence.job.holding if one not in stated]
    return held_cells(field, setup, evidence.job.blank, rest, evidence.job.fixtures)


def _largest_force(evidence: Evidence, index: int) -> tuple[float | None, int]:
    """Return the largest mean force over a turn in a setup, N, and its row among the setup's moves."""
    wood, own = evidence.job.blank.cutting_force, evidence.effort.bites[index]
    speed = evidence.moves.speed[evidence.rows[index]][own.row]
    known = own.in_wood & (speed > 0)
    if wood is None or not known.any():
        return None, -1
    speed = np.where(known, speed, 1.0)
    force = np.where(known, tangential_force(power(own.removal, wood), speed, own.diameter), 0.0)
    force = np.where(np.isfinite(force), force, 0.0)
    worst = int(np.argmax(force))
    return float(force[worst]), int(own.row[worst])


def _newtons(force: float) -> str:
    return f"{force:.0f} N" if force >= 10 else f"{force:.1f} N"


def _finding(evidence: Evidence, one: Hold) -> Finding:
    held = " and ".join(one.kinds)
    return Finding(
        kind="weak-hold",
        severity="warning",
        message=f"{held} bears about {_newtons(one.bears)} at the end of the setup, {one.area / 100:.0f} cm2 "
        f"of it under the piece, and the largest cutting force is about {_newtons(one.force)}",
        advice="Put more of it under the piece, leave tabs or clamp it, or take less at a time.",
        value=one.bears,
        bound=one.bears_off,
        limit=one.force,
        unit="N",
        measure=MEASURE,
        side=1 if evidence.frames[one.setup].up > 0 else 2,
        **evidence.place_of(evidence.replays[one.setup].at[one.row], one.setup),
        **evidence.source_of(evidence.rows[one.setup].start + one.row),
    )
