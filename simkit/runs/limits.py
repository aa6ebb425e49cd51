"""Limits on the time and the memory of a check, watched from a thread beside it."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LOOK = 0.1  # s between two looks
_MEGABYTE = 1e6


@dataclass(frozen=True)
class Most:
    """What a check may take: seconds, and memory in MB; None: as much as it needs."""

    seconds: float | None = None
    memory: float | None = None

    def seconds_words(self) -> str:
        """Return what is said when the time is over."""
        return f"it took longer than {self.seconds:g} s (--most-seconds)"

    def memory_words(self) -> str:
        """Return what is said when there is too little memory."""
        return f"it needed more than {self.memory:g} MB of memory (--most-memory)"


NO_LIMITS = Most()


class Watch:
    """Watches a block; calls `over(words)` once, from its own thread, when a limit is passed."""

    def __init__(self, most: Most, over: Callable[[str], None]):
        self._most, self._over = most, over
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Watch:
        if self._most != NO_LIMITS:
            self._thread.start()
        return self

    def __exit__(self, *_) -> None:
        self._ended.set()
        if self._thread.is_alive() and threading.current_thread() is not self._thread:
            self._thread.join()

    def _look(self) -> None:
        started, most = time.monotonic(), self._most
        while True:
            if most.memory is not None and memory_used() > most.memory * _MEGABYTE:
                self._over(most.memory_words())
                return
            if most.seconds is not None and time.monotonic() - started > most.seconds:
                self._over(most.seconds_words())
                return
            if self._ended.wait(LOOK):
                return


def memory_used() -> float:
    """Return the memory that this process holds, bytes (on macOS: the most it held so far); 0 if unknown."""
    if sys.platform == "win32":
        return _windows_memory()
    with contextlib.suppress(OSError, ValueError, IndexError):
        pages = Path("/proc/self/statm").read_text("ascii").split()[1]
        return float(pages) * os.sysconf("SC_PAGE_SIZE")
    with contextlib.suppress(ImportError):
        import resource

        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return float(most) * (1 if sys.platform == "darwin" else 1024)
    return 0.0


class _Counters(ctypes.Structure):
    """PROCESS_MEMORY_COUNTERS of the Windows API."""

    _fields_ = [
        ("cb", ctypes.c_uint32),
        ("page_faults", ctypes.c_uint32),
        *((name, ctypes.c_size_t) for name in ("peak", "now", "a", "b", "c", "d", "paged", "most_paged")),
    ]


def _windows_memory() -> float:
    counters = _Counters(cb=ctypes.sizeof(_Counters))
    kernel = ctypes.WinDLL("kernel32", use_last_error=True)
    kernel.GetCurrentProcess.restype = ctypes.c_void_p
    kernel.K32GetProcessMemoryInfo.argtypes = [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_uint32]
    handle = kernel.GetCurrentProcess()
    done = kernel.K32GetProcessMemoryInfo(handle, ctypes.byref(counters), counters.cb)
    return float(counters.now) if done else 0.0
