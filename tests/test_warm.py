"""A thumbnail compiles everything: a real check afterwards compiles nothing."""

from pathlib import Path

import numba.core.event as event

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.warm import compile_all

SPOILT = Path(__file__).parents[1] / "samples" / "spoilt"


class Compiled(event.Listener):
    def __init__(self):
        self.names = []

    def on_start(self, event):
        self.names.append(event.data["dispatcher"].py_func.__qualname__)

    def on_end(self, event):
        pass


def test_compile_all__leaves_nothing_to_compile_for_a_check():
    told = []
    compile_all(told.append)
    assert told
    assert told == sorted(told)
    assert 0 < told[-1] <= 1
    listener = Compiled()
    with event.install_listener("numba:compile", listener):
        for name in ("no_rest_pass", "second_zero_off"):
            job = read_job(SPOILT / name / "job.toml")
            check(job, read_programs(job), 0.5)
    assert listener.names == []
