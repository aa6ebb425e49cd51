"""Where does the time of a check go?  Seconds per stage, cell updates per second, peak memory.

Run: python benchmarks/check_sample.py [JOB.toml] [CELL]
The first run in a process warms everything up (and compiles, if nothing is stored yet); it is told
apart.  Numbers are of this machine, at this moment; compare ratios.
"""

import resource
import sys
import time
from pathlib import Path

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs

SAMPLE = Path(__file__).parents[1] / "samples" / "olive_boat" / "job.toml"


def one_run(path: Path, cell: float):
    """Return evidence, seconds per stage and the number of findings of one whole check."""
    started = time.perf_counter()
    job = read_job(path)
    reads = read_programs(job)
    seconds = {"reading job and programs": time.perf_counter() - started}
    evidence, findings, stages = check(job, reads, cell)
    return evidence, seconds | stages, findings


def main() -> None:
    """Print the figures of a cold and a warm run."""
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE
    cell = float(sys.argv[2]) if len(sys.argv) > 2 else 0.2
    _, first, findings_first = one_run(path, cell)
    evidence, second, findings = one_run(path, cell)
    assert [str(one) for one in findings] == [str(one) for one in findings_first]
    print(f"{path.name}, {evidence.field.upper.size:,} cells of {cell:g} mm, {len(evidence.moves):,} moves")
    print(f"{'stage':34} {'first run':>10} {'second run':>10}")
    for stage in dict.fromkeys([*first, *second]):
        print(f"{stage:34} {first.get(stage, 0):9.2f}s {second.get(stage, 0):9.2f}s")
    print(f"{'all':34} {sum(first.values()):9.2f}s {sum(second.values()):9.2f}s")
    cutting = sum(seconds for stage, seconds in second.items() if stage.startswith("cutting"))
    print(f"cell updates: {evidence.evaluations:,}, {evidence.evaluations / cutting / 1e6:.0f} M/s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()
