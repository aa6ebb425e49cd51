"""Do verdicts on coarse cells with second looks agree with fine cells everywhere?  Jobs at their limits.

Run: python benchmarks/verdict_proof.py [JOBS [SEED [SCALE]]], or with --sizes [JOBS [SEED]]
or --profile [JOBS [SEED]]
Parts of five sizes in turn, SIZES times 24 x 20 mm in plan, up to that of a small bowl (192 x 160); with
SCALE all of one size.  300 jobs take some 55 minutes of processor time, and 4.2 GB.
--sizes: the ratio of time on parts of several sizes, JOBS of each (4), and nothing about verdicts.
--profile: where the processor time of the coarse way goes, of JOBS jobs (30), and of the slowest of them.
Smooth and sharp targets, steps, ridges and scratches 0.1 mm wide, and on three in five of the targets knives
0.1 mm wide, spikes or vee-shaped pits that no pass follows; limits a few percent off the true worst value;
0.4 mm cells with second looks against 0.05 mm cells everywhere.  Prints each job that is undecided
or differs ('missed': within by the coarse way, beyond for certain by the fine one; 'false': the other way
round; 'value': the ranges of the worst value do not meet), and last: how many differ, bounds, the share
undecided, the ratio of time (of processor time; by the clock in brackets), of all jobs and by size.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from verdict_profile import Stages

from tests.verdict_jobs import LENGTH, WIDTH, VerdictJob, differs

SIZES = (1, 2, 4, 6, 8)
LARGER = (9, 12)  # with --sizes


def sizes(jobs: int, seed: int) -> None:
    """Print how much faster the coarse way is, by the size of the part."""
    warm()
    for scale in (*SIZES, *LARGER):
        spent, ratios = np.zeros((2, 2)), []
        for number in range(seed, seed + jobs):
            one = VerdictJob(number, scale)
            ranges, fine = one.fine()
            _, coarse = one.coarse(one.limits(ranges))
            spent += fine, coarse
            ratios.append(fine[0] / coarse[0])
        print(
            f"{times_words(scale, spent, jobs)}; the jobs {min(ratios):.1f} to {max(ratios):.1f}", flush=True
        )


def times_words(scale: int, spent: np.ndarray, jobs: int) -> str:
    """Return how long jobs of one size took, in words.  spent (2, 2) s: fine, coarse; processor, clock."""
    processor, clock = spent[0] / spent[1]
    return (
        f"{LENGTH * scale:.0f} x {WIDTH * scale:.0f} mm: a job {spent[0, 0] / jobs:.1f} s fine, "
        f"{spent[1, 0] / jobs:.2f} s coarse; {processor:.1f} times as fast ({clock:.1f})"
    )


def warm() -> None:
    """Load every kernel, so that no job pays for it."""
    for number in (7000, 7001):
        one = VerdictJob(number)
        one.coarse(one.limits(one.fine()[0]))


def scale_of(number: int) -> int:
    """Return the size of a job by its number: smooth and sharp targets (even and odd) of each size."""
    return SIZES[number // 2 % len(SIZES)]


def profile(jobs: int, seed: int) -> None:
    """Print the stages of the coarse way: of each job that takes long, and of all."""
    warm()
    every, taken = Stages(), []
    for number in range(seed, seed + jobs):
        one = VerdictJob(number, scale_of(number))
        limits = one.limits(one.fine()[0])
        with Stages() as stages:
            _, seconds = one.coarse(limits)
        taken.append(float(seconds[0]))
        every.add(stages)
        if taken[-1] >= max(taken) and len(taken) > 1:
            print(
                f"job {number} ({scale_of(number)}): {taken[-1]:.2f} s\n{stages.table(taken[-1], 1)}",
                flush=True,
            )
    print(f"{jobs} jobs: {sum(taken):.2f} s\n{every.table(sum(taken), jobs)}")


def main() -> None:
    """Print the table."""
    if sys.argv[1:2] == ["--profile"]:
        jobs, seed = ([int(word) for word in sys.argv[2:4]] + [30, 7000][len(sys.argv) - 2 :])[:2]
        return profile(jobs, seed)
    if sys.argv[1:2] == ["--sizes"]:
        jobs, seed = ([int(word) for word in sys.argv[2:4]] + [4, 7000][len(sys.argv) - 2 :])[:2]
        return sizes(jobs, seed)
    jobs, seed, only = ([int(word) for word in sys.argv[1:4]] + [300, 0, 0][len(sys.argv) - 1 :])[:3]
    warm()
    counts = {"missed": 0, "false": 0, "value": 0, "": 0}
    narrow, told, undecided = 0, 0, 0
    spent = {scale: [0, np.zeros((2, 2))] for scale in ([only] if only else SIZES)}
    for number in range(seed, seed + jobs):
        scale = only or scale_of(number)
        one = VerdictJob(number, scale)
        ranges, fine_seconds = one.fine()
        limits = one.limits(ranges)
        verdicts, coarse_seconds = one.coarse(limits)
        spent[scale][0] += 1
        spent[scale][1] += fine_seconds, coarse_seconds
        for name, verdict, fine, limit in zip(("gouge", "leftover"), verdicts, ranges, limits, strict=True):
            how = differs(verdict, fine, limit)
            counts[how] += 1
            if verdict[0]:
                told += 1
                narrow += verdict[2] <= max(0.02, 0.1 * limit) + 1e-9
                undecided += verdict[0] == "undecided"
            if how or verdict[0] == "undecided":
                print(
                    f"job {number} ({scale}) {'+'.join(one.kinds)}: {name} {how or 'undecided'}: limit "
                    f"{limit:.4f}, coarse {verdict[0] or 'within'} {verdict[1]:.4f} +- {verdict[2]:.4f}, "
                    f"fine {fine[0]:.4f} to {fine[1]:.4f}",
                    flush=True,
                )
        if (number - seed) % 25 == 24 or number == seed + jobs - 1:
            done = sum(counts.values())
            processor, clock = np.divide(*sum(one for _, one in spent.values()))
            print(
                f"{done // 2} jobs, {done} verdicts: {counts['missed']} missed, {counts['false']} false, "
                f"{counts['value']} values off; bound within 0.02 mm or a tenth of the limit in "
                f"{narrow} of {told} told; {undecided} undecided ({undecided / done:.1%}); coarse is "
                f"{processor:.1f} times as fast ({clock:.1f})",
                flush=True,
            )
    for scale, (count, seconds) in spent.items():
        if count:
            print(f"  {count} jobs of {times_words(scale, seconds, count)}")


if __name__ == "__main__":
    main()
