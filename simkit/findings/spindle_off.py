"""spindle-off: a feed move takes wood while the spindle stands, in a job whose programs switch it."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each such program, at the first move that does.

    Where no program of the job has an M3 it is only warned of: the spindle may be switched on by hand.  So it
    may where the job says so, in programs that have none.
    """
    findings = []
    moves = evidence.moves
    is_switched = not evidence.job.spindle_by_hand and bool((moves.speed != 0).any())
    for index, (met, one) in enumerate(zip(evidence.replays, evidence.rows, strict=True)):
        program = moves.program[one]
        is_still = (moves.speed[one] == 0) & ~moves.rapid[one] & (met.volume > 0)
        for number in np.unique(program[is_still]):
            mine = program == number
            is_own = (moves.speed[one][mine] != 0).any() or _stands(evidence, index, int(number))
            if not is_own and not is_switched:
                continue
            rows = one.start + np.flatnonzero(is_still & mine)
            row = int(rows[0])
            more = f"; {len(rows)} moves" if len(rows) > 1 else ""
            findings.append(
                Finding(
                    kind="spindle-off",
                    severity="safety",
                    message=f"cuts into the wood with the spindle standing{more}",
                    advice="Write M3 with S after the last M5 or cutter change before this line.",
                    measure="feed moves that take wood while no M3 or M4 is in force",
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.place_of(met.at[row - one.start], index),
                    **evidence.source_of(row),
                )
            )
    return findings


def _stands(evidence: Evidence, setup: int, program: int) -> bool:
    """Return whether a program switches the spindle on with S0 alone, so that it never turns."""
    name = evidence.moves.programs[program]
    return any(read.name == name and read.has_still_spindle for _, read in evidence.reads[setup])
