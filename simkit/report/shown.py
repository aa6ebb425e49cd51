"""What is printed on standard output: it gets there, or that it did not is told."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem

LOG_WIDTH = 140  # characters: narrow columns would only break the lines of a log


def shown(show: Callable[[], None]) -> bool:
    """Call something that prints on standard output; return whether somebody reads there.

    A reader that went away is no fault: the verdict stands.
    Raises InputProblems when it cannot be written, as on a full disk: a verdict that nobody sees is none.
    """
    try:
        show()
        sys.stdout.flush()
    except BrokenPipeError:
        _let_go()
        return False
    except OSError as reason:
        _let_go()
        place, expected = Place("standard output"), "a place that can be written"
        remedy = "free some space, or send it elsewhere"
        raise InputProblems(Problem(place, f"'{reason.strerror}'", expected, remedy)) from None
    return True


def width() -> int:
    """Return how many characters a line may have: the terminal's; a log file has no width of its own."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else LOG_WIDTH


def wrapped(text: str, width: int) -> str:
    """Return a text with lines no longer than a width, broken between words and set in below their start."""
    lines = []
    for line in text.splitlines():
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        broken = textwrap.wrap(
            line, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
        )
        lines += broken if len(line) > width and broken else [line]
    return "\n".join(lines)


def wrote(path: Path, what: str = "") -> None:
    """Say on standard error that a file was written.  what: before its name, such as "3 pictures in"."""
    with contextlib.suppress(OSError):
        sys.stderr.write(f"wrote {what}{' ' if what else ''}{path}\n")


def _let_go() -> None:
    """See to it that the interpreter does not complain of what is left to write while it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
