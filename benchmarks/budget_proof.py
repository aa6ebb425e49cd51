"""Does the budget say what full re-cuts say?  A Monte Carlo of a small job, changed as `simkit whatif` does.

Run: python benchmarks/budget_proof.py [CHANGES [SEED [PLANED [EDGES [RIMS]]]]]
For each change (shift, turn, height, thickness at random) the budget says the worst gouge, leftover and
witness step, without cutting.  Then the changed job is cut and checked anew twice, with limits 5 % of the
stated ones above these values, where all must be within, and with limits as much below, where all must be
beyond: a check proves its verdicts, its values it tells only to 0.02 mm.  Upright walls it samples at a
sixteenth of a cell: what does not agree is cut once more on finer cells, and told if it still does not.
So do PLANED changes of each of five jobs in which a face is planed between the cuts, by an error of what that
leaves beside the others; some of it so large that a planed face goes into the part.
And EDGES changes of each of six jobs in which sharp edges and corners decide, of either side or between both,
and RIMS of each of eight more between both: of 20 to 70 degrees, the other way up, and round.
What stands out of the outer wall is left out of leftover (cells as coarse as these do not show it; the
witness step, which is compared, says the same there; where they do show it, that is told as `wall`).
"""

import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from simkit.budget.rows import KINDS, WALL
from tests import budget_edge_job, budget_job, budget_planed_job
from tests.budget_recuts import Recuts, compared

SAYS = ("agree", "finer", "differ", "open", "wall")
MOST = np.array([0.25, 0.25, 0.5, 0.12, 0.12])  # mm and degrees


def changes(count, seed):
    """Return changes (count, 5): half of them of one or two parts alone, so that each kind has its turn."""
    rng = np.random.default_rng(seed)
    size = rng.uniform(-1, 1, (count, 5)) * MOST
    alone = rng.random((count, 5)) < 0.4
    size[: count // 2] *= alone[: count // 2]
    return size * rng.choice([0.4, 1.0], (count, 1))


def planing_changes(count, seed):
    """Return changes (count, 6), the last of what a step leaves.

    A third of that alone, up to 0.12 mm; a third of all up to 0.25 mm of it, a third up to 0.7.
    """
    rng = np.random.default_rng(seed)
    plain = changes(count, seed + 1)
    planed = rng.uniform(-1, 1, count) * np.resize([0.12, 0.25, 0.7], count)
    plain[::3] = 0.0
    return np.column_stack([plain, planed])


def proof(name, job, tried):
    """Compare what the budget of a job says of changes with what full re-cuts do, and print it."""
    counts, started = {}, time.perf_counter()
    for number, change in enumerate(tried, 1):
        for kind, is_above, says in compared(job, change):
            row = counts.setdefault((kind, is_above), dict.fromkeys(SAYS, 0))
            row[says] += 1
            if says == "differ":
                asked = job.asked(change)[kind]
                words = "beyond a limit above" if is_above else "within a limit below"
                print(f"{KINDS[kind]} {words} {asked:.4f}: {change.round(4).tolist()}", flush=True)
        if number % 25 == 0:
            print(f"{2 * number} re-cuts, {time.perf_counter() - started:.0f} s", flush=True)
    print(f"{name}: {2 * len(tried)} re-cuts")
    for (kind, is_above), row in sorted(counts.items()):
        if kind == WALL:
            told = f"{row['agree']} verdicts agree, {row['differ']} differ, {row['open']} undecided"
            print(f"  thin-wall: {told}")
            continue
        words = "within 5 % above" if is_above else "beyond 5 % below"
        told = ", ".join(f"{row[says]} {says}" for says in SAYS if row[says] or says != "wall")
        print(f"  {KINDS[kind]} {words}: {told}", flush=True)


def main() -> None:
    """Print the comparisons."""
    count, seed, planed, edges, rims = (
        int(a) for a in [*sys.argv[1:], *("250", "1", "15", "15", "8")[len(sys.argv) - 1 :]]
    )
    if count:
        with tempfile.TemporaryDirectory() as folder:
            proof("not planed", Recuts(budget_job.write(Path(folder))), changes(count, seed))
    for nth, (name, write) in enumerate(budget_planed_job.KINDS.items() if planed else ()):
        with tempfile.TemporaryDirectory() as folder:
            tried = planing_changes(planed, seed + 10 * nth)
            proof(f"planed, {name}", Recuts(write(Path(folder))), tried)
    jobs = [(name, write, edges) for name, write in budget_edge_job.KINDS.items()]
    jobs += [(name, write, rims) for name, write in budget_edge_job.RIMS.items()]
    for nth, (name, write, several) in enumerate(jobs):
        if several:
            with tempfile.TemporaryDirectory() as folder:
                tried = changes(several, seed + 100 + 10 * nth)
                proof(f"edges, {name}", Recuts(write(Path(folder))), tried)


if __name__ == "__main__":
    main()
