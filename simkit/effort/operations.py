"""Operations: what programs do between one retract to the safe height and the next, and how long it takes.

A program does not name its operations (a comment may, or may be a year old), but it shows them: the cutter
comes down, works, and goes up to where everything is cleared.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import ModuleType

import numpy as np

from simkit.effort import passes
from simkit.effort.motion import MoveTimes
from simkit.effort.rows import rows_by
from simkit.moves.table import Moves

SAME_PLACE = 0.5  # of the length and the width of the smaller: so much lies over the other level
SAME_DEPTH = 0.01  # mm: neighbours that go as deep are one operation, as the holes of a row


@dataclass(frozen=True)
class Operation:
    """Moves of one cutter in one program, from behind a retract to the next one, that one included.

    tool.  first, last: lines of its feed moves.  lowest mm: z of the program.  count: how many such
    stretches, one behind the other, go as deep and are taken together.  levels: of how many depths, each
    deeper than the one before and over the same place.  cutting, rapids s; in_wood s of cutting, None
    without a replay.
    """

    tool: int
    first: int
    last: int
    lowest: float
    count: int
    levels: int
    cutting: float
    in_wood: float | None
    rapids: float

    @property
    def total(self) -> float:
        """All of it, s."""
        return self.cutting + self.rapids


def operations(
    moves: Moves,
    rows: slice | np.ndarray,
    lowest: np.ndarray,
    times: MoveTimes,
    wood: np.ndarray | None,
    by: ModuleType = passes,
) -> tuple[Operation, ...]:
    """Return the operations of one program, in their order.

    moves, times, wood, by: as program_time.program_times takes them.  rows: of the program.  lowest (n,) mm:
    z that the tip reaches in each move.
    The safe height of a cutter is where its rapids up end most often, the higher of two; one without such
    rapids does all in one operation.  Moves behind the last retract that feed nowhere belong to it.
    """
    tool, start, end, is_rapid = moves.tool[rows], moves.start[rows], moves.end[rows], moves.rapid[rows]
    if not len(tool):
        return ()
    rapids = np.flatnonzero(is_rapid)
    up = end[rapids, 2]
    is_lift = up > start[rapids, 2] + passes.EQUAL
    up, up_tool = up[is_lift].round(3), tool[rapids[is_lift]]
    numbers = np.array(sorted(rows_by(tool)))
    usual = np.full(len(numbers), np.inf)
    for k, number in enumerate(numbers):
        heights, counts = np.unique(up[up_tool == number], return_counts=True)
        if len(heights):
            usual[k] = heights[counts == counts.max()].max()
    ints, floats = np.empty((len(tool), 3), np.int64), np.empty((len(tool), 5))
    count = by.split(tool, start, end, is_rapid, lowest[rows], numbers, usual, ints, floats)
    begins, firsts, lasts = ints[:count].T
    # The operation of each stretch that feeds; one that does not belongs to the next of its cutter, or the
    # last.
    own = np.flatnonzero(firsts >= 0)
    if not len(own):
        return ()
    first, last, low = firsts[own], lasts[own], floats[own, passes.LOW]
    its_tool = tool[begins]
    own_tool = its_tool[own]
    is_new = np.append(True, (own_tool[1:] != own_tool[:-1]) | (np.abs(np.diff(low)) > SAME_DEPTH))
    levels = np.flatnonzero(is_new)
    if len(levels) > 1:
        box = floats[own, passes.LEAST_X :]
        least, most = np.minimum.reduceat(box[:, :2], levels), np.maximum.reduceat(box[:, 2:], levels)
        is_new[levels[1:][_is_deeper(least, most, own_tool[levels], low[levels])]] = False
    group = np.cumsum(is_new) - 1
    after = np.searchsorted(own, np.arange(count))
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, len(own) - 1)
    of = np.where(own_tool[after] == its_tool, group[after], group[before])
    of = np.where((own_tool[after] == its_tool) | (own_tool[before] == its_tool), of, -1)
    found = np.empty((3, int(group[-1]) + 1))
    known = np.empty(0) if wood is None else wood[rows]
    by.totals(begins.copy(), of, is_rapid, times.seconds[rows], known, found)
    line, places = moves.line[rows], np.flatnonzero(is_new)
    ends = np.append(places[1:], len(own))
    deepest = np.minimum.reduceat(low, places)
    depths = np.diff(np.append(np.searchsorted(levels, places), len(levels)))
    return tuple(
        Operation(
            int(own_tool[places[k]]),
            int(line[first[places[k]]]),
            int(line[last[ends[k] - 1]]),
            float(deepest[k]),
            int(ends[k] - places[k]),
            int(depths[k]),
            float(cutting),
            None if wood is None else float(in_wood),
            float(lifted),
        )
        for k, (cutting, in_wood, lifted) in enumerate(found.T)
    )


def _is_deeper(least: np.ndarray, most: np.ndarray, tool: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Return whether each level but the first (k - 1,) is one more of the operation before it.

    least, most (k, 2) mm: the boxes about the ends of the feed moves of each level, in plan; tool, low (k,):
    its cutter, and its lowest z mm.  The same cutter goes deeper over the same place.
    """
    both = np.minimum(most[1:], most[:-1]) - np.maximum(least[1:], least[:-1])
    size = most - least
    is_over = (both >= SAME_PLACE * np.minimum(size[1:], size[:-1]) - passes.EQUAL).all(axis=1)
    return is_over & (tool[1:] == tool[:-1]) & (np.diff(low) < 0)
