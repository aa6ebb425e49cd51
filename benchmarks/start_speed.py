"""How long until the first cut?  Compiling from nothing, and a start with everything stored.

Run: python benchmarks/start_speed.py [JOB.toml]
Each figure is taken in processes of their own, with a folder of their own for compiled kernels.  Imports are
timed first and apart.  Each line: measured, wanted, whether it holds.
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
    job = Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE
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
