"""Kernels prepared once for a machine: how many are stored by now, and one process at a time that does it."""

from __future__ import annotations

import contextlib
import os
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from simkit.cache import CACHE_FOLDER, CHECKING

BEAT = 0.5  # s between two signs of life of the process that prepares
STALE = 60.0  # s without one: that process was killed, or its machine stopped
LONGEST = 1800.0  # s: nobody waits longer for another process
_PACKAGE = Path(__file__).parent
_KERNEL = re.compile(r"^@\w*kernel\b.*\n(?:@.*\n)*def (\w+)", re.MULTILINE)


def kernels_of(part: str = CHECKING) -> set[str]:
    """Return the names of all kernels that CHECKING or READING compiles, as the stored ones are called."""
    return {
        f"{path.stem}.{name}"
        for path in sorted(_PACKAGE.rglob("*_kernels.py"))
        if (path.parent.name == "program") != (part == CHECKING)
        for name in _KERNEL.findall(path.read_text("utf-8"))
    }


def stored(names: set[str], folder: Path = CACHE_FOLDER) -> int:
    """Return how many of some kernels are stored."""
    return len(names & {path.name.rsplit("-", 1)[0] for path in folder.rglob("*.nbi")})


@contextmanager
def alone(
    part: str,
    is_left: Callable[[], bool],
    begin: Callable[[str], None],
    folder: Path = CACHE_FOLDER,
    tell: Callable[[int, int], None] | None = None,
) -> Iterator[bool]:
    """Let one process prepare a part; others wait until it has, or take over when it is gone.

    is_left(): whether anything is left to prepare, which is what this yields when its turn has come.
    begin(words): told what this process does meanwhile.  tell: how many kernels the other has stored, of how
    many, as `counted` has it.
    A folder that cannot be written stops nobody: each then prepares for itself.
    """
    lock = folder / f"{part}.lock"
    has_waited, since, names = False, time.monotonic(), kernels_of(part)
    while not (is_mine := _take(lock)):
        if not is_left():
            break
        if _is_stale(lock):
            with contextlib.suppress(OSError):
                lock.unlink()
            continue
        if time.monotonic() - since > LONGEST:
            break
        if not has_waited:
            begin("another simkit prepares kernels for this machine: waiting for it")
            has_waited = True
        if tell is not None:
            tell(stored(names, folder), len(names))
        time.sleep(BEAT)
    if not is_mine:
        yield is_left()
        return
    is_done = threading.Event()
    beating = threading.Thread(target=_beat, args=(lock, is_done), daemon=True)
    beating.start()
    try:
        yield is_left()
    finally:
        is_done.set()
        beating.join()
        with contextlib.suppress(OSError):
            lock.unlink()


@contextmanager
def counted(names: set[str], tell: Callable[[int, int], None] | None) -> Iterator[None]:
    """Tell how many of some kernels are stored, again and again while the block runs; None: nobody."""
    if tell is None:
        yield
        return
    is_done = threading.Event()

    def watch() -> None:
        while not is_done.wait(BEAT):
            tell(stored(names), len(names))

    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    try:
        yield
    finally:
        is_done.set()
        watching.join()


def _take(lock: Path) -> bool:
    """Return whether this process may prepare: it holds the lock, or there can be none."""
    try:
        os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
    except FileExistsError:
        return False
    except OSError:
        return True
    return True


def _is_stale(lock: Path) -> bool:
    try:
        return abs(time.time() - lock.stat().st_mtime) > STALE
    except OSError:
        return False  # it is gone: the next try takes it


def _beat(lock: Path, is_done: threading.Event) -> None:
    while not is_done.wait(BEAT):
        with contextlib.suppress(OSError):
            os.utime(lock)
