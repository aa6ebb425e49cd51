"""Where the time of each program goes: cutting wood or air, rapids, standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.effort.motion import FREE, MoveTimes
from simkit.effort.operations import Operation, operations, stretch_of
from simkit.job.model import Machine
from simkit.moves.extremes import extremes
from simkit.moves.table import ARC, Moves


@dataclass(frozen=True)
class Held:
    """Feed moves that an axis, or the turn of an arc, keeps below their F.

    by: of MoveTimes.held.  feed: the highest F, reached: the highest speed there, mm/min.  part: of the way
    of all feed moves of the cutter, 0 to 1.
    """

    by: int
    feed: float
    reached: float
    part: float


@dataclass(frozen=True)
class CutterTime:
    """Time of one cutter in one program, seconds.

    tool: its number.  cutting: feed moves; in_wood of it: in wood, by length, None without a replay.
    rapids.  changes, starts: how often the cutter is changed to and the spindle started.
    standing: for these.  length mm: of feed moves; not_reached: the part of it, 0 to 1, on moves too short
    to reach the speed that feed and axes allow; held: those that reach it, and it is below their feed.
    lost: how much longer the feed moves take than at their feed throughout.
    """

    tool: int
    cutting: float
    in_wood: float | None
    rapids: float
    changes: int
    starts: int
    standing: float
    length: float
    not_reached: float
    held: tuple[Held, ...]
    lost: float

    @property
    def total(self) -> float:
        """All of it, s."""
        return self.cutting + self.rapids + self.standing


@dataclass(frozen=True)
class ProgramTime:
    """Time of one program: name, index of its setup, dwells (s), its cutters and its operations in order."""

    program: str
    setup: int
    dwell: float
    cutters: tuple[CutterTime, ...]
    operations: tuple[Operation, ...]

    @property
    def total(self) -> float:
        """All of it, s."""
        return self.dwell + sum(one.total for one in self.cutters)


def about(minutes: float) -> str:
    """Return a time in words: seconds under two minutes."""
    if 0 < minutes < 0.5 / 60:
        return "under 1 s"
    return f"{60 * minutes:.0f} s" if minutes < 2 else f"{minutes:.0f} min"


def program_times(
    moves: Moves,
    times: MoveTimes,
    machine: Machine,
    dwells: Sequence[float],
    wood: np.ndarray | None = None,
) -> list[ProgramTime]:
    """Return where the time of each program goes, in their order.

    moves (n): of one or more programs, in the order in which they run.  times: of these.
    dwells: seconds of each program, by its index.  wood (n,): the part of each move, 0 to 1, in wood.
    """
    changes, starts = _changes(moves), _starts(moves)
    length, is_cut, reaches_feed = moves.length(), ~moves.rapid, times.reaches_feed
    lowest = _lowest(moves)
    told = []
    for index, name in enumerate(moves.programs):
        here = np.flatnonzero(moves.program == index)
        cutters = []
        tools = moves.tool[here]
        changed = np.flatnonzero(np.append(True, tools[1:] != tools[:-1])) if len(here) else here
        for tool in dict.fromkeys(tools[changed].tolist()):
            own = here[tools == tool]
            rows = stretch_of(own)
            is_own, n_changes, n_starts = is_cut[rows], int(changes[rows].sum()), int(starts[rows].sum())
            seconds, ways, feed = (column[rows][is_own] for column in (times.seconds, length, moves.feed))
            reaches = reaches_feed[rows][is_own]
            cutting, long = float(seconds.sum()), float(ways.sum())
            feed = np.where(feed > 0, feed, np.inf) / 60.0
            in_wood = None if wood is None else float((seconds * wood[rows][is_own]).sum())
            cutters.append(
                CutterTime(
                    tool=int(tool),
                    cutting=cutting,
                    in_wood=in_wood,
                    rapids=float(times.seconds[rows][~is_own].sum()),
                    changes=n_changes,
                    starts=n_starts,
                    standing=n_changes * machine.cutter_change + n_starts * machine.spindle_start,
                    length=long,
                    not_reached=float(ways[~reaches].sum()) / long if long else 0.0,
                    held=_held(moves, times, length, own[is_own][reaches], long),
                    lost=max(cutting - float((ways / feed).sum()), 0.0),
                )
            )
        setup = int(moves.setup[here[0]]) if len(here) else 0
        stretches = operations(moves, here, lowest, times, wood)
        told.append(ProgramTime(name, setup, float(dwells[index]), tuple(cutters), stretches))
    return told


def _lowest(moves: Moves) -> np.ndarray:
    """Return the lowest z that the tip reaches in each move (n,); upright arcs may dip below their ends."""
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    arcs = np.flatnonzero((moves.kind == ARC) & (moves.plane != 17))
    if len(arcs):
        low[arcs] = extremes(moves[arcs])[0][:, 2]
    return low


def _held(moves: Moves, times: MoveTimes, length, rows: np.ndarray, long: float) -> tuple[Held, ...]:
    """Return what keeps some of the moves `rows` below their feed; long mm: the way of all feed moves."""
    told = []
    held = times.held[rows]
    if (held == FREE).all():  # most programs
        return ()
    for by in np.unique(held):
        mine = rows[(held == by) & (length[rows] > 0)]
        if by != FREE and len(mine):
            fastest = mine[np.argmax(moves.feed[mine])]
            reached = 60.0 * float(times.wanted[mine].max())
            told.append(Held(int(by), float(moves.feed[fastest]), reached, float(length[mine].sum()) / long))
    return tuple(told)


def _changes(moves: Moves) -> np.ndarray:
    """Return whether the cutter is changed before each move (n,); to the first one too."""
    tool = moves.tool
    is_new = np.ones(len(tool), bool)
    is_new[1:] = tool[1:] != tool[:-1]
    return is_new & (tool > 0)


def _starts(moves: Moves) -> np.ndarray:
    """Return whether the spindle is started before each move (n,): it stands after M6 and at each end."""
    speed = moves.speed
    is_new = np.ones(len(speed), bool)
    is_new[1:] = np.sign(speed[1:]) != np.sign(speed[:-1])
    for column in (moves.tool, moves.program):
        is_new[1:] |= column[1:] != column[:-1]
    return is_new & (speed != 0)
