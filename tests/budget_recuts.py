"""Full re-cuts of a job changed as `simkit whatif` does, beside what its budget says without cutting."""

from dataclasses import replace

import numpy as np

from simkit.budget.anew import Anew
from simkit.budget.motion import SideHeights
from simkit.budget.rows import GOUGE, LEFTOVER, STEP, WALL
from simkit.check import check
from simkit.job.change import Change
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests import budget_job

CELL, FINER = 0.5, 0.1  # mm
SHARE = 0.05  # of a limit
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
        self.wide = len(self.budget.motion.names)
        self.is_hidden = (rows.kind == LEFTOVER) & (on_outline < 0.01)

    def asked(self, change):
        """Return the worst value of each kind by the budget, mm; of walls by how much one is too thin.

        change: of motion.names; what is not given of its end is 0.
        """
        change = np.pad(change, (0, self.wide - len(change)))
        worst = self.anew.worst(change, is_asked=~self.is_hidden)
        return {kind: over + self.stated.get(kind, 0.0) for kind, (over, _) in worst.items()}

    def stands_out(self, change):
        """Return how far wood stands out of the outer wall by the budget, mm."""
        change = np.pad(change, (0, self.wide - len(change)))
        worst = self.anew.worst(change, is_asked=self.is_hidden)
        return worst[LEFTOVER][0] + self.stated[LEFTOVER] if LEFTOVER in worst else 0.0

    def beyond(self, change, limits, cell=CELL):
        """Return kind -> whether a full check of the changed job finds it beyond limits, mm by kind.

        Not in it: a kind that stays undecided.
        """
        right, back, turn, high, thicker, *planed = (float(one) for one in change)
        name = self.job.setups[self.budget.motion.setup].name
        steps = dict(zip(self.budget.motion.planed, planed, strict=False))
        supposed = Change({name: (right, back, high)}, {name: turn}, thicker, planed=steps)
        new = replace(
            self.job.limits, gouge=limits[GOUGE], leftover=limits[LEFTOVER], witness_step=limits[STEP]
        )
        _, findings, _ = check(replace(supposed.of(self.job), limits=new), self.reads, cell)
        told = {kind: set() for kind in (*limits, WALL)}
        for one in findings:
            if one.kind in OF_KIND and one.severity in ("beyond", "undecided"):
                told[OF_KIND[one.kind]].add(one.severity)
        return {kind: "beyond" in some for kind, some in told.items() if some != {"undecided"}}


def compared(job, change):
    """Return rows (kind, is_above, says): 'agree', 'finer' (agrees on finer cells), 'differ' or 'open'.

    Or 'wall': the check saw leftover that stands out of the outer wall as far, which is not compared.
    """
    asked = job.asked(change)
    stands = job.stands_out(change)
    rows = []
    for way in (1, -1):
        # A job whose walls are all cut from one side has no step: that is as stated.
        limits = {kind: asked.get(kind, 0.0) + way * SHARE * stated for kind, stated in job.stated.items()}
        is_told = {kind: limit > 0.2 * job.stated[kind] for kind, limit in limits.items()}
        limits = {kind: limit if is_told[kind] else job.stated[kind] for kind, limit in limits.items()}
        found, finer = job.beyond(change, limits), None
        for kind in limits:
            if is_told[kind]:
                says = "open" if kind not in found else "agree" if found[kind] == (way < 0) else "differ"
                if says != "agree":
                    finer = finer or job.beyond(change, limits, FINER)
                    says = "finer" if finer.get(kind) == (way < 0) else says
                    if says == "differ" and kind == LEFTOVER and way > 0 and stands > limits[kind]:
                        says = "wall"
                rows.append((kind, way > 0, says))
        if way > 0 and WALL in asked:
            says = "open" if WALL not in found else "agree" if found[WALL] == (asked[WALL] > 0) else "differ"
            rows.append((WALL, True, says))
    return rows
