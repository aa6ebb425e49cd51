"""Verdicts on coarse cells against fine cells everywhere (benchmarks/verdict_proof.py has many more)."""

import pytest

from tests.verdict_jobs import VerdictJob, differs


# 5058: at the corner of a zone the part is farther from the air than the cut is from the part.
@pytest.mark.parametrize("seed", [*range(1000, 1012), 5058])
def test_verdict__on_coarse_cells_is_that_of_fine_cells_everywhere(seed):
    job = VerdictJob(seed)
    ranges, _ = job.fine()
    limits = job.limits(ranges)
    verdicts, _ = job.coarse(limits)
    assert [differs(*row) for row in zip(verdicts, ranges, limits, strict=True)] == ["", ""]
