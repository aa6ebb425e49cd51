"""Does the budget say what full re-cuts say?  A Monte Carlo of a small job, changed as `simkit whatif` does.

Run: python benchmarks/budget_proof.py [CHANGES [SEED]]
For each change (shift, turn, height, thickness at random) the budget says the worst gouge, leftover and
witness step, without cutting.  Then the changed job is cut and checked anew twice, with limits 5 % of the
stated ones above these values, where all must be within, and with limits as much below, where all must be
beyond: a check proves its verdicts, its values it tells only to 0.02 mm.  Upright walls it samples at a
sixteenth of a cell: what does not agree is cut once more on finer cells, and told if it still does not.
What stands out of the outer wall is left out of leftover (cells as coarse as these do not show it; the
witness step, which is compared, says the same there).
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simkit.budget.rows import KINDS, WALL
from tests import budget_job
from tests.budget_recuts import Recuts, compared

MOST = np.array([0.25, 0.25, 0.5, 0.12, 0.12])  # mm and degrees


def changes(count, seed):
    """Return changes (count, 5): half of them of one or two parts alone, so that each kind has its turn."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(-1, 1, (count, 5)) * MOST
    alone = rng.random((count, 5)) < 0.4
    size[: count // 2] *= alone[: count // 2]
    return size * rng.choice([0.4, 1.0], (count, 1))


def main() -> None:
    """Print the comparison."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 250
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory() as folder:
        job = Recuts(budget_job.write(Path(folder)))
        counts, started = {}, time.perf_counter()
        for number, change in enumerate(changes(count, seed), 1):
            for kind, is_above, says in compared(job, change):
                counts.setdefault((kind, is_above), dict.fromkeys(("agree", "finer", "differ", "open"), 0))[
                    says
                ] += 1
                if says == "differ":
                    asked = job.asked(change)[kind]
                    words = "beyond a limit above" if is_above else "within a limit below"
                    print(f"{KINDS[kind]} {words} {asked:.4f}: {change.round(4).tolist()}", flush=True)
            if number % 25 == 0:
                print(f"{2 * number} re-cuts, {time.perf_counter() - started:.0f} s", flush=True)
    for (kind, is_above), row in sorted(counts.items()):
        if kind == WALL:
            print(
                f"thin-wall: {row['agree']} verdicts agree, {row['differ']} differ, {row['open']} undecided"
            )
            continue
        words = "within 5 % above" if is_above else "beyond 5 % below"
        told = ", ".join(f"{row[says]} {says}" for says in ("agree", "finer", "differ", "open"))
        print(f"{KINDS[kind]} {words}: {told}")


if __name__ == "__main__":
    main()
