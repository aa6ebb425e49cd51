"""Does the budget say what full re-cuts say?  A Monte Carlo of a small job, changed as `simkit whatif` does.

Run: python benchmarks/budget_proof.py [CUTS [SEED]]
Each change (shift, turn, height, thickness at random) is cut and checked anew, and asked of the budget, which
does not cut.  Prints for each kind the largest difference of the worst values, as a part of the limit, and how
many verdicts agree; a verdict within 5 % of a limit counts apart.  A difference is told where the re-cut tells
a value: above three tenths of the limit.
"""

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simkit.budget.anew import Anew
from simkit.budget.motion import SideHeights
from simkit.budget.rows import GOUGE, KINDS, LEFTOVER, STEP, WALL
from simkit.check import check
from simkit.job.change import Change
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_job

CELL = 0.5
TOLD = 0.3  # of a limit: what re-cuts tell of
MOST = np.array([0.3, 0.3, 0.6, 0.15, 0.15])  # mm and degrees
OF_KIND = {"gouge": GOUGE, "leftover-program": LEFTOVER, "leftover-cutter": LEFTOVER, "witness-step": STEP}


class Recuts:
    """A job, its budget, and what full re-cuts say of changes."""

    def __init__(self, path):
        self.job = read_job(path)
        self.reads = read_programs(self.job)
        evidence, _, _ = check(self.job, self.reads, CELL)
        self.budget = evidence.budget
        side = self.budget.motion.side
        self.anew = Anew(self.budget.rows, self.budget.motion, SideHeights(evidence, side))
        limits = self.job.limits
        self.limits = {GOUGE: limits.gouge, LEFTOVER: limits.leftover, STEP: limits.witness_step}
        self.low = replace(
            limits,
            gouge=TOLD * limits.gouge,
            leftover=TOLD * limits.leftover,
            witness_step=TOLD * limits.witness_step,
        )

    def recut(self, change):
        """Return the worst value of each kind, mm, by a full check of the changed job; 0 where none is told.

        For walls 1 or 0, whether one is too thin, None where that is undecided.
        """
        right, back, turn, high, thicker = (float(one) for one in change)
        name = self.job.setups[self.budget.motion.setup].name
        supposed = Change({name: (right, back, high)}, {name: turn}, thicker)
        changed = replace(supposed.of(self.job), limits=self.low)
        _, findings, _ = check(changed, self.reads, CELL)
        worst = dict.fromkeys(self.limits, 0.0) | {WALL: 0}
        for one in findings:
            if one.kind == "thin-wall" and one.severity != "note":
                worst[WALL] = 1 if one.severity == "beyond" or worst[WALL] == 1 else None
            elif one.kind in OF_KIND:
                kind = OF_KIND[one.kind]
                worst[kind] = max(worst[kind], one.value)
        return worst

    def asked(self, change):
        """Return the same by the budget: values, and for walls by how much one is too thin, mm."""
        worst = self.anew.worst(change)
        return {
            kind: over + self.limits.get(kind, 0.0) for kind, (over, _) in worst.items()
        }


def changes(count, seed):
    """Return changes (count, 5): half of them of one or two parts alone, so that each kind has its turn."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(-1, 1, (count, 5)) * MOST
    alone = rng.random((count, 5)) < 0.4
    size[: count // 2] *= alone[: count // 2]
    return size * rng.choice([0.4, 1.0], (count, 1))


def main() -> None:
    """Print the comparison."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as folder:
        job = Recuts(budget_job.write(Path(folder)))
        off = {kind: [] for kind in job.limits}
        agree, near, walls, spent = 0, 0, [0, 0, 0], [0.0, 0.0]
        for number, change in enumerate(changes(count, seed), 1):
            started = time.perf_counter()
            cut = job.recut(change)
            middle = time.perf_counter()
            asked = job.asked(change)
            spent[0] += middle - started
            spent[1] += time.perf_counter() - middle
            verdict, close = [True, True], False
            for kind, limit in job.limits.items():
                if cut[kind] > 0:
                    off[kind].append((asked[kind] - cut[kind]) / limit)
                    if abs(off[kind][-1]) > 0.05:
                        print(f"{KINDS[kind]} {cut[kind]:.4f} re-cut, {asked[kind]:.4f} asked: {change.round(4).tolist()}")
                verdict[0] &= cut[kind] <= limit
                verdict[1] &= asked[kind] <= limit
                close |= abs(asked[kind] - limit) <= 0.05 * limit
            if cut[WALL] is None:
                walls[2] += 1
            else:
                walls[int((asked.get(WALL, -1.0) > 0) != bool(cut[WALL]))] += 1
            agree += verdict[0] == verdict[1]
            near += verdict[0] != verdict[1] and close
            if verdict[0] != verdict[1] and not close:
                print(f"verdicts differ: {change.round(4).tolist()}")
            if number % 50 == 0:
                print(f"{number} re-cuts, {agree} verdicts agree", flush=True)
    print(f"verdicts: {agree} of {count} agree, {near} differ within 5 % of a limit")
    print(f"thin walls: {walls[0]} agree, {walls[1]} differ, {walls[2]} undecided by the re-cut")
    for kind, some in off.items():
        if some:
            some = np.abs(some)
            print(f"{KINDS[kind]}: {len(some)} values, off by at most {some.max():.1%} of the limit, "
                  f"{np.mean(some <= 0.05):.1%} within 5 %")
    print(f"seconds for one: re-cut {spent[0] / count:.2f}, asked {spent[1] / count:.4f}")


if __name__ == "__main__":
    main()
