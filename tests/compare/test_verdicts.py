"""Verdicts on coarse cells against fine cells everywhere (benchmarks/verdict_proof.py has many more)."""

import numpy as np
import pytest

from simkit.frames import IDENTITY
from simkit.stock.cut import cut_heights
from tests.verdict_jobs import VerdictJob, differs


# 5058: at the corner of a zone the part is farther from the air than the cut is from the part.
# 2000 on: with knives, spikes and pits on the target.
@pytest.mark.parametrize("seed", [*range(1000, 1012), 5058, *range(2000, 2010)])
def test_verdict__on_coarse_cells_is_that_of_fine_cells_everywhere(seed):
    job = VerdictJob(seed, is_plain=not 2000 <= seed < 5000)
    ranges, _ = job.fine()
    limits = job.limits(ranges)
    verdicts, _ = job.coarse(limits)
    assert [differs(*row) for row in zip(verdicts, ranges, limits, strict=True)] == ["", ""]


def test_a_knife_edge_that_is_gone__is_told():
    """Two faces of 83 degrees meet 0.42 mm over the cut, in a strip 0.1 mm wide between all samples.

    By hand: the ridge of job 245 lies at y = 42.5 on the target's grid of 0.5 mm, 9.2225 mm high; the cut
    is 8.800 mm high there.
    """
    job = VerdictJob(245, 4, is_plain=True)
    x = np.linspace(35.5, 36.5, 11)
    edge = job.grid.heights(np.column_stack([x, np.full(11, 42.5)]))[1]
    cut = cut_heights(
        np.column_stack([x, np.full(11, 42.5)]), job.reads[0][0][1].moves, job.job.cutters, IDENTITY, 12.0
    )[0]
    gone = float((edge - cut).max())
    assert gone == pytest.approx(0.42, abs=0.01)
    for limit in (0.2258, 0.3, 0.37):
        (severity, value, bound), _ = job.coarse([limit, 9.0])[0]
        assert severity == "beyond"
        assert abs(value - gone) <= bound


def test_a_groove_near_its_limit__is_decided_to_a_tenth_of_a_thousandth():
    """The tip of a vee runs straight: along its way the gouge is the tip's distance from the target.

    The move that goes deepest in this job is asked at every 0.000007 mm of its way.
    """
    job = VerdictJob(122, 2, is_plain=True)
    moves = job.reads[0][0][1].moves
    row = int(
        np.argmin(np.where(moves.tool == 2, np.hypot(*(moves.start[:, :2] - [39.45, 12.29]).T), np.inf))
    )
    tip = moves.start[row] + np.linspace(0, 1, 100_001)[:, None] * (moves.end[row] - moves.start[row])
    deepest = float(job.grid.distance(tip, 1).max())
    assert deepest == pytest.approx(0.3482, abs=1e-4)
    for off, expected in ((-1e-4, "beyond"), (1e-4, "")):
        (severity, _, _), _ = job.coarse([deepest + off, 9.0])[0]
        assert severity == expected


def test_a_tip_near_its_limit__is_decided_to_a_twentieth_of_a_thousandth():
    """A spike's tip over a level floor: it is as far off as it stands above what cuts there.

    Samples 0.00005 mm beside the tip of this job lie 0.0002 mm below it.
    """
    job = VerdictJob(101)
    tip = max((one for one in job.narrow if one.kind == "spike"), key=lambda one: one.height).crest[0]
    cut = cut_heights(tip[None, :2], job.reads[0][0][1].moves, job.job.cutters, IDENTITY, 12.0)[0]
    gone = float(tip[2] - cut[0])
    assert gone == pytest.approx(0.49986, abs=1e-5)
    for off, expected in ((-5e-5, "beyond"), (2e-5, "")):
        (severity, _, _), _ = job.coarse([gone + off, 9.0])[0]
        assert severity == expected
