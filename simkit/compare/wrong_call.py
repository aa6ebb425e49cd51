"""Whether a program calls another cutter of the job than it means, or lost a call: tried run by run."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.compare.cutter_size import CURED, MANY, Beyond
from simkit.cutters import Cutter
from simkit.moves.table import Moves

STRAY = 0.01  # of the cells that are off may have been cut before a call was lost


@dataclass(frozen=True)
class WrongCall:
    """A stretch of moves that seem to have been made for another cutter of the job.

    rows: first and last row of it.  tool: the cutter that cuts there; meant: the one that fits.
    also: others that fit as well.  is_missing: the cutter had cut before in the same run, so a call was lost
    between; else the run's own call is the wrong one.  is_all: no move but these uses that cutter.
    before, after {side: part}: as in cutter_size.OtherSize.
    """

    rows: tuple[int, int]
    tool: int
    meant: int
    also: tuple[int, ...]
    is_missing: bool
    is_all: bool
    before: dict[int, float]
    after: dict[int, float]


def run_starts(moves: Moves, called: Mapping[tuple[int, int], Sequence[int]]) -> np.ndarray:
    """Return the first row of each run: moves from one call of a cutter to the next, in one program.

    called {(setup, program): lines}: where cutters are called, be it the one that is in the spindle.
    """
    keys = np.column_stack([moves.setup, moves.program, moves.tool])
    is_new = np.ones(len(keys), bool)
    is_new[1:] = (keys[1:] != keys[:-1]).any(axis=1)
    for (setup, program), lines in called.items():
        mine = np.flatnonzero((moves.setup == setup) & (moves.program == program))
        behind = np.searchsorted(moves.line[mine], lines)
        is_new[mine[behind[behind < len(mine)]]] = True
    return np.flatnonzero(is_new)


def wrong_call(
    cutters: Mapping[int, Cutter],
    moves: Moves,
    called: Mapping[tuple[int, int], Sequence[int]],
    before: Mapping[int, Beyond],
    again: Callable[[np.ndarray], Mapping[int, Beyond]],
) -> WrongCall | None:
    """Return the stretch with whose other cutter nearly all comes to lie within the limits, None for none.

    cutters: of the job.  called: as for run_starts.  before: of each side and the outer wall.
    again(tool (n,)): the same with other numbers of cutters to the moves.
    Asked is the run that cut most of what is beyond the limits, from its call on, and from the lift before
    the first of its moves that cut such a place, where a call may be missing; with each other cutter of the
    job but drills.  Of those that leave at most CURED of it everywhere the one that leaves least is told; a
    whole run goes before a part of it that leaves as much.
    """
    off = {side: one for side, one in before.items() if one.part > MANY}
    owners = [rows for one in off.values() for rows in (one.gouges, one.leftovers)]
    owners = np.concatenate(owners or [np.empty(0, int)])
    if not len(owners):
        return None
    starts = run_starts(moves, called)
    run = int(np.bincount(np.searchsorted(starts, owners, "right") - 1).argmax())
    first = int(starts[run])
    last = int(starts[run + 1]) - 1 if run + 1 < len(starts) else len(moves) - 1
    number = int(moves.tool[first])
    mine = np.sort(owners[(owners >= first) & (owners <= last)])
    begins = {first, _lift_before(moves, first, int(mine[int(STRAY * len(mine))]))}
    cured = []
    for begin in sorted(begins):
        for other in sorted(cutters):
            if other == number or cutters[other].shape == "drill":
                continue
            tool = moves.tool.copy()
            tool[begin : last + 1] = other
            after = again(tool)
            if all(after[side].part <= CURED * one.part for side, one in off.items()):
                cured.append((sum(one.part for one in after.values()), begin, other, after))
    if not cured:
        return None
    least = min(cured, key=lambda one: one[0])[0]
    fitting = [one for one in cured if one[0] <= least + MANY * CURED]
    # Of several the nearest to what cuts there now: the same shape, then the size.
    begin = min(one[1] for one in fitting)
    fitting = [one for one in fitting if one[1] == begin]
    now = cutters[number]
    fitting.sort(key=lambda one: (one[0], cutters[one[2]].shape != now.shape, one[2]))
    _, _, meant, after = fitting[0]
    sides = [side for side, one in before.items() if one.part > 0 and after[side].part <= CURED * one.part]
    return WrongCall(
        (begin, last),
        number,
        meant,
        tuple(one[2] for one in fitting[1:]),
        begin > first,
        bool(np.count_nonzero(moves.tool == number) == last + 1 - begin),
        *({side: one[side].part for side in sides} for one in (before, after)),
    )


def _lift_before(moves: Moves, first: int, row: int) -> int:
    """Return the last row before one at which a rapid follows a feed move, `first` where there is none.

    first: row at which its run begins.
    """
    rapid = moves.rapid[first : row + 1]
    lifts = np.flatnonzero(rapid[1:] & ~rapid[:-1]) + 1
    return first + int(lifts[-1]) if len(lifts) else first
