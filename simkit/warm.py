"""Compiling everything a check needs, before the first check and where the person can see it."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from simkit.cache import CHECKING, READING, is_cold, mark_warm
from simkit.check import NoProgress, Timings, examine
from simkit.compare import between
from simkit.compare.deviation import CutSurface, deviation
from simkit.compare.reach import must_leave, reach
from simkit.compare.walls import wall_thickness
from simkit.cutters import Cutter
from simkit.effort.bite import bites
from simkit.effort.timing import timed
from simkit.frames import IDENTITY
from simkit.job.model import Blank, Dowel, Job, Limits, Setup
from simkit.moves.table import ARC, LINE, Moves, make_moves
from simkit.preparing import alone, counted, kernels_of
from simkit.program import fast
from simkit.stock import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay
from simkit.target.envelope import envelopes
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target

PREPARING = "preparing kernels for this machine, once only"


def warm_up(progress=None) -> None:
    """Compile every kernel a check needs if they are not stored yet; says so while it does.

    progress: has stage(name) and fraction(done), or counted(done, of).  A process that finds another one
    at it waits for that.

    A second process compiles what needs no cut, and the replay, while this one compiles the cut and the
    walls, about as much; what it stores is then loaded.  Compiling is one thread's work, so two processes
    take little more than half the time; if the second cannot be started, this one compiles all.
    """
    if not is_cold():
        return
    progress = progress or NoProgress()
    tell = getattr(progress, "counted", None)
    with alone(CHECKING, is_cold, progress.stage, tell=tell) as is_left:
        if not is_left:
            return
        progress.stage(PREPARING)
        fraction = progress.fraction if tell is None else NoProgress().fraction
        with _no_collections(), counted(kernels_of(), tell):
            with _helper():
                cut.warm_up()
                fraction(0.4)
                _walls()
                fraction(0.5)
            compile_all(lambda done: fraction(0.5 + done / 2))
        mark_warm()


def warm_up_reading(progress) -> None:
    """Compile what large programs are read with, if it is not stored yet; says so while it does."""
    if not is_cold(READING):
        return
    tell = getattr(progress, "counted", None)
    with alone(READING, lambda: is_cold(READING), progress.stage, tell=tell) as is_left:
        if is_left:
            progress.stage(PREPARING)
            with _no_collections(), counted(kernels_of(READING), tell):
                fast.warm_up()
            mark_warm(READING)


@contextmanager
def _no_collections() -> Iterator[None]:
    """Let the garbage of compiling lie: looking for it takes a sixth of the time, and it is small."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


@contextmanager
def _helper() -> Iterator[None]:
    """Run compile_beside in a process of its own meanwhile, and wait for its end."""
    words = [sys.executable, "-P", "-m", "simkit.warm"]
    silent = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    try:
        child = subprocess.Popen(words, **silent)
    except OSError:
        yield
        return
    try:
        yield
        child.wait()
    finally:
        child.kill()
        child.wait()


def compile_beside() -> None:
    """Compile and store what a check needs for target, comparison, reach, the replay, time and bite.

    The replay shares kernels with the cut; it comes late, when they are likely to be stored.
    """
    lattice = blank_lattice(16.0, 12.0, 0.25)
    grid = TargetGrid(_target())
    around = envelopes(grid, lattice)
    field = blank_field(lattice, 16.0, 12.0, 6.5)
    deviation(field, around, grid, 1)
    one = np.ones(1)  # of a blank that is level no distance to the cut is asked
    CutSurface(field, 1).distance(one, one, one, one, True, True)
    between.warm_up(grid, lattice)
    must_leave(around, grid, 1, Cutter(1, "ball", 2.0), 0.05)
    moves, job = _sides()[0], _job()
    met = replay(blank_field(lattice, 16.0, 12.0, 6.0), moves, job.cutters, IDENTITY)
    bites(moves, met, timed(moves, job.machine), job.cutters, lattice.cell)


def _walls() -> None:
    """Compile and store what a check needs for walls."""
    lattice = blank_lattice(16.0, 12.0, 0.25)
    field = blank_field(lattice, 16.0, 12.0, 6.5)
    wall_thickness(lattice, field.lower, field.upper, 1.0)


def compile_all(fraction=None) -> None:
    """Compile, or load from the cache, every kernel a check needs, by one check of a thumbnail.

    The thumbnail has two sides, lines and arcs, and faults of every shape, so that no finder stays
    untouched.  fraction: told how far it is.
    """
    # Squares of a face that are not settled at once, which a small part of few cells may not have.
    between.warm_up(TargetGrid(_target()), blank_lattice(16.0, 12.0, 0.25))
    reads = [[(None, _Read(moves))] for moves in _sides()]
    target = _target()
    progress = NoProgress()
    if fraction is not None:
        stages = iter(np.linspace(0.1, 0.9, 6))
        progress.stage = lambda name: fraction(float(next(stages, 0.95)))
    # Whether a spot of the thumbnail needs the reach of a cutter is left to chance; so it is asked.
    lattice = blank_lattice(4.0, 4.0, 0.5)
    reach(np.zeros(lattice.shape), lattice, [Cutter(1, "ball", 2.0)])
    examine(_job(), reads, blank_lattice(16.0, 12.0, 0.25), target, Timings(), progress)


def _job() -> Job:
    return Job(
        name="",
        blank=Blank(16.0, 12.0, 6.0),
        cutters={1: Cutter(1, "ball", 2.0), 2: Cutter(2, "flat", 2.0)},
        setups=(Setup("a", ()), Setup("b", (), turn="about x")),
        dowels=(Dowel("d", (1.5, 1.5), 2.0),),
        limits=Limits(gouge=0.05, leftover=0.05, thinnest_wall=3.0, witness_step=0.01),
    )


def _sides() -> list[Moves]:
    """The thumbnail's moves: along each wall, a low rapid among the cuts, an arc; side 2 off by 0.3 mm."""
    around = np.array([[3, 2], [13, 2], [13, 10], [3, 10], [3, 2]], dtype=np.float64)
    sides = []
    for setup, off in ((0, 0.0), (1, 0.3)):
        path = np.column_stack([around + off, np.full(5, -3.5)])
        start = np.concatenate([path[:1] + np.array([0, 0, 9]), path[:-1], [[6, 6, -0.5], [10, 6, -4.0]]])
        end = np.concatenate([path, [[10, 6, -4.0], [8, 8, -4.0]]])
        sides.append(
            make_moves(
                programs=("thumbnail",),
                kind=[LINE] * 6 + [ARC],
                rapid=[False] * 5 + [True, False],
                start=start,
                end=end,
                centre=[[0, 0]] * 6 + [[8, 6]],
                sweep=[0] * 6 + [np.pi / 2],
                tool=[2] * 5 + [1, 1],
                setup=[setup] * 7,
            )
        )
    return sides


def _target():
    """The thumbnail's target: a box with upright walls."""
    corners = np.array([[x, y, z] for x in (4.0, 12.0) for y in (3.0, 9.0) for z in (0.0, 6.0)])
    faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1]]
    faces += [[2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    return make_target(corners, np.array(faces))


@dataclass(frozen=True)
class _Read:
    """As much of a program's reading as the evidence asks for."""

    moves: Moves
    warnings: tuple = ()
    name: str = "thumbnail"
    units_seen: tuple = ("mm",)
    unit_lines: tuple = (1,)
    tools_called: tuple = ()
    has_still_spindle: bool = False
    dwell: float = 0.0
    aslant: tuple = ()
    opening: tuple = ()
    ends_at: tuple = (None, None, None)


if __name__ == "__main__":
    gc.disable()
    compile_beside()
    os._exit(0)  # what is stored is stored; tidying up would take a second
