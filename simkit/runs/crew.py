"""Several workers side by side, each a process of its own; what they say is handed to one watcher."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from typing import Any

from simkit.blas import ONE_THREAD
from simkit.cache import is_cold
from simkit.runs.limits import NO_LIMITS, Most
from simkit.runs.unchecked import fault, stopped

WAKE = 0.1  # s between two looks for an interruption or the end of the time


class Crew:
    """Carries out orders with up to `count` workers; the results come in the order of the orders.

    watch: has start(worker, job), stage(worker, name), fraction(worker, done) and end(worker, result),
    called from one thread at a time.
    """

    def __init__(self, count: int, most: Most, watch):
        self._count, self._most, self._watch = count, most, watch
        self._lock = threading.Lock()
        self._processes: set[subprocess.Popen] = set()
        self._next, self._is_over = 0, False
        self._failure: BaseException | None = None

    def run(self, orders: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
        """Return one record for each order: of the check, or of why there is none.

        Interrupting it ends all workers.
        """
        self._count = max(1, min(self._count, len(orders)))
        results: list[dict[str, Any] | None] = [None] * len(orders)
        ready = threading.Event()
        if not is_cold():
            ready.set()  # else the first worker compiles while the others wait
        threads = [
            threading.Thread(target=self._serve, args=(number, orders, results, ready), daemon=True)
            for number in range(self._count)
        ]
        try:
            for thread in threads:
                thread.start()
            for thread in threads:
                while thread.is_alive():
                    thread.join(WAKE)
        finally:
            self._is_over = True
            ready.set()
            with self._lock:
                for process in self._processes:
                    process.kill()
        if self._failure is not None:
            raise self._failure
        return [result for result in results if result is not None]

    def _serve(self, number: int, orders, results, ready: threading.Event) -> None:
        """Let one worker take orders until there are no more."""
        worker = None
        try:
            if number > 0:
                ready.wait()
            while True:
                with self._lock:
                    if self._is_over or self._next >= len(orders):
                        return
                    index = self._next
                    self._next += 1
                job = orders[index]["job"]
                self._say("start", number, job)
                if worker is None:
                    worker = self._hire()
                if not ready.is_set():
                    _, is_gone = worker.ask({"warm": True}, NO_LIMITS, number, self._say)
                    ready.set()
                    if is_gone:  # the next one compiles what is missing, or tells why it cannot
                        self._dismiss(worker)
                        worker = self._hire()
                result, is_gone = worker.ask(orders[index], self._most, number, self._say)
                if is_gone:
                    self._dismiss(worker)
                    worker = None
                results[index] = result
                self._say("end", number, result)
        except BaseException as failure:  # handed to the caller, whatever it is
            self._failure = failure
            self._is_over = True
            ready.set()
        finally:
            if worker is not None:
                self._dismiss(worker)

    def _say(self, what: str, number: int, value: Any) -> None:
        with self._lock:
            getattr(self._watch, what)(number, value)

    def _hire(self) -> Worker:
        with self._lock:
            if self._is_over:
                raise InterruptedError
            worker = Worker(max(1, cores() // self._count))
            self._processes.add(worker.process)
        return worker

    def _dismiss(self, worker: Worker) -> None:
        worker.end()
        with self._lock:
            self._processes.discard(worker.process)


class Worker:
    """One process and what is said with it.  threads: how many it may use."""

    def __init__(self, threads: int):
        try:
            self._errors = tempfile.TemporaryFile()  # noqa: SIM115  (closed in `end`)
        except OSError:  # nowhere to keep its last words
            self._errors = open(os.devnull, "w+b")  # noqa: SIM115
        environment = ONE_THREAD | os.environ | {"NUMBA_NUM_THREADS": str(threads)}
        self.process = subprocess.Popen(
            [sys.executable, "-P", "-m", "simkit.runs.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            env=environment,
        )
        self._said: queue.Queue[bytes | None] = queue.Queue()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        with self.process.stdout as said, contextlib.suppress(OSError, ValueError):
            for line in said:
                self._said.put(line)
        self._said.put(None)

    def ask(self, order: dict[str, Any], most: Most, number: int, say) -> tuple[dict[str, Any] | None, bool]:
        """Return what came of an order, and whether the worker is gone."""
        job = order.get("job", "")
        ends = None if most.seconds is None else time.monotonic() + most.seconds
        with contextlib.suppress(OSError):  # it died; that is told below
            self.process.stdin.write(json.dumps(order).encode("ascii") + b"\n")
            self.process.stdin.flush()
        while True:
            if ends is not None and time.monotonic() > ends:
                self.process.kill()
                return stopped(job, most.seconds_words()), True
            try:
                line = self._said.get(timeout=WAKE)
            except queue.Empty:
                continue
            if line is None:
                return fault(job, self._last_words()), True
            told = json.loads(line)
            if "stopped" in told:
                return stopped(job, most.memory_words()), True
            if "done" in told:
                return told["done"], False
            [(what, value)] = told.items()
            say(what, number, value)

    def leave(self) -> None:
        """Let the worker draw no more of the report it draws, if it draws one."""
        with contextlib.suppress(OSError):
            self.process.stdin.write(b'{"leave": true}\n')
            self.process.stdin.flush()

    def _last_words(self) -> str:
        status = self.process.wait()
        self._errors.seek(0)
        lines = self._errors.read().decode("utf-8", errors="replace").strip().splitlines()
        last = f"; it said: {lines[-1]}" if lines else ""
        return f"the process that checked it ended with status {status}{last}"

    def end(self) -> None:
        """End the process, if it has not ended yet."""
        self.process.kill()
        self.process.wait()
        self._listener.join()
        for stream in (self.process.stdin, self._errors):
            with contextlib.suppress(OSError):
                stream.close()


def cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
