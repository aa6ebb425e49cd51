"""Effort: all that a check knows of time and bite."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.effort import pass_kernels
from simkit.effort.advice import Advice, advise
from simkit.effort.bite import Bites, bites, summed
from simkit.effort.force import LargestForce, largest_force
from simkit.effort.motion import MoveTimes
from simkit.effort.program_time import ProgramTime, program_times
from simkit.effort.slots import DeepSlots, deep_slots
from simkit.effort.timing import timed
from simkit.frames import Frame
from simkit.job.model import Job
from simkit.moves.table import Moves
from simkit.stock.field import Field
from simkit.stock.replay import Replay
from simkit.stock.workers import share


@dataclass(frozen=True)
class Effort:
    """times: of all moves of the job.  bites, slots: of each setup.  programs: where their time goes, in
    order.

    advice: what would save time, the most first.
    forces: the largest cutting force of each setup, None where it is not known.
    """

    times: MoveTimes
    bites: list[Bites]
    slots: list[DeepSlots]
    programs: list[ProgramTime]
    advice: list[Advice]
    forces: list[LargestForce | None]


def effort_of(
    job: Job,
    moves: Moves,
    rows: Sequence[slice],
    frames: Sequence[Frame],
    replays: Sequence[Replay],
    dwells: Sequence[float],
    starts: Sequence[Field],
) -> Effort:
    """Return time and bite of all moves of a job.

    moves, rows, frames: as a check has them.  replays: of each setup.  dwells: seconds, of each program.
    starts: the blank before each setup.
    """
    times = timed(moves, job.machine)
    parts = [moves[one] for one in rows]
    asked = [
        (mine, met, times[one], job.cutters, starts[0].lattice.cell)
        for mine, met, one in zip(parts, replays, rows, strict=True)
    ]
    sums: list = [None] * len(rows)

    def add_up(index: int) -> None:
        sums[index] = summed(*asked[index])

    share(add_up, len(rows))
    in_wood = np.zeros(len(moves))
    for one, (_, _, _, part, _, _) in zip(rows, sums, strict=True):
        in_wood[one] = part
    # The rest is NumPy on some thousand numbers at a time: two threads would wait for each other, which takes
    # half as much again of the processor and no less by the clock.
    programs = program_times(moves, times, job.machine, dwells, in_wood, pass_kernels)
    told = []
    for index, one in enumerate(rows):
        mine, its, frame = parts[index], times[one], frames[index]
        stood, met = starts[index], replays[index]
        own = bites(*asked[index], sums[index])
        told.append(
            (
                own,
                deep_slots(mine, met.depth, own, stood, job.cutters, frame),
                advise(job, index, mine, frame, its, own, stood, met.field),
                largest_force(own, mine, job.cutters, job.blank.cutting_force),
            )
        )
    found, slots, advice, forces = (list(each) for each in zip(*told, strict=True))
    every = sorted((one for some in advice for one in some), key=lambda one: -one.minutes)
    return Effort(times, found, slots, programs, every, forces)
