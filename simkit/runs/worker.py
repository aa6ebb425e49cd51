"""A process that checks jobs for another one: orders as lines of JSON in, what happens as lines out.

It is started anew on every system, never forked, and ends when its orders do: also when the process that
gives them dies.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import signal
import sys
import threading
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems
from simkit.runs.limits import Most, Watch
from simkit.runs.unchecked import fault, keep_traceback, unusable

FRACTION_STEP = 0.02  # of a stage, between two lines about it


class _Teller:
    """Writes lines of JSON; also the progress of a check."""

    def __init__(self, stream):
        self._stream, self._lock, self._told = stream, threading.Lock(), 0.0

    def say(self, **what: Any) -> None:
        """Write one line."""
        line = json.dumps(what, ensure_ascii=True, allow_nan=False).encode("ascii") + b"\n"
        with self._lock:
            self._stream.write(line)
            self._stream.flush()

    def stage(self, name: str) -> None:
        """Begin a stage."""
        self._told = 0.0
        self.say(stage=name)

    def counted(self, done: int, of: int) -> None:
        """Say how many things of the stage are done."""
        self.say(counted=[done, of])

    def fraction(self, done: float) -> None:
        """Say how much of the stage is done, 0 to 1."""
        if done - self._told >= FRACTION_STEP:
            self._told = done
            self.say(fraction=float(done))


def work(orders, stream) -> None:
    """Carry out orders until they end.  orders: binary lines.  stream: binary, for what is said.

    An order has `warm` (compile what is not compiled yet; with `loaded`, load all that a check and its report
    need, too), or `job` (path), `cell`, `fresh`, `pictures`
    (folder or None) and `memory` (MB or None).  It may have `within`, the folder that the path and what is
    told of files are relative to, `report`, a file to write the report to, and `parts`, a folder for its
    pieces as JSON.  The result is then said as soon as it is known, before anything is drawn, and each piece
    when it is there: `part` is the name of its file, "report" at the end; `undrawn` tells why no more comes.
    The order `leave` ends the drawing of the order before it, after the picture that is begun.
    """
    teller = _Teller(stream)
    waiting: queue.Queue[bytes] = queue.Queue()
    left = threading.Event()

    def listen() -> None:
        for line in orders:
            if json.loads(line).get("leave"):
                left.set()
                continue
            left.clear()  # whatever was to be left was ordered before this
            waiting.put(line)
        os._exit(0)  # nobody wants the answer any more

    threading.Thread(target=listen, daemon=True).start()
    while True:
        order = json.loads(waiting.get())
        if order.get("warm"):
            from simkit.warm import warm_up

            warm_up(teller)
            if order.get("loaded"):
                _load(teller)
            teller.say(done=None)
            continue

        def over(words: str) -> None:
            teller.say(stopped=words)
            os._exit(2)

        with Watch(Most(memory=order["memory"]), over):
            told = _checked(order, teller, left)
        teller.say(done=told)


def _load(teller: _Teller) -> None:
    """Load kernels and modules now: the first check would wait a second for them."""
    import simkit.report.page.page
    import simkit.report.result
    import simkit.runs.one  # noqa: F401
    from simkit.program import fast
    from simkit.program.reader import use_compiled
    from simkit.warm import compile_all, warm_up_reading

    compile_all()
    warm_up_reading(teller)
    fast.warm_up()
    use_compiled()


def _draw(order: dict[str, Any], evidence, result: dict[str, Any], teller: _Teller, left) -> None:
    """Draw a report piece by piece.  What goes wrong here is said, and leaves the result as it is."""
    from simkit.report.page.page import pieces, put_together, text_of
    from simkit.report.whole_file import write_whole

    made, pictures = [], 0
    try:
        with contextlib.closing(pieces(evidence, result)) as drawing:
            for name, piece in drawing:
                made.append((name, piece))
                if name == "picture":
                    pictures += 1
                    name += f"-{pictures}"
                write_whole(Path(order["parts"]) / f"{name}.json", json.dumps(piece), "--report")
                teller.say(part=name)
                if left.is_set():
                    return
        write_whole(Path(order["report"]), text_of(put_together(made)), "--report")
        teller.say(part="report")
    except InputProblems as problems:
        teller.say(undrawn=problems.lines())
    except Exception:
        teller.say(undrawn=[f"a fault of simkit itself; {keep_traceback()}"])


def _checked(order: dict[str, Any], teller: _Teller, left: threading.Event) -> dict[str, Any]:
    from simkit.job.reader import read_job
    from simkit.runs.one import checked

    file = order["job"]
    pictures = None if order["pictures"] is None else Path(order["pictures"])

    def report(evidence, result: dict[str, Any]) -> None:
        teller.say(result=result)
        _draw(order, evidence, result, teller, left)

    try:
        if order.get("within"):
            os.chdir(order["within"])
        job = read_job(Path(file))
        return checked(
            job,
            order["cell"],
            teller,
            pictures=pictures,
            fresh=order["fresh"],
            report=report if order.get("report") else None,
        )
    except InputProblems as problems:
        return unusable(file, problems)
    except MemoryError:
        return fault(file, "the memory of this machine is not enough: use coarser cells (--cell)")
    except Exception:
        return fault(file, keep_traceback())


def main() -> None:
    """Work for the process at the other end of standard input and output."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the one that gives the orders is asked, and ends this one
    stream = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # whatever else is printed must not mix with it
    work(sys.stdin.buffer, stream)


if __name__ == "__main__":
    main()
