"""Pieces that a step between the setups parts: a bridge sawn off, a skin planed away."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from simkit.compare.pieces import LEAST_VOLUME, Pieces, pieces_of, volumes
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.job.steps import POUR, SAW
from simkit.stock.field import Field
from simkit.stock.steps import Done, do_again

MOST = 3  # pieces told of each step
SAW_ADVICE = "Saw where nothing hangs on what goes, or hold every piece while it is sawn."
FACE_ADVICE = "Leave a skin or tabs until the face is taken off, or hold every piece by itself."


def parted(evidence: Evidence) -> list[Finding]:
    """Return a warning for each step that leaves more than one piece of what held together before it.

    On the cells of the check, as pieces that cutters free; chips are not counted.
    """
    findings = []
    for number, one, before, after in _fields(evidence):
        pieces = pieces_of(after)
        mine = _apart(before, after, pieces)
        if len(mine) < 2:
            continue
        job, is_saw = evidence.job, one.step.do == SAW
        first = pieces.label == mine[0]
        iy, ix = np.nonzero(first)
        x, y = after.lattice.centre_of(int(np.median(iy)), int(np.median(ix)))
        more = f" and {len(mine) - MOST} more" if len(mine) > MOST else ""
        told = ", ".join(_words(after, pieces.label == piece) for piece in mine[:MOST])
        findings.append(
            Finding(
                kind="step",
                severity="warning",
                message=f"the {step_name(job, number)} parts what held together into {len(mine)} pieces: "
                f"{told}{more}",
                advice=SAW_ADVICE if is_saw else FACE_ADVICE,
                measure="pieces of what was one before, on the cells of the check",
                side=one.step.side,
                at=(float(x), float(y), float(after.upper[first].max())),
                subject=f"step {number + 1}, parts",
                **evidence.job_line(f"steps[{number}].{'box' if is_saw else 'thickness'}"),
            )
        )
    return findings


def _fields(evidence: Evidence) -> Iterator[tuple[int, Done, Field, Field]]:
    """Yield each step that takes something off: number, what it did, the field before and after it."""
    for setup, its in enumerate(evidence.done):
        field = evidence.fields[setup]
        for (number, step), one in zip(evidence.job.steps_after(setup), its, strict=True):
            before, field = field, do_again(field, [one])
            if step.do != POUR:
                yield number, one, before, field


def _apart(before: Field, after: Field, pieces: Pieces) -> list[int]:
    """Return the pieces, the largest first, that were in one with another of them before."""
    size, was = volumes(after, pieces), pieces_of(before).label
    large = sorted(np.flatnonzero(size >= LEAST_VOLUME).tolist(), key=lambda piece: -size[piece])
    # What is left of a column was in the piece that the column belonged to.
    came = {piece: int(was[pieces.label == piece].max()) for piece in large}
    return [piece for piece in large if list(came.values()).count(came[piece]) > 1]


def _words(field: Field, mask: np.ndarray) -> str:
    """Return the size of a piece and where it lies, in words."""
    iy, ix = np.nonzero(mask)
    cell = field.lattice.cell
    high = float(field.upper[mask].max() - field.lower[mask].min())
    x, y = field.lattice.centre_of(iy.mean(), ix.mean())
    wide, deep = (np.ptp(ix) + 1) * cell, (np.ptp(iy) + 1) * cell
    return f"{wide:.0f} x {deep:.0f} x {high:.0f} mm at x {x:.0f}, y {y:.0f}"
