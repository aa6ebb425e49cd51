"""How long time and bite take beside the cut they are told of: the sample, and its moves many times over.

    python benchmarks/effort_speed.py [--profile] [MOVES]

--profile: where the time of the sample goes, stage by stage (effort_profile.py), and no more.
MOVES: how many the repeated sample has, and a finishing pass over waves of which every move takes wood;
1,000,000 when left out.  Prints seconds of the replay and of all of effort, best of some runs, and of its
parts for many moves; and both together as a ratio to the plain baseline of the cut and to its fast way, in
one run, by the clock and of the processor (which does not wait for what else the machine is doing).  Of the
sample it tells what every cutter costs in the replay beside the plain cut, for each height and in all.
"""

from __future__ import annotations

import sys
import time
from itertools import pairwise
from pathlib import Path

import numpy as np
from effort_profile import profile

from simkit.cutters import Cutter
from simkit.effort.bite import bites
from simkit.effort.effort import effort_of
from simkit.effort.timing import timed
from simkit.frames import IDENTITY
from simkit.job.reader import read_job
from simkit.moves.table import LINE, join_moves, make_moves
from simkit.program.job_programs import read_programs
from simkit.stock.cut import TILE, cut, runs
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
    words = [word for word in sys.argv[1:] if word != "--profile"]
    wanted = int(words[0]) if words else 1_000_000
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

    def tell():
        return effort_of(job, moves, rows, frames, replays, [0.0, 0.0], starts)

    told, _ = best_of(5, tell)
    ratio = f"{told[0] / cutting[0]:.2f}"
    print(f"{len(moves):,} moves: replay {cutting[0]:.3f} s; time, bite and advice {told[0]:.3f} s ({ratio})")

    def cut_only(is_plain):
        field = before
        for one, frame in zip(rows, frames, strict=True):
            tile = PLAIN_TILE if is_plain else TILE
            field = cut(field, moves[one], job.cutters, frame, one.start, tile=tile, is_plain=is_plain).field

    if "--profile" in sys.argv:
        profile(cut_again, tell, lambda: cut_only(True))
        return
    print_ratios(cutting + told, 3, cut_only)
    print_runs(job, moves, rows, frames, before)
    first = rows[0]
    times = -(-wanted // (first.stop - first.start))
    print("the moves of the first side many times over, only the first time in wood:")
    print_many(job, join_moves([moves[first]] * times), job.cutters, frames[0], before)
    print("a finishing pass over waves, all in wood:")
    many, cutters, field = waves(wanted)
    print_many(job, many, cutters, IDENTITY, field)


def print_runs(job, moves, rows, frames, before):
    """Print for each run of moves of one cutter what the replay and the plain cut cost of the processor."""
    least, heights = {}, {}
    for _ in range(3):
        field = before
        for one, frame in zip(rows, frames, strict=True):
            mine = moves[one]
            for a, b in runs(mine.tool, len(mine)):
                key = (one.start + a, int(mine.tool[a]), b - a)
                took = []
                for is_replay in (False, True):
                    started = time.process_time()
                    if is_replay:
                        met = replay(field, mine[a:b], job.cutters, frame, one.start + a)
                    else:
                        met = cut(
                            field,
                            mine[a:b],
                            job.cutters,
                            frame,
                            one.start + a,
                            tile=PLAIN_TILE,
                            is_plain=True,
                        )
                    took.append(time.process_time() - started)
                    heights[key, is_replay] = met.evaluations
                field = met.field
                least[key] = np.minimum(least.get(key, np.inf), took)
    for key, (plain, own) in least.items():
        some, all_ = heights[key, True], heights[key, False]
        print(
            f"  T{key[1]} {job.cutters[key[1]].shape}, {key[2]:,} moves: replay {1000 * own:.0f} ms,"
            f" {some:,} heights, {1e9 * own / max(some, 1):.1f} ns each; plain {1000 * plain:.0f} ms,"
            f" {all_:,} heights, {1e9 * plain / max(all_, 1):.1f} ns each; {own / plain:.2f}"
        )


def waves(count):
    """Return a ball's pass over waves, `count` moves of 0.3 mm, 0.3 mm apart; its cutters, and a blank."""
    side = int(np.ceil(np.sqrt(count))) + 1
    x, y = np.meshgrid(np.arange(side) * 0.3 + 5.0, np.arange(side) * 0.3 + 5.0)
    x[1::2] = x[1::2, ::-1]  # to and fro
    places = np.column_stack([x.ravel(), y.ravel(), (16 + 2 * np.sin(x / 9) + 2 * np.cos(y / 7)).ravel()])
    places = places[: count + 1]
    moves = make_moves(
        programs=("waves.nc",), kind=[LINE] * count, start=places[:-1], end=places[1:],
        feed=np.full(count, 3000.0), speed=np.full(count, 18000.0), tool=np.ones(count, int),
    )  # fmt: skip
    size = 0.3 * side + 10.0
    return (
        moves,
        {1: Cutter(1, "ball", 6.0, flutes=2)},
        blank_field(blank_lattice(size, size, 0.2), size, size, 22.0),
    )


def print_many(job, many, cutters, frame, before):
    """Print the ratios of many moves, with the time that telling them takes."""
    met = replay(before, many, cutters, frame)
    timing, found = best_of(2, lambda: timed(many, job.machine))
    biting, _ = best_of(2, lambda: bites(many, met, found, cutters, 0.2))
    taking = np.count_nonzero(met.volume)
    print(
        f"{len(many):,} moves, {taking:,} take wood: time {timing[0]:.2f} s, bite {biting[0]:.2f} s",
        flush=True,
    )

    def all_of_it():
        met = replay(before, many, cutters, frame)
        bites(many, met, timed(many, job.machine), cutters, 0.2)

    whole, _ = best_of(2, all_of_it)
    print_ratios(
        whole,
        2,
        lambda is_plain: cut(
            before, many, cutters, frame, tile=PLAIN_TILE if is_plain else TILE, is_plain=is_plain
        ),
    )


if __name__ == "__main__":
    main()
