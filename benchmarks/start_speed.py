"""How long until the first cut?  Compiling from nothing, and a start with everything stored.

Run: python benchmarks/start_speed.py [--profile] [JOB.toml]
Each figure is taken in processes of their own, with a folder of their own for compiled kernels.  Imports are
timed first and apart.  Each line: measured, wanted, whether it holds.

Compiling is that of warm.warm_up, by two processes: what a check of its thumbnail uses (both sides, lines and
arcs, walls, reach, the replay).  tests/test_warm.py sees to it that checks of samples compile nothing more.
What large programs are read with is not in it: that is compiled when the first of them is read.

--profile: where the processor time goes, of one process that compiles all, and no more: by kinds of work,
and the ten kernels that cost most (without the kernels that they call).
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "samples" / "olive_boat" / "job.toml"
COLD, WARM = 30.0, 1.0  # seconds at most: compiling, and from the imports to the first cut
RUNS = 5

# What `simkit check` does until the first cut of the wood, in its order, with the times between.  The first
# cut of a process loads its kernels: that counts, so it is made of a thumbnail.
CHILD = """
import json, resource, sys, time
began = time.perf_counter()
from pathlib import Path
from simkit import check as checking
from simkit.frames import IDENTITY
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.stock import cut as engine
from simkit.stock.field import Lattice, blank_field
from simkit.stock.replay import replay
from simkit.warm import warm_up
imported = time.perf_counter()
warm_up()
warm = time.perf_counter()
job = read_job(Path(sys.argv[1]))
reads = read_programs(job)
read = time.perf_counter()


thumbnail = blank_field(Lattice((0.0, 0.0), 1.0, 4, 4), 4.0, 4.0, 2.0)


class Reached(Exception):
    pass


def first_cut(field, *words, **more):
    replay(thumbnail, *engine._few_moves(), IDENTITY)  # loads what is stored of the replay
    raise Reached


checking.replay = first_cut
try:
    checking.check(job, reads, 0.2)
except Reached:
    pass
else:
    raise SystemExit("the check made no cut")
reached = time.perf_counter()
busy = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps({
    "imports": imported - began, "compiling": warm - imported, "reading": read - warm,
    "up to the first cut": reached - read, "processor": sum(one.ru_utime + one.ru_stime for one in busy),
}))
"""


PROFILE = """
import json, time
from collections import Counter

from numba.core import event

from simkit import warm

KINDS = {"inference": "typing", "lowering": "lowering"}
by_kind, by_kernel, count, open_ones = Counter(), Counter(), Counter(), []


class Stopwatch(event.Listener):  # what is measured inside of something is not counted there
    def on_start(self, one):
        name = kernel = None
        if one.kind == "numba:compile":
            kernel = one.data["dispatcher"].py_func
            kernel = f"{kernel.__module__}.{kernel.__name__}"
            count[kernel] += 1
        elif one.kind == "numba:run_pass":
            passing = one.data["name"].split(" ")[0]
            name = next((kind for word, kind in KINDS.items() if word in passing), None)
        else:
            name = "LLVM"
        outer = open_ones[-1] if open_ones else ["", "outside of kernels", 0, 0]
        open_ones.append([name or "other passes", kernel or outer[1], time.thread_time(), 0.0])

    def on_end(self, one):
        kind, kernel, began, inside = open_ones.pop()
        took = time.thread_time() - began
        by_kind[kind] += took - inside
        by_kernel[kernel] += took - inside
        if open_ones:
            open_ones[-1][3] += took


for kind in ("numba:compile", "numba:run_pass", "numba:llvm_lock"):
    event.register(kind, Stopwatch())
began = time.process_time()
with warm._no_collections():
    warm.cut.warm_up()
    warm._walls()
    warm.compile_beside()
    warm.compile_all()
all_of_it = time.process_time() - began
by_kind["besides"] = all_of_it - sum(by_kind.values())
most = [(name, count[name], seconds) for name, seconds in by_kernel.most_common(10)]
told = {"all": all_of_it, "kernels": sum(count.values()), "kinds": by_kind.most_common(), "most": most}
print(json.dumps(told))
"""


def profile() -> None:
    """Print where the processor time of compiling goes."""
    with tempfile.TemporaryDirectory() as cache:
        # One thread: the listener counts what is open, and two would take each other's.
        around = os.environ | {"SIMKIT_CACHE": cache, "PYTHONPATH": str(ROOT), "NUMBA_NUM_THREADS": "1"}
        done = subprocess.run(
            [sys.executable, "-c", PROFILE], env=around, check=True, capture_output=True, text=True
        )
    told = json.loads(done.stdout)
    print(f"{told['kernels']} kernels, {told['all']:.1f} s of processor time, the profile's own with it")
    print("  " + ", ".join(f"{kind} {seconds:.1f} s" for kind, seconds in told["kinds"]))
    for name, times, seconds in told["most"]:
        print(f"  {seconds:5.2f} s {name.removeprefix('simkit.')}, compiled {times} times")


def seconds_of(job: Path, cache: str) -> dict[str, float]:
    """Return the seconds of each step of one start, from a new process."""
    around = os.environ | {"SIMKIT_CACHE": cache, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(job)], env=around, check=True, capture_output=True, text=True
    )
    return json.loads(done.stdout)


def tell(name: str, seconds: float, most: float) -> None:
    """Print a figure and whether it holds."""
    print(f"{name}: {seconds:.2f} s  [at most {most:g}: {'holds' if seconds <= most else 'DOES NOT HOLD'}]")


def main() -> None:
    """Print the figures."""
    words = [word for word in sys.argv[1:] if word != "--profile"]
    if len(words) < len(sys.argv) - 1:
        profile()
        return
    job = Path(words[0]) if words else SAMPLE
    with tempfile.TemporaryDirectory() as cache:
        cold = seconds_of(job, cache)
        print(
            f"nothing stored: imports {cold['imports']:.2f} s, "
            f"{cold['processor']:.1f} s of processor time in all"
        )
        tell("compiling everything a check needs", cold["compiling"], COLD)
        warm = min((seconds_of(job, cache) for _ in range(RUNS)), key=lambda one: sum(one.values()))
        print(f"everything stored, the best of {RUNS}: imports {warm['imports']:.2f} s")
        parts = {name: warm[name] for name in ("compiling", "reading", "up to the first cut")}
        tell("from the imports to the first cut", sum(parts.values()), WARM)
        print("  " + ", ".join(f"{name} {seconds:.2f} s" for name, seconds in parts.items()))


if __name__ == "__main__":
    main()
