"""Work shared out to threads, in pieces short enough to show progress and to be interrupted."""

from __future__ import annotations

import threading
from collections.abc import Callable

from simkit._jit import threads

WAKE = 0.05  # s between two looks for an interruption, where waiting alone cannot be interrupted


def share(job: Callable[[int], None], count: int, after: Callable[[int], None] | None = None) -> None:
    """Call job(0) to job(count - 1), each once, on as many threads as kernels use.

    Jobs begin in order, whichever thread is free takes the next; they must not depend on each other, and
    spend their time in kernels that let other threads run.  after(done): called in the calling thread
    with the number of jobs done, whenever that has grown.
    An exception in a job or in `after`, and an interruption from the keyboard, end the call at once; jobs
    not begun are left out, those running end on their own and touch nothing but their arrays.
    """
    workers = min(threads(), count) if count > 1 else 1
    if workers <= 1:
        for i in range(count):
            job(i)
            if after is not None:
                after(i + 1)
        return
    lock = threading.Condition()
    state = {"next": 0, "done": 0, "failed": None, "stopped": False}

    def work() -> None:
        while True:
            with lock:
                i = state["next"]
                if i >= count or state["stopped"] or state["failed"] is not None:
                    return
                state["next"] = i + 1
            try:
                job(i)
            except BaseException as failure:  # handed to the caller, whatever it is
                with lock:
                    state["failed"] = failure
                    lock.notify()
                return
            with lock:
                state["done"] += 1
                lock.notify()

    for _ in range(workers):
        threading.Thread(target=work, daemon=True).start()
    told = 0
    try:
        while told < count:
            with lock:
                while state["done"] == told and state["failed"] is None:
                    lock.wait(WAKE)
                if state["failed"] is not None:
                    raise state["failed"]
                told = state["done"]
            if after is not None:
                after(told)
    finally:
        with lock:
            state["stopped"] = True


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
