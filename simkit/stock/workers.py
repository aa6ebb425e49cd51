"""Work shared out to threads, in pieces short enough to show progress and to be interrupted."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from queue import Empty, SimpleQueue

from simkit._jit import threads

WAKE = 0.05  # s between two looks for an interruption, where waiting alone cannot be interrupted

# Threads that wait for work, each at a queue of its own: to begin one takes 70 us, to wake one 15.
_free: list[SimpleQueue] = []


def _help(tasks: SimpleQueue) -> None:
    while True:
        tasks.get().run(tasks)


def _in_thread(work: _Work) -> SimpleQueue:
    """Have work done by a thread with nothing to do, by a new one if all are busy; return its queue."""
    try:
        tasks = _free.pop()
    except IndexError:
        tasks = SimpleQueue()
        threading.Thread(target=_help, args=(tasks,), daemon=True).start()
    tasks.put(work)
    return tasks


def _call_back(work: _Work, tasks: SimpleQueue) -> None:
    """Take work back that a thread did not come to."""
    try:
        found = tasks.get_nowait()
    except Empty:
        return
    if found is work:
        _free.append(tasks)
    else:  # it had done ours, and somebody else has asked for it since
        tasks.put(found)


if hasattr(os, "register_at_fork"):  # a process that is split off has none of them
    os.register_at_fork(after_in_child=_free.clear)


class _Work:
    """Jobs and how far they are; `changed` guards all numbers."""

    def __init__(self, job: Callable[[int], None], count: int, is_told: bool):
        self.job, self.count, self.is_told = job, count, is_told
        self.changed = threading.Condition()
        self.begun = self.done = 0
        self.failed: BaseException | None = None
        self.is_stopped = False

    def run(self, tasks: SimpleQueue | None = None) -> None:
        """Do jobs until there are none left; tasks: of the thread, which is free again then."""
        has_done = 0
        while True:
            with self.changed:
                self.done += has_done
                i = self.begun
                is_over = i >= self.count or self.is_stopped or self.failed is not None
                if is_over and tasks is not None:
                    _free.append(tasks)
                if has_done and (self.is_told or self.done == self.count):
                    self.changed.notify()
                if is_over:
                    return
                self.begun = i + 1
            try:
                self.job(i)
            except BaseException as failure:  # handed to the caller, whatever it is
                with self.changed:
                    self.failed = failure
                    if tasks is not None:
                        _free.append(tasks)
                    self.changed.notify()
                return
            has_done = 1

    def wait(self, told: int) -> int:
        """Wait for more jobs to be done than `told`, or for all where nobody is told; return how many."""
        wanted = told + 1 if self.is_told else self.count
        with self.changed:
            while self.failed is None and self.done < wanted:
                self.changed.wait(WAKE)
            if self.failed is not None:
                raise self.failed
            return self.done


def share(
    job: Callable[[int], None],
    count: int,
    after: Callable[[int], None] | None = None,
    is_short: bool = False,
) -> None:
    """Call job(0) to job(count - 1), each once, on as many threads as kernels use.

    Jobs begin in order, whichever thread is free takes the next; they must not depend on each other, and
    spend their time in kernels that let other threads run.  after(done): called in the calling thread
    with the number of jobs done, whenever that has grown.  is_short: the jobs are over in milliseconds, so
    that the calling thread takes its share of them instead of waiting: one thread less to wake.
    An exception in a job or in `after`, and an interruption from the keyboard, end the call at once (of
    short jobs when the one at hand is done); jobs not begun are left out, those running end on their own
    and touch nothing but their arrays.
    """
    workers = min(threads(), count) if count > 1 else 1
    if workers <= 1:
        for i in range(count):
            job(i)
            if after is not None:
                after(i + 1)
        return
    work, told, helpers = _Work(job, count, after is not None), 0, []
    try:
        for _ in range(workers - 1 if is_short else workers):
            helpers.append(_in_thread(work))
        if is_short:
            work.run()
        while told < count:
            told = work.wait(told)
            if after is not None:
                after(told)
    finally:
        with work.changed:
            work.is_stopped = True
        for tasks in helpers:
            _call_back(work, tasks)


PARTS = 8  # parts of a range for each thread, so that a costly one does not keep all waiting


def share_ranges(job: Callable[[int, int], None], count: int, least: int) -> None:
    """Call job(first, last) for parts of range(count), at least `least` long, as `share` does.

    A single part is done in the calling thread.
    """
    if count < 2 * least:  # the usual case of small work: asking for threads would take longer
        if count:
            job(0, count)
        return
    parts = max(min(PARTS * threads(), count // least), 1)
    share(lambda i: job(i * count // parts, (i + 1) * count // parts), parts)
