"""How long moves take, by compiled code: what motion.move_times tells, to the bit, in a fifth of its time."""

from __future__ import annotations

import numpy as np

from simkit.effort import motion, motion_kernels
from simkit.effort.motion import MoveTimes
from simkit.job.model import Machine
from simkit.moves.table import ARC, Moves
from simkit.stock.memory import new_array
from simkit.stock.workers import share_ranges


def timed(moves: Moves, machine: Machine) -> MoveTimes:
    """Return how long each move takes: arguments and result as of motion.move_times, which is its twin."""
    n = len(moves)
    length = moves.length()
    wanted, acceleration, held = new_array(n, float), new_array(n, float), np.empty(n, np.int8)
    is_arc = moves.kind == ARC
    nth = np.full(n, -1, np.int32)
    arcs = np.flatnonzero(is_arc)
    ways = np.empty((len(arcs), 6))
    if len(arcs):
        nth[arcs] = np.arange(len(arcs))
        some = moves[arcs]
        ways[:, :3], ways[:, 3:] = motion.directions(some)
        wanted[arcs], acceleration[arcs], held[arcs] = motion.along(some, ways[:, :3], machine)
    limits = np.array([*(np.array(machine.speed) / 60.0), *machine.acceleration, machine.rounding])
    columns = (moves.setup, moves.program, moves.tool)
    most, total, both, w0, w1 = (new_array(n, float) for _ in range(5))

    def look(first: int, last: int) -> None:
        motion_kernels.look(
            first, last, moves.start, moves.end, length, moves.rapid, moves.feed, columns, moves.speed,
            moves.rests, nth, ways, limits, wanted, acceleration, held, most,
        )  # fmt: skip

    share_ranges(look, n, motion.BLOCK)
    motion_kernels.reach(length, acceleration, most, total, both, w0, w1)
    # What is worked in holds the results: no more memory is asked for.
    seconds, top, entry, leaving = total, both, w0, w1

    def run(first: int, last: int) -> None:
        motion_kernels.run(first, last, length, wanted, acceleration, w0, w1, seconds, top, entry, leaving)

    share_ranges(run, n, motion.BLOCK)
    return MoveTimes(seconds, top, wanted, held, entry, leaving)
