"""How much faster is a folder of jobs checked side by side than one after the other?

    python benchmarks/many_jobs.py [JOBS [WORKERS [ROUNDS]]]

Makes JOBS (20) small two-sided jobs, no two alike, and checks them with --fresh: by one command for each in
turn, by one command with a single worker on one core, by one with a single worker that has all cores, and by
one command with WORKERS (as many as cores).  The results must be the same apart from times.  Rounds take
turns, and the best of each counts; other work on the machine falsifies all of it, so the load before and
after is printed.  The share of the cores that each way kept busy says what is left to gain.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from simkit.runs.crew import cores

sys.path.insert(0, str(Path(__file__).parents[1]))
from tests.runs.some_jobs import write_two_sided

CELL = "0.1"  # some four seconds a job, as real ones take; on coarser cells starting a worker counts


def make(folder: Path, count: int) -> list[Path]:
    """The jobs: all cut the same tray, each a little deeper than the one before."""
    paths = []
    for number in range(count):
        path = write_two_sided(folder / f"{number:02d}")
        program = path.parent / "below.nc"
        text = program.read_text("utf-8")
        program.write_text(text.replace("Z-2 ", f"Z-{1.5 + 0.02 * number:.2f} "), encoding="utf-8")
        paths.append(path)
    return paths


def command(*words: object) -> list[str]:
    """The words of a check."""
    return [sys.executable, "-m", "simkit", "check", *map(str, words), "--fresh", "--quiet", "--cell", CELL]


def results_of(path: Path) -> list[dict]:
    """Results in a file, without their times."""
    data = json.loads(path.read_text("utf-8"))
    return [one | {"timings": None} for one in (data if isinstance(data, list) else [data])]


def processor_time() -> float:
    """Seconds of processor time of all commands that have ended."""
    times = os.times()
    return times.children_user + times.children_system


def main() -> None:
    """Measure and print."""
    count, workers, rounds = ([int(word) for word in sys.argv[1:]] + [20, cores(), 2][len(sys.argv) - 1 :])[
        :3
    ]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        paths, out = make(folder, count), folder / "out.json"
        subprocess.run(command(paths[0]), stdout=subprocess.DEVNULL, check=False)  # compiled once

        def in_turn() -> list[dict]:
            told = []
            for path in paths:
                subprocess.run(command(path, "--json", out), stdout=subprocess.DEVNULL, check=False)
                told += results_of(out)
            return told

        def together(jobs: int, **around: str) -> list[dict]:
            words = command(folder, "--jobs", jobs, "--json", out)
            subprocess.run(words, stdout=subprocess.DEVNULL, check=False, env=os.environ | around)
            return results_of(out)

        ways = {
            "one command for each": in_turn,
            "one worker, one core": lambda: together(1, NUMBA_NUM_THREADS="1"),
            "one worker, all cores": lambda: together(1),
            f"{workers} workers": lambda: together(workers),
        }
        best = dict.fromkeys(ways, (float("inf"), 0.0))
        print(f"{count} jobs, {cores()} cores, load {os.getloadavg()[0]:.1f}")
        answers = []
        for _ in range(rounds):
            for way, run in ways.items():
                started, spent = time.perf_counter(), processor_time()
                answers.append(run())
                seconds = time.perf_counter() - started
                best[way] = min(best[way], (seconds, (processor_time() - spent) / seconds / cores()))
        assert all(answer == answers[0] for answer in answers), "the results differ"
        last = list(best.values())[-1][0]
        for way, (seconds, busy) in best.items():
            ratio = f"the last is {seconds / last:.2f} times as fast"
            print(f"{way:<24}{seconds:7.1f} s, cores {busy:4.0%} busy; {ratio}")
        print(f"load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
