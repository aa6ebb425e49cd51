"""Where the time of each program goes: cutting wood or air, rapids, standing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType

import numpy as np

from simkit.effort import passes
from simkit.effort.motion import FREE, MoveTimes
from simkit.effort.operations import Operation, operations
from simkit.effort.rows import rows_by
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
    by: ModuleType = passes,
) -> list[ProgramTime]:
    """Return where the time of each program goes, in their order.

    moves (n): of one or more programs, in the order in which they run.  times: of these.
    dwells: seconds of each program, by its index.  wood (n,): the part of each move, 0 to 1, in wood.
    by: what sums up over the moves; a check names pass_kernels, which is compiled.
    """
    length, tool = moves.length(), moves.tool
    numbers = np.array(sorted(rows_by(tool)), np.int64)
    first = np.empty((len(moves.programs), len(numbers)), np.int64)
    sums = np.empty((*first.shape, passes.SUMS))
    by.cutter_sums(
        moves.program, tool, numbers, moves.rapid, moves.feed, moves.speed, length, times.seconds, times.top,
        times.wanted, times.held, np.empty(0) if wood is None else wood, first, sums,
    )  # fmt: skip
    lowest, rows = _lowest(moves), rows_by(moves.program)
    told = []
    for index, name in enumerate(moves.programs):
        here = rows.get(index, slice(0, 0))
        cutters = []
        for k in sorted(np.flatnonzero(first[index] >= 0), key=lambda k: first[index, k]):
            own, is_held = sums[index, k].tolist(), sums[index, k, passes.HELD] > 0  # of most cutters no move
            long, cutting = own[passes.LENGTH], own[passes.CUTTING]
            changes, starts = int(own[passes.CHANGES]), int(own[passes.STARTS])
            cutters.append(
                CutterTime(
                    tool=int(numbers[k]),
                    cutting=cutting,
                    in_wood=None if wood is None else own[passes.IN_WOOD],
                    rapids=own[passes.RAPIDS],
                    changes=changes,
                    starts=starts,
                    standing=changes * machine.cutter_change + starts * machine.spindle_start,
                    length=long,
                    not_reached=own[passes.NOT_REACHED_LENGTH] / long if long else 0.0,
                    held=_held(moves, times, length, index, numbers[k], long) if is_held else (),
                    lost=max(cutting - own[passes.AT_FEED], 0.0),
                )
            )
        setup = int(moves.setup[int(first[index][first[index] >= 0].min())]) if cutters else 0
        stretches = operations(moves, here, lowest, times, wood, by)
        told.append(ProgramTime(name, setup, float(dwells[index]), tuple(cutters), stretches))
    return told


def _lowest(moves: Moves) -> np.ndarray:
    """Return the lowest z that the tip reaches in each move (n,); upright arcs may dip below their ends."""
    low = np.minimum(moves.start[:, 2], moves.end[:, 2])
    arcs = np.flatnonzero((moves.kind == ARC) & (moves.plane != 17))
    if len(arcs):
        low[arcs] = extremes(moves[arcs])[0][:, 2]
    return low


def _held(moves: Moves, times: MoveTimes, length, program: int, tool: int, long: float) -> tuple[Held, ...]:
    """Return what keeps feed moves of a cutter below their feed; long mm: the way of all of them."""
    told = []
    rows = np.flatnonzero(times.held != FREE)  # few
    is_own = (moves.program[rows] == program) & (moves.tool[rows] == tool) & ~moves.rapid[rows]
    rows = rows[is_own & times[rows].reaches_feed & (length[rows] > 0)]
    held = times.held[rows]
    for by in np.unique(held):
        mine = rows[held == by]
        fastest = mine[np.argmax(moves.feed[mine])]
        reached = 60.0 * float(times.wanted[mine].max())
        told.append(Held(int(by), float(moves.feed[fastest]), reached, float(length[mine].sum()) / long))
    return tuple(told)
