"""Letters that look like digits, typed in a number: O for a zero, l or I for a one."""

from __future__ import annotations

import re

_DIGITS = {"O": "0", "o": "0", "l": "1", "I": "1"}
_NAMES = {"0": "a zero", "1": "a one"}
_NUMBER = re.compile(r"[+-]?(\d[\d_]*\.?\d*|\.\d+)")
_RUN = re.compile(r"[\w.+-]+")


def mended(word: str) -> str | None:
    """Return a word as the number that is meant, None where it holds no such letter or is none with it."""
    number = "".join(_DIGITS.get(mark, mark) for mark in word)
    return number if number != word and _NUMBER.fullmatch(number) else None


def letters_remedy(word: str) -> str:
    """Return what to do about the letters of a word that `mended` knows."""
    marks = dict.fromkeys(mark for mark in word if mark in _DIGITS)
    parts = [f"the letter {mark} by {_NAMES[_DIGITS[mark]]}" for mark in marks]
    return f"replace {' and '.join(parts)}"


def in_text(text: str) -> str | None:
    """Return what to do about the first such number in a text ("28O mm"), None where there is none."""
    for word in _RUN.findall(text):
        if mended(word) is not None:
            return letters_remedy(word)
    return None


def around(row: str, column: int) -> tuple[int, str] | None:
    """Return where such a number begins in a line, from 0, and as it is written; None for none.

    column: of a place in it, or just behind or before it, from 0.
    """
    for found in _RUN.finditer(row):
        if found.start() <= column <= found.end() and mended(found[0]) is not None:
            return found.start(), found[0]
    return None
