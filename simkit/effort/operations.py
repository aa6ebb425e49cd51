"""Operations: what programs do between one retract to the safe height and the next, and how long it takes.

A program does not name its operations (a comment may, or may be a year old), but it shows them: the cutter
comes down, works, and goes up to where everything is cleared.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.effort.motion import MoveTimes
from simkit.moves.table import Moves

EQUAL = 1e-3  # mm: heights nearer than this are one
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


def stretch_of(rows: np.ndarray) -> slice | np.ndarray:
    """Return growing rows as a slice where they stand together: a part of a column is no copy of it."""
    is_whole = len(rows) > 0 and rows[-1] - rows[0] + 1 == len(rows)
    return slice(int(rows[0]), int(rows[-1]) + 1) if is_whole else rows


def operations(
    moves: Moves, rows: np.ndarray, lowest: np.ndarray, times: MoveTimes, wood: np.ndarray | None
) -> tuple[Operation, ...]:
    """Return the operations of one program, in their order.

    moves, times, wood: as program_time.program_times takes them.  rows: of the program.  lowest (n,) mm: z
    that the tip reaches in each move.
    The safe height of a cutter is where its rapids up end most often, the higher of two; one without such
    rapids does all in one operation.  Moves behind the last retract that feed nowhere belong to it.
    """
    if not len(rows):
        return ()
    here = stretch_of(rows)
    tool, end, is_rapid = moves.tool[here], moves.end[here, 2], moves.rapid[here]
    is_lift = is_rapid & (end > moves.start[here, 2] + EQUAL)
    is_safe = np.zeros(len(rows), bool)
    is_changed = tool[1:] != tool[:-1]
    for number in np.unique(tool[np.append(True, is_changed)]):
        heights, counts = np.unique(end[is_lift & (tool == number)].round(3), return_counts=True)
        if len(heights):
            usual = heights[counts == counts.max()].max()
            is_safe[tool == number] = end[tool == number] >= usual - EQUAL
    # The first move up there is the end of one; what goes on up there is the way to the next.
    begins = np.zeros(len(rows), bool)
    begins[0] = True
    begins[1:] = is_changed | (is_safe[:-1] & ~np.append(False, is_safe[:-2]))
    stretch = np.cumsum(begins) - 1
    feed = ~is_rapid
    feeds = np.flatnonzero(feed)
    if not len(feeds):
        return ()
    # The operation of each stretch that feeds; one that does not belongs to the next of its cutter, or the
    # last.
    of_feeds = stretch[feeds]
    begin = np.flatnonzero(np.append(True, of_feeds[1:] > of_feeds[:-1]))
    own, first = of_feeds[begin], feeds[begin]
    low = np.minimum.reduceat(lowest[here][feeds], begin)
    is_new = np.append(True, (tool[first][1:] != tool[first][:-1]) | (np.abs(np.diff(low)) > SAME_DEPTH))
    levels = np.flatnonzero(is_new)
    if len(levels) > 1:
        ends = [(moves.start[here, axis][feeds], moves.end[here, axis][feeds]) for axis in (0, 1)]
        is_new[levels[1:][_is_deeper(ends, tool[first[levels]], begin[levels], low[levels])]] = False
    group = np.cumsum(is_new) - 1
    whole = np.arange(stretch[-1] + 1)
    after = np.searchsorted(own, whole)
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, len(own) - 1)
    its_tool = tool[begins]
    of = np.where(tool[first][after] == its_tool, group[after], group[before])
    of = np.where((tool[first][after] == its_tool) | (tool[first][before] == its_tool), of, -1)[stretch]
    count = int(group[-1]) + 1
    seconds = times.seconds[here]

    of = of + 1  # moves of no operation at 0

    def total(values):
        # What does not count adds nothing, which is done sooner than it is left out.
        return np.bincount(of, values, minlength=count + 1)[1:]

    fed = seconds * feed
    cutting, rapids = total(fed), total(seconds * is_rapid)
    in_wood = None if wood is None else total(fed * wood[here])
    line, places = moves.line[here], np.flatnonzero(is_new)
    group_of = of[feeds]
    last = feeds[np.append(np.diff(group_of) > 0, True)]
    deepest, stretches = np.minimum.reduceat(low, places), np.diff(np.append(places, len(own)))
    depths = np.diff(np.append(np.searchsorted(levels, places), len(levels)))
    return tuple(
        Operation(
            int(tool[first[places[k]]]),
            int(line[first[places[k]]]),
            int(line[last[k]]),
            float(deepest[k]),
            int(stretches[k]),
            int(depths[k]),
            float(cutting[k]),
            None if in_wood is None else float(in_wood[k]),
            float(rapids[k]),
        )
        for k in range(count)
    )


def _is_deeper(ends, tool: np.ndarray, first: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Return whether each level but the first (k - 1,) is one more of the operation before it.

    ends: x at start and end (n,) mm of the feed moves of all levels, and y.  first (k,): where each level
    begins there; tool, low (k,): its cutter, and its lowest z mm.
    The same cutter goes deeper over the same place, as boxes about the ends of its moves tell.
    """
    is_over = np.ones(len(first) - 1, bool)
    for start, end in ends:
        least = np.minimum.reduceat(np.minimum(start, end), first)
        most = np.maximum.reduceat(np.maximum(start, end), first)
        both = np.minimum(most[1:], most[:-1]) - np.maximum(least[1:], least[:-1])
        size = np.minimum((most - least)[1:], (most - least)[:-1])
        is_over &= both >= SAME_PLACE * size - EQUAL
    return is_over & (tool[1:] == tool[:-1]) & (np.diff(low) < 0)
