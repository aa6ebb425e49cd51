"""Does the budget say what full re-cuts say?  A Monte Carlo of a small job, changed as `simkit whatif` does.

Run: python benchmarks/budget_proof.py [CHANGES [SEED]]
For each change (shift, turn, height, thickness at random) the budget says the worst gouge, leftover and
witness step, without cutting.  Then the changed job is cut and checked anew twice, with limits 5 % of the
stated ones above these values, where all must be within, and with limits as much below, where all must be beyond:
a check proves its verdicts, its values it tells only to 0.02 mm.  Upright walls it samples at a sixteenth of a
cell: what does not agree is cut once more on finer cells, and told if it still does not.
What stands out of the outer wall is left out of leftover (cells as coarse as these do not show it; the witness
step, which is compared, says the same there).
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

CELL, FINER = 0.5, 0.1  # mm
SHARE = 0.05  # of a limit
MOST = np.array([0.25, 0.25, 0.5, 0.12, 0.12])  # mm and degrees
OF_KIND = {
    "gouge": GOUGE, "break-through": GOUGE, "leftover-program": LEFTOVER, "leftover-cutter": LEFTOVER,
    "witness-step": STEP, "thin-wall": WALL,
}  # fmt: skip


class Recuts:
    """A job, its budget, and what full re-cuts say of changes."""

    def __init__(self, path):
        self.job = read_job(path)
        self.reads = read_programs(self.job)
        evidence, _, _ = check(self.job, self.reads, CELL)
        self.budget = evidence.budget
        rows = self.budget.rows
        x, y, _ = rows.at.T
        on_outline = np.minimum.reduce(
            [abs(x - budget_job.X0), abs(x - budget_job.X1), abs(y - budget_job.Y0), abs(y - budget_job.Y1)]
        )
        self.stated = {
            GOUGE: self.job.limits.gouge,
            LEFTOVER: self.job.limits.leftover,
            STEP: self.job.limits.witness_step,
        }
        self.anew = Anew(rows, self.budget.motion, SideHeights(evidence, self.budget.motion.side))
        self.is_hidden = (rows.kind == LEFTOVER) & (on_outline < 0.01)

    def asked(self, change):
        """Return the worst value of each kind by the budget, mm; of walls by how much one is too thin."""
        worst = self.anew.worst(change, is_asked=~self.is_hidden)
        return {kind: over + self.stated.get(kind, 0.0) for kind, (over, _) in worst.items()}

    def beyond(self, change, limits, cell=CELL):
        """Return kind -> whether a full check of the changed job finds it beyond limits, mm by kind.

        Not in it: a kind that stays undecided.
        """
        right, back, turn, high, thicker = (float(one) for one in change)
        name = self.job.setups[self.budget.motion.setup].name
        supposed = Change({name: (right, back, high)}, {name: turn}, thicker)
        new = replace(
            self.job.limits, gouge=limits[GOUGE], leftover=limits[LEFTOVER], witness_step=limits[STEP]
        )
        _, findings, _ = check(replace(supposed.of(self.job), limits=new), self.reads, cell)
        told = {kind: set() for kind in (*limits, WALL)}
        for one in findings:
            if one.kind in OF_KIND and one.severity in ("beyond", "undecided"):
                told[OF_KIND[one.kind]].add(one.severity)
        return {kind: "beyond" in some for kind, some in told.items() if some != {"undecided"}}


def changes(count, seed):
    """Return changes (count, 5): half of them of one or two parts alone, so that each kind has its turn."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(-1, 1, (count, 5)) * MOST
    alone = rng.random((count, 5)) < 0.4
    size[: count // 2] *= alone[: count // 2]
    return size * rng.choice([0.4, 1.0], (count, 1))


def compared(job, change):
    """Return rows (kind, is_above, says) of one change: says 'agree', 'finer' (agrees there), 'differ' or 'open'."""
    asked = job.asked(change)
    rows = []
    for way in (1, -1):
        limits = {kind: asked[kind] + way * SHARE * stated for kind, stated in job.stated.items()}
        is_told = {kind: limit > 0.2 * job.stated[kind] for kind, limit in limits.items()}
        limits = {kind: limit if is_told[kind] else job.stated[kind] for kind, limit in limits.items()}
        found, finer = job.beyond(change, limits), None
        for kind in limits:
            if is_told[kind]:
                says = "open" if kind not in found else "agree" if found[kind] == (way < 0) else "differ"
                if says != "agree":
                    finer = finer or job.beyond(change, limits, FINER)
                    says = "finer" if finer.get(kind) == (way < 0) else says
                rows.append((kind, way > 0, says))
        if way > 0 and WALL in asked:
            says = "open" if WALL not in found else "agree" if found[WALL] == (asked[WALL] > 0) else "differ"
            rows.append((WALL, True, says))
    return rows


def main() -> None:
    """Print the comparison."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 250
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as folder:
        job = Recuts(budget_job.write(Path(folder)))
        counts, started = {}, time.perf_counter()
        for number, change in enumerate(changes(count, seed), 1):
            for kind, is_above, says in compared(job, change):
                counts.setdefault((kind, is_above), dict.fromkeys(("agree", "finer", "differ", "open"), 0))[says] += 1
                if says == "differ":
                    asked = job.asked(change)[kind]
                    words = "beyond a limit above" if is_above else "within a limit below"
                    print(f"{KINDS[kind]} {words} {asked:.4f}: {change.round(4).tolist()}", flush=True)
            if number % 25 == 0:
                print(f"{2 * number} re-cuts, {time.perf_counter() - started:.0f} s", flush=True)
    for (kind, is_above), row in sorted(counts.items()):
        if kind == WALL:
            print(f"thin-wall: {row['agree']} verdicts agree, {row['differ']} differ, {row['open']} undecided")
            continue
        words = "within 5 % above" if is_above else "beyond 5 % below"
        print(f"{KINDS[kind]} {words}: {row['agree']} agree, {row['finer']} on finer cells, {row['differ']} differ, {row['open']} undecided")


if __name__ == "__main__":
    main()
