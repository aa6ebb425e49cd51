"""A lift that was lost between two cuts: one way leads on at cutting depth where all others go up first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import WORST, Finding
from simkit.moves.table import Moves

# All three common practice, no source.
LEAST_WAYS = 2  # at the safe height: fewer show no way that the program has
RARE = 3.0  # times as many ways go at the safe height as without a lift; else the program means it so
SAME = 1e-3  # mm: places are written so


@dataclass(frozen=True)
class LostLift:
    """A way between two cuts that begins at cutting depth.

    row: its move.  depth, safe mm: Z where it begins, and of the other ways of its program, program frame;
    ways: how many go there.
    """

    row: int
    depth: float
    safe: float
    ways: int


def lost_lifts(evidence: Evidence) -> list[LostLift]:
    """Return where the programs seem to have lost a lift, in the order of the work."""
    moves, found = evidence.moves, []
    for one in evidence.rows:
        programs = moves.program[one]
        edges = np.flatnonzero(np.diff(programs)) + 1
        for first, last in zip([0, *edges], [*edges, len(programs)], strict=True):
            found += _of_program(moves, one.start + int(first), one.start + int(last))
    return found


def _of_program(moves: Moves, first: int, last: int) -> list[LostLift]:
    """Return the same of one program, rows `first` to `last`.

    A way goes from a cut to the next.  It is lifted when its first move is a rapid straight up.  A lift was
    lost where a rapid leads sideways from the end of a cut, below the safe height; where a feed move rises
    aslant to that height; or where a level feed move leads to a place at which the cutter only goes up and
    comes down again, as it does at the beginning of a cut.
    """
    part = slice(first, last)
    start, end, rapid = moves.start[part], moves.end[part], moves.rapid[part]
    if len(rapid) < 4:
        return []
    is_sideways = np.hypot(*(end - start)[:, :2].T) > SAME
    rise = end[:, 2] - start[:, 2]
    is_level = is_sideways & (abs(rise) <= SAME)
    heights = np.round(end[rapid & is_sideways, 2], 3)
    if not len(heights):
        return []
    values, counts = np.unique(heights, return_counts=True)
    safe, ways = float(values[counts.argmax()]), int(counts.max())
    is_after_cut = np.zeros(len(rapid), bool)
    is_after_cut[1:] = ~rapid[:-1] & (start[1:, 2] < safe - SAME) & is_sideways[1:]
    after = np.roll(np.arange(len(rapid)), -1)
    goes_up = ~is_sideways & (rise > SAME)
    goes_down = ~is_sideways & (rise < -SAME)
    begins_anew = goes_up[after] & goes_down[np.roll(after, -1)]
    begins_anew[-2:] = False
    is_lost = is_after_cut & (
        rapid | (~rapid & (rise > SAME) & (end[:, 2] >= safe - SAME)) | (is_level & ~rapid & begins_anew)
    )
    rows = np.flatnonzero(is_lost)
    ways -= int(np.count_nonzero(rapid[rows] & (abs(end[rows, 2] - safe) <= SAME)))
    if ways < LEAST_WAYS or ways < RARE * len(rows):
        return []
    return [LostLift(first + int(row), float(start[row, 2]), safe, ways) for row in rows]


def follows(evidence: Evidence, lift: LostLift, finding: Finding) -> bool:
    """Tell whether a finding is of the way that begins at cutting depth: its move, or a face that it cut."""
    moves, row = evidence.moves, lift.row
    source = moves.programs[int(moves.program[row])], int(moves.line[row]), evidence.setup_of(row).name
    own = (finding.file, finding.line, finding.setup)
    return source == own or source in [(face.file, face.line, face.setup) for face in finding.faces]


def lift_words(evidence: Evidence, lift: LostLift, worst: str) -> tuple[str, str, dict[str, Any]]:
    """Return message, advice and place of findings that a lost lift explains."""
    moves, row = evidence.moves, lift.row
    line, before = int(moves.line[row]), int(moves.line[row - 1])
    what = "a rapid" if moves.rapid[row] else "a feed move"
    message = (
        f"the lift before this line seems to be lost: {what} leads on from Z at {lift.depth:.2f} mm, where"
        f" the cut before it ended; {lift.ways} other ways of this program go at {lift.safe:.2f} mm"
        f"{WORST}{worst}"
    )
    again = "" if moves.rapid[row] else " and see that this move is a rapid again (G0),"
    advice = (
        f"Put the lift back between lines {before} and {line}: a rapid straight up to Z at {lift.safe:.2f}"
        f" mm,{again} or have the program made anew. What is listed here follows from it."
    )
    return message, advice, {"file": moves.programs[int(moves.program[row])], "line": line}
