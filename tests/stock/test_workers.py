"""Work in threads: every job once, failures and interruptions at once."""

import os
import signal
import subprocess
import sys
import threading

import numba
import numpy as np
import pytest

from simkit.stock.workers import share, share_ranges

CHILD = """
import numpy as np
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice

rng = np.random.default_rng(0)
places = np.column_stack([rng.uniform(0, 100, (400_000, 2)), rng.uniform(9, 10, 400_000)])
moves = make_moves(start=places, end=places + [0.4, 0, 0], tool=np.ones(400_000))
told = []

def progress(part):
    told.append(part)  # first: the interruption may come while it prints
    if len(told) == 1:
        print("begun", flush=True)

try:
    cut(blank_field(blank_lattice(100, 100, 0.1), 100, 100, 20), moves, {1: Cutter(1, "ball", 8.0)}, IDENTITY,
        progress=progress, is_plain=True)
    print("ended")
except KeyboardInterrupt:
    print("stopped", told[-1] < 0.95)
"""


@pytest.mark.parametrize("count", [0, 1, 7, 1000])
def test_share_ranges__covers_the_range_once(count):
    done = np.zeros(count, np.int64)

    def job(first, last):
        assert last - first >= min(count, 5)
        done[first:last] += 1

    share_ranges(job, count, 5)
    assert (done == 1).all()


def test_share__does_every_job_once_and_tells_of_it():
    done, told, lock = [], [], threading.Lock()

    def job(i):
        with lock:
            done.append(i)

    share(job, 200, told.append)
    assert sorted(done) == list(range(200))
    assert told == sorted(told)
    assert told[-1] == 200
    share(job, 0, told.append)
    assert told[-1] == 200


@pytest.mark.parametrize("threads", [1, 2])
def test_share__a_failure_ends_it(threads):
    before = numba.get_num_threads()
    done = []

    def job(i):
        if i == 3:
            raise ValueError("three")
        done.append(i)

    try:
        numba.set_num_threads(min(threads, before))
        with pytest.raises(ValueError, match="three"):
            share(job, 10_000)
    finally:
        numba.set_num_threads(before)
    assert len(done) < 10_000


@pytest.mark.skipif(sys.platform == "win32", reason="no signals to a child there")
def test_cut__an_interruption_ends_it_at_once():
    child = subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True, env=os.environ)
    assert child.stdout.readline().strip() == "begun"
    child.send_signal(signal.SIGINT)
    rest = child.communicate(timeout=120)[0]
    assert rest.strip() == "stopped True"
    assert child.returncode == 0
