"""What is printed on standard output: it gets there, or that it did not is told."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable

from simkit.errors import InputProblems, Place, Problem


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


def _let_go() -> None:
    """See to it that the interpreter does not complain of what is left to write while it ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
