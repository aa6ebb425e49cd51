"""How long time and bite take beside the cut they are told of: the sample, and its moves many times over.

    python benchmarks/effort_speed.py [MOVES]

MOVES: how many the repeated sample has, 1,000,000 when left out.  Prints seconds of the replay and of
all of effort, best of some runs, and of its parts for the repeated moves; and both together as a ratio to the
plain baseline of the cut and to its fast way, in one run, by the clock and of the processor (which does
not wait for what else the machine is doing).
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from simkit.effort.bite import bites
from simkit.effort.effort import effort_of
from simkit.effort.motion import move_times
from simkit.job.reader import read_job
from simkit.moves.table import join_moves
from simkit.program.job_programs import read_programs
from simkit.stock.cut import TILE, cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay

JOB = Path(__file__).parents[1] / "samples" / "olive_boat" / "job.toml"

PLAIN_TILE = 128  # cut_speed.py: the plain way is fastest with longer rows


def best_of(runs, function):
    """Return the least seconds of some runs, by the clock and of the processor, and what was made."""
    least = np.full(2, np.inf)
    for _ in range(runs):
        started = np.array([time.perf_counter(), time.process_time()])
        made = function()
        least = np.minimum(least, np.array([time.perf_counter(), time.process_time()]) - started)
    return least, made


def print_ratios(seconds, runs, cut_only):
    """Print how long the moves with all that is told of them take beside the cut alone, plain and fast."""
    cut_only(True)
    plain, _ = best_of(runs, lambda: cut_only(True))
    fast, _ = best_of(runs, lambda: cut_only(False))
    for k, by in enumerate(("by the clock", "of the processor")):
        print(
            f"  together {seconds[k]:.3f} s {by}: {seconds[k] / plain[k]:.2f} of the plain cut,"
            f" {plain[k]:.3f} s; {seconds[k] / fast[k]:.2f} of the fast one, {fast[k]:.3f} s",
            flush=True,
        )


def main() -> None:
    """Print the table."""
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    job = read_job(JOB)
    blank = job.blank
    reads = read_programs(job)
    moves = join_moves([read.moves for setup in reads for _, read in setup])
    edges = np.searchsorted(moves.setup, [0, 1, 2])
    rows = [slice(int(a), int(b)) for a, b in pairwise(edges)]
    frames = [setup.frame(blank) for setup in job.setups]
    before = blank_field(
        blank_lattice(blank.length, blank.width, 0.2), *(blank.length, blank.width, blank.thickness)
    )

    def cut_again():
        field, made = before, []
        for one, frame in zip(rows, frames, strict=True):
            met = replay(field, moves[one], job.cutters, frame, first_row=one.start)
            field = met.field
            made.append(met)
        return made

    cut_again()
    cutting, replays = best_of(5, cut_again)
    starts = [before, *(met.field for met in replays[:-1])]
    told, _ = best_of(5, lambda: effort_of(job, moves, rows, frames, replays, [0.0, 0.0], starts))
    ratio = f"{told[0] / cutting[0]:.2f}"
    print(f"{len(moves):,} moves: replay {cutting[0]:.3f} s; time, bite and advice {told[0]:.3f} s ({ratio})")

    def cut_only(is_plain):
        field = before
        for one, frame in zip(rows, frames, strict=True):
            tile = PLAIN_TILE if is_plain else TILE
            field = cut(field, moves[one], job.cutters, frame, one.start, tile=tile, is_plain=is_plain).field

    print_ratios(cutting + told, 3, cut_only)
    first = rows[0]
    times = -(-wanted // (first.stop - first.start))
    many = join_moves([moves[first]] * times)
    # Each round takes what the first one took: how long it takes to tell does not depend on it.
    met = replays[0]
    met = replace(
        met,
        **{
            name: np.concatenate([getattr(met, name)] * times)
            for name in ("volume", "right", "depth", "top", "along", "under")
        },
    )
    timing, found = best_of(3, lambda: move_times(many, job.machine))
    biting, _ = best_of(3, lambda: bites(many, met, found, job.cutters, 0.2))
    print(f"{len(many):,} moves: time {timing[0]:.2f} s, bite {biting[0]:.2f} s")

    def all_of_it():
        met = replay(before, many, job.cutters, frames[0])
        bites(many, met, move_times(many, job.machine), job.cutters, 0.2)

    whole, _ = best_of(2, all_of_it)
    print_ratios(
        whole,
        2,
        lambda is_plain: cut(
            before, many, job.cutters, frames[0], tile=PLAIN_TILE if is_plain else TILE, is_plain=is_plain
        ),
    )


if __name__ == "__main__":
    main()
