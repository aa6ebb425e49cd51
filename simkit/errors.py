"""Problems a user can fix, each with its place, what was found, what was expected and what to do."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Place:
    """Where a problem stands: a file, and in it a line and column (both from 1) or a key path."""

    file: str
    line: int | None = None
    column: int | None = None
    key: str | None = None

    def __str__(self) -> str:
        parts = [self.file]
        if self.line is not None:
            parts.append(str(self.line))
            if self.column is not None:
                parts.append(str(self.column))
        text = ":".join(parts)
        return f"{text} [{key_words(self.key)}]" if self.key else text


_QUOTED, _INDEX = re.compile(r'("[^"]*")'), re.compile(r"\[(\d+)\](\.?)")


def key_words(key: str) -> str:
    """Return a key path as a person counts: "setups[1].pins[0]" is "setups #2, pins #1"."""
    parts = _QUOTED.split(key)
    parts[::2] = [
        _INDEX.sub(lambda found: f" #{int(found[1]) + 1}{', ' if found[2] else ''}", part)
        for part in parts[::2]
    ]
    return "".join(parts)


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that keeps the input from being used.

    `found` and `expected` are read after those two words, `remedy` is a whole clause in the
    imperative: "replace the letter O by a zero".
    """

    place: Place
    found: str
    expected: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.place}: found {self.found}, expected {self.expected}; {self.remedy}"


class InputProblems(Exception):
    """The input cannot be used; carries every problem found so far.  Exit status 2.

    warnings: what would only have been warned of, with a `place` and a `text`; told along, so that a person
    can mend all of it in one go.
    """

    status = 2

    def __init__(self, problems: Iterable[Problem] | Problem, warnings: Iterable = ()):
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        self.warnings = tuple(warnings)
        super().__init__("\n".join(self.lines()))

    def lines(self) -> list[str]:
        """Return problems and warnings as lines of text: by file in the order given, then by line."""
        told = [(problem.place, str(problem)) for problem in self.problems]
        told += [(warning.place, f"{warning.place}: warning: {warning.text}") for warning in self.warnings]
        if not self.warnings:
            return [text for _, text in told]
        files = {place.file: k for k, (place, _) in reversed(list(enumerate(told)))}
        told.sort(key=lambda one: (files[one[0].file], one[0].line or 0, one[0].column or 0))
        return [text for _, text in told]


class Interrupted(Exception):
    """The user asked to stop (Ctrl-C); nothing half-written is left behind.  Exit status 130."""

    status = 130


class ShapeError(ValueError):
    """An array handed to a public function has the wrong shape or type: a mistake of the caller."""


def nearest_word(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like `word`, or None when none is close."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return close[0] if close else None
