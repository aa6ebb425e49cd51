"""One process that checks for every desk of a page, one check at a time; it can be stopped at any moment."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from simkit.cache import is_cold
from simkit.errors import Interrupted
from simkit.runs.crew import Worker, cores
from simkit.runs.limits import NO_LIMITS


class Checker:
    """Hands orders to a worker that stays warm between them.  say(what, value): what a worker tells."""

    def __init__(self, cell: float):
        self._cell = cell
        self._turn = threading.Lock()  # one check at a time
        self._lock = threading.Lock()  # for what follows
        self._worker: Worker | None = None
        self._owner: object | None = None
        self._is_over = False

    def check(
        self, owner: object, folder: Path, job: str, out: Path, say: Callable[[str, Any], None], is_wanted
    ) -> dict[str, Any]:
        """Return the record of a check: a result, or why there is none.

        owner: who may stop it.  folder: where the files lie.  job: name of the job file there.  out: folder
        for the report and its pieces.  is_wanted() says whether it is still asked for when its turn comes.
        Raises Interrupted when it was stopped.
        """
        with self._turn:
            with self._lock:
                if self._is_over or not is_wanted():
                    raise Interrupted
                if self._worker is None:
                    self._worker = Worker(cores())
                worker, self._owner = self._worker, owner
            is_gone = True
            try:
                if is_cold():
                    _, is_gone = worker.ask(
                        {"warm": True}, NO_LIMITS, 0, lambda *told: _say_warming(say, *told)
                    )
                order = {"job": job, "cell": self._cell, "fresh": False, "pictures": None, "memory": None}
                order |= {
                    "within": str(folder),
                    "report": str(out / "report.html"),
                    "parts": str(out),
                }
                record, is_gone = worker.ask(order, NO_LIMITS, 0, lambda what, _, value: say(what, value))
            finally:
                with self._lock:
                    self._owner = None
                    if is_gone:
                        worker.end()
                        self._worker = None
            if not is_wanted():
                raise Interrupted
            return record

    def warm(self) -> None:
        """Start the process before it is needed, from a thread of its own."""
        with self._turn:
            with self._lock:
                if self._is_over or self._worker is not None or is_cold():
                    return  # to compile takes minutes, and a check says so
                worker = self._worker = Worker(cores())
            order = {"warm": True, "loaded": True}
            _, is_gone = worker.ask(order, NO_LIMITS, 0, lambda what, _, value: None)
            with self._lock:
                if is_gone:
                    worker.end()
                    self._worker = None

    def leave(self, owner: object) -> None:
        """Let no more be drawn of what an owner has checked: what is begun is ended, the process stays."""
        with self._lock:
            if self._owner is owner and self._worker is not None:
                self._worker.leave()

    def stop(self, owner: object) -> None:
        """End the check of an owner, if it is the one that runs."""
        with self._lock:
            if self._owner is owner and self._worker is not None:
                self._worker.process.kill()

    def end(self) -> None:
        """End the process; no check is taken any more."""
        with self._lock:
            self._is_over = True
            if self._worker is not None:
                self._worker.process.kill()
        with self._turn, self._lock:  # whoever waited on it has seen the end
            if self._worker is not None:
                self._worker.end()
                self._worker = None


def _say_warming(say: Callable[[str, Any], None], what: str, _: int, value: Any) -> None:
    """Hand on what a worker tells while it prepares kernels, which is no part of a check."""
    if what in ("stage", "counted"):
        say("preparing" if what == "stage" else what, value)
