"""Where programs begin, change cutters and end, against what stands then."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from simkit.frames import Frame
from simkit.job.model import Blank
from simkit.machine.room import TOUCH
from simkit.moves.table import Moves
from simkit.stock.field import Field

BEGIN, CHANGE, END = "begin", "change", "end"


@dataclass(frozen=True)
class Stop:
    """A place where the tip stands, or comes by an unknown way, below the highest wood.

    what: BEGIN (the first place that a program names, or names again after it lost its place), CHANGE (of the
    cutter) or END.  row: the move that starts or ends there.  at (3,) mm: the tip, program frame.
    depth mm: below the highest wood of that setup.  is_beside: the cutter stands beside the blank there.
    """

    what: str
    row: int
    at: tuple[float, float, float]
    depth: float
    is_beside: bool


def low_stops(
    moves: Moves,
    one: slice,
    frame: Frame,
    before: Field,
    after: Field,
    blank: Blank,
    reach: dict[int, float],
    aslant: Collection[tuple[str, int]] = (),
) -> list[Stop]:
    """Return the stops of one setup that lie below the highest wood, in the order they come.

    moves: of the job; one: rows of the setup.  frame: program frame -> blank frame.  before, after: what
    stands before and after the setup.  reach: tool number -> radius mm.  aslant: programs and lines of first
    places to which the tip does not come straight down.
    They count over the blank; a begin that the tip comes to aslant also beside it, for its way may lead
    through the wood.
    A begin and a change are held against `before`, an end against `after`; so a change may be told
    though its setup has faced the whole blank lower by then.  Error: that of the moves.
    """
    rows = np.arange(one.start, one.stop)
    if not len(rows):
        return []
    start, end = moves.start[rows], moves.end[rows]
    program, tool = moves.program[rows], moves.tool[rows]
    is_new = np.ones(len(rows), bool)
    is_new[1:] = program[1:] != program[:-1]
    is_lost = np.zeros(len(rows), bool)
    is_lost[1:] = ~is_new[1:] & (np.abs(start[1:] - end[:-1]) > 1e-6).any(axis=1)
    is_last = np.ones(len(rows), bool)
    is_last[:-1] = is_new[1:]
    is_change = np.zeros(len(rows), bool)
    is_change[:-1] = ~is_new[1:] & (tool[1:] != tool[:-1])
    found = []
    first, last = _highest(before, frame.up), _highest(after, frame.up)
    for what, mask, places, top in (
        (BEGIN, is_new | is_lost, start, first),
        (CHANGE, is_change, end, first),
        (END, is_last, end, last),
    ):
        for k in np.flatnonzero(mask):
            x, y, z = frame.apply(places[k])
            depth = top - frame.up * z
            r = reach[int(tool[k])]
            is_over = -r < x < blank.length + r and -r < y < blank.width + r
            named = moves.programs[int(program[k])], int(moves.line[rows[k]])
            if depth > TOUCH and (is_over or (what == BEGIN and named in aslant)):
                place = tuple(float(v) for v in places[k])
                found.append(Stop(what, int(rows[k]), place, float(depth), not is_over))
    return sorted(found, key=lambda stop: stop.row)


def _highest(field: Field, up: int) -> float:
    """Return the highest wood along the axis that points up (h = z or -z), mm."""
    if not field.is_solid.any():
        return -np.inf
    return float(field.upper[field.is_solid].max() if up > 0 else -field.lower[field.is_solid].min())
