"""Preparing kernels: one process at a time, whatever becomes of the first, and how many are stored by now."""

import io
import os
import threading
import time

import pytest

from simkit import preparing
from simkit.cache import CHECKING, READING
from simkit.preparing import alone, counted, kernels_of, stored
from simkit.report.console import Stages
from simkit.stock import cut_kernels


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    monkeypatch.setattr(preparing, "BEAT", 0.01)
    monkeypatch.setattr(preparing, "STALE", 0.3)


def test_alone__a_second_one_waits_and_finds_it_done(tmp_path):
    has_begun, may_end, told, is_done, counts = threading.Event(), threading.Event(), [], [], []
    (tmp_path / f"{min(kernels_of())}-12.py311.nbi").touch()  # of the first, so far

    def first():
        with alone(CHECKING, lambda: True, told.append, tmp_path) as is_left:
            assert is_left
            has_begun.set()
            may_end.wait(10)
            time.sleep(0.5)  # longer than a lock without signs of life would count
            is_done.append(1)

    running = threading.Thread(target=first)
    running.start()
    assert has_begun.wait(10)
    may_end.set()
    tell = lambda *count: counts.append(count)  # noqa: E731
    with alone(CHECKING, lambda: not is_done, told.append, tmp_path, tell) as is_left:
        assert is_done == [1]  # it waited for the first to end
        assert not is_left
    running.join()
    assert told == ["another simkit prepares kernels for this machine: waiting for it"]
    assert set(counts) == {(1, len(kernels_of()))}
    assert [path.suffix for path in tmp_path.iterdir()] == [".nbi"]


def test_alone__takes_over_from_one_that_was_killed_and_from_one_that_failed(tmp_path):
    lock = tmp_path / f"{CHECKING}.lock"
    lock.touch()
    os.utime(lock, (time.time() - 1000, time.time() - 1000))
    started = time.monotonic()
    with alone(CHECKING, lambda: True, [].append, tmp_path) as is_left:
        assert is_left
        assert lock.exists()
    assert time.monotonic() - started < 5
    with pytest.raises(KeyboardInterrupt), alone(CHECKING, lambda: True, [].append, tmp_path):
        raise KeyboardInterrupt
    assert not lock.exists()
    # One killed a moment ago: its lock is young, and waited for no longer than it may live without a sign.
    lock.touch()
    with alone(CHECKING, lambda: True, [].append, tmp_path) as is_left:
        assert is_left


def test_alone__a_folder_that_cannot_be_written_stops_nobody(tmp_path):
    with alone(CHECKING, lambda: True, [].append, tmp_path / "none") as is_left:
        assert is_left


def test_kernels_of__are_all_that_the_compiler_stores(tmp_path):
    names = kernels_of()
    # What the compiler made of one module, as an outside list of its kernels.
    made = {f"cut_kernels.{name}" for name, one in vars(cut_kernels).items() if hasattr(one, "py_func")
            and one.py_func.__module__ == cut_kernels.__name__}  # fmt: skip
    assert made
    assert made <= names
    assert not names & kernels_of(READING)
    assert any(name.startswith("fast_kernels.") for name in kernels_of(READING))
    some = sorted(names)[:3]
    for name in some[:2]:
        (tmp_path / f"{name}-12.py311.nbi").touch()
    assert stored(names, tmp_path) == 2


def test_counted__is_told_while_the_block_runs_and_in_a_log_at_quarters(monkeypatch):
    count = iter(range(1000))
    monkeypatch.setattr(preparing, "stored", lambda names: min(next(count), len(names)))
    log = io.StringIO()
    stages = Stages(None, log=log)
    stages.stage("preparing kernels for this machine, once only")
    with counted(set("abcdefgh"), stages.counted):
        time.sleep(0.6)
    words = "preparing kernels for this machine, once only"
    lines = log.getvalue().splitlines()
    assert lines == [f"{words} ...", *(f"{words}, {done} of 8" for done in (2, 4, 6, 8))]
