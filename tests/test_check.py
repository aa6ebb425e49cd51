"""What a check leaves behind."""

import gc
import weakref

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from tests.runs.some_jobs import write_two_sided


def test_check__frees_its_fields_at_once(tmp_path):
    """Without the collector of rings, which runs when it likes: a page or a watch holds no more than one."""
    job = read_job(write_two_sided(tmp_path))
    gc.collect()
    gc.disable()
    try:
        evidence, findings, _ = check(job, read_programs(job), 0.5)
        assert evidence.sweeps  # the proof between the samples was asked for
        held = [weakref.ref(one) for one in (evidence, evidence.field, evidence.target_grid)]
        del evidence, findings
        assert [one() for one in held] == [None, None, None]
    finally:
        gc.enable()
