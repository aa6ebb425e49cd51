"""Do verdicts on coarse cells with second looks agree with fine cells everywhere?  Jobs at their limits.

Run: python benchmarks/verdict_proof.py [JOBS [SEED [SCALE]]], or with --sizes [JOBS [SEED]]
SCALE 1 (the default): parts of 24 x 20 mm, on which a look costs more than the cells; 4: of 96 x 80; 9: of
216 x 180, an area like that of a bowl of 300 x 130.
--sizes: the ratio of time on parts of several sizes, JOBS of each (4), and nothing about verdicts.
Smooth and sharp targets, steps, ridges and scratches 0.1 mm wide, limits a few percent off the true worst
value; 0.4 mm cells with second looks against 0.05 mm cells everywhere.  Prints each job that differs
('missed': within by the coarse way, beyond for certain by the fine one; 'false': the other way round;
'value': the ranges of the worst value do not meet), and last: how many differ, bounds, the share
undecided, the ratio of time.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.verdict_jobs import VerdictJob, differs

SIZES = (1, 2, 4, 6, 9, 12)


def sizes(jobs: int, seed: int) -> None:
    """Print how much faster the coarse way is, by the size of the part: wall and processor time."""
    for number in (seed, seed + 1):
        VerdictJob(number).coarse((0.1, 0.1))  # warm
    for scale in SIZES:
        spent, ratios = np.zeros((2, 2)), []
        for number in range(seed, seed + jobs):
            one = VerdictJob(number, scale)
            at = time.process_time()
            ranges, fine = one.fine()
            middle = time.process_time()
            _, coarse = one.coarse(one.limits(ranges))
            spent += (fine, middle - at), (coarse, time.process_time() - middle)
            ratios.append(fine / coarse)
        wall, processor = spent[0] / spent[1]
        print(
            f"{one.length:.0f} x {one.width:.0f} mm: a job {spent[0, 0] / jobs:.1f} s fine, "
            f"{spent[1, 0] / jobs:.1f} s "
            f"coarse; {wall:.1f} times as fast ({processor:.1f} by processor time; the jobs "
            f"{min(ratios):.1f} to {max(ratios):.1f})",
            flush=True,
        )


def main() -> None:
    """Print the table."""
    if sys.argv[1:2] == ["--sizes"]:
        jobs, seed = ([int(word) for word in sys.argv[2:4]] + [4, 7000][len(sys.argv) - 2 :])[:2]
        return sizes(jobs, seed)
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    scale = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    VerdictJob(seed).coarse((0.1, 0.1))  # warm
    counts = {"missed": 0, "false": 0, "value": 0, "": 0}
    narrow, told, undecided, spent = 0, 0, 0, np.zeros(2)
    for number in range(seed, seed + jobs):
        one = VerdictJob(number, scale)
        ranges, fine_seconds = one.fine()
        limits = one.limits(ranges)
        verdicts, coarse_seconds = one.coarse(limits)
        spent += fine_seconds, coarse_seconds
        for name, verdict, fine, limit in zip(("gouge", "leftover"), verdicts, ranges, limits, strict=True):
            how = differs(verdict, fine, limit)
            counts[how] += 1
            if verdict[0]:
                told += 1
                narrow += verdict[2] <= max(0.02, 0.1 * limit) + 1e-9
                undecided += verdict[0] == "undecided"
            if how:
                print(
                    f"job {number} {'+'.join(one.kinds)}: {name} {how}: limit {limit:.4f}, coarse "
                    f"{verdict[0] or 'within'} {verdict[1]:.4f} +- {verdict[2]:.4f}, fine {fine[0]:.4f} to "
                    f"{fine[1]:.4f}",
                    flush=True,
                )
        if (number - seed) % 25 == 24 or number == seed + jobs - 1:
            done = sum(counts.values())
            print(
                f"{done // 2} jobs, {done} verdicts: {counts['missed']} missed, {counts['false']} false, "
                f"{counts['value']} values off; bound within 0.02 mm or a tenth of the limit in "
                f"{narrow} of {told} told; {undecided} undecided ({undecided / done:.1%}); coarse is "
                f"{spent[0] / spent[1]:.1f} times as fast",
                flush=True,
            )


if __name__ == "__main__":
    main()
