"""Where the time of the replay and of time and bite goes, stage by stage: one thread, processor time."""

import time
from collections.abc import Callable
from contextlib import contextmanager

import numba

from simkit.effort import advice, bite, effort
from simkit.stock import cut, replay

# What is timed: where it is looked up, its name there, and how it is told.  Those of one list are parts of
# the stage above them, and what is left of that stage is told as its rest.
REPLAY = (
    (replay, "Packed", "packing of moves"),
    (cut.Packed, "bins", "binning to tiles"),
    (replay, "begun", "copies of the field, and tops of tiles"),
    (replay, "_follows", "which moves carry on from another"),
    (replay, "_Above", "collisions: chords of neck, shank and holder"),
    (replay.replay_kernels, "replay_tiles", "the kernel: lists, bounds, heights, what is told, contacts"),
    (replay, "_deepest", "deepest finds of each move"),
    (replay._State, "result", "what is told of each move, and places of the finds"),
)
EFFORT = (
    (effort, "timed", "model of time"),
    (effort, "summed", "stretches and sums of them"),
    (effort, "bites", "bites"),
    (effort, "deep_slots", "deep slots"),
    (effort, "program_times", "time of programs and operations"),
    (effort, "advise", "advice"),
    (effort, "largest_force", "largest force"),
)
WITHIN = (
    (bite, "parts_in_wood", "of stretches and sums: parts in wood"),
    (advice, "_safe_height", "of advice: safe height"),
    (advice, "_air", "of advice: air"),
    (advice, "_feeds", "of advice: feeds"),
    (advice, "_roughing", "of advice: roughing"),
    (advice, "timed", "of advice: model of time, asked anew"),
)


@contextmanager
def _timed(stages, spent: dict):
    """Add what each of `stages` takes to `spent`, by how it is told, while the context lasts."""
    before = [getattr(place, name) for place, name, _ in stages]

    def timed(function, told):
        def call(*args, **named):
            started = time.process_time()
            try:
                return function(*args, **named)
            finally:
                spent[told] = spent.get(told, 0.0) + time.process_time() - started

        return call

    try:
        for (place, name, told), function in zip(stages, before, strict=True):
            setattr(place, name, timed(function, told))
        yield
    finally:
        for (place, name, _), function in zip(stages, before, strict=True):
            setattr(place, name, function)


def _least(runs: int, stages, job: Callable) -> tuple[float, dict]:
    """Return the least processor seconds of some runs of a job, and of each stage in it."""
    whole, least = float("inf"), {}
    for _ in range(runs):
        spent: dict = {}
        with _timed(stages, spent):
            started = time.process_time()
            job()
            whole = min(whole, time.process_time() - started)
        for told, seconds in spent.items():
            least[told] = min(least.get(told, float("inf")), seconds)
    return whole, least


def _print(told: str, whole: float, parts: dict, stages, plain: float) -> None:
    print(f"  {told}: {1000 * whole:.1f} ms, {whole / plain:.2f} of the plain cut", flush=True)
    rest = whole
    for _, _, name in stages:
        seconds = parts.get(name, 0.0)
        rest -= seconds
        print(f"    {1000 * seconds:7.1f} ms, {100 * seconds / whole:3.0f} %: {name}")
    print(f"    {1000 * rest:7.1f} ms, {100 * rest / whole:3.0f} %: the rest, and sums by move")


def profile(replaying: Callable, telling: Callable, cutting: Callable, runs: int = 10) -> None:
    """Print where the time goes; replaying(), telling(), cutting(): the replay, all of effort, the plain cut.

    Each stage is the least of some runs, so that they need not add up to the least of the whole; a stage
    that is called in another (_roughing by advise) is told beside it.
    """
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        plain, _ = _least(runs, (), cutting)
        _print("replay", *_least(runs, REPLAY, replaying), REPLAY, plain)
        whole, parts = _least(runs, (*EFFORT, *WITHIN), telling)
        _print("time, bite and advice", whole, parts, EFFORT, plain)
        for _, _, name in WITHIN:
            print(f"    {1000 * parts.get(name, 0.0):7.1f} ms: {name}")
    finally:
        numba.set_num_threads(threads)
