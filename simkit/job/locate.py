"""Where each key of a TOML text stands: key path -> line and column.

The standard reader keeps no positions, so this walks the text a second time.  It expects text that
the standard reader accepted and only follows its structure.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import NamedTuple

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANKS = re.compile(r"[ \t]*")
_BLANKS_AND_LINES = re.compile(r"(?:[ \t\n]+|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]*")
# A closing run may hold up to two quotes that belong to the text.
_STRINGS = {
    '"""': re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}', re.DOTALL),
    "'''": re.compile(r"'''(?:[^']|'(?!''))*'{3,5}", re.DOTALL),
    '"': re.compile(r'"(?:[^"\\]|\\.)*"'),
    "'": re.compile(r"'[^']*'"),
}


class Spot(NamedTuple):
    """A place in a text: line and column, both from 1, columns in characters."""

    line: int
    column: int


def printable(text: str) -> str:
    """Return text with everything unprintable written as its code, fit for a message."""
    return "".join(mark if mark.isprintable() else f"\\x{ord(mark):02x}" for mark in text)


def key_path(parent: str, name: str) -> str:
    """Return the path of a key inside a table: key_path("setups[1]", "turn") is "setups[1].turn".

    A name that is no bare word is quoted.
    """
    shown = name if _BARE.fullmatch(name) else f'"{printable(name)}"'
    return f"{parent}.{shown}" if parent else shown


class _Walk:
    def __init__(self, text: str):
        self.text = text
        self.at = 0
        self.spots: dict[str, Spot] = {}
        self.starts = [0] + [match.end() for match in re.finditer("\n", text)]
        self.counts: dict[str, int] = {}  # [[tables]] seen so far, by path

    def note(self, path: str, at: int) -> None:
        if path not in self.spots:
            line = bisect_right(self.starts, at)
            self.spots[path] = Spot(line, at - self.starts[line - 1] + 1)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        assert match is not None
        self.at = match.end()
        return match[0]

    def has(self, mark: str) -> bool:
        """Step over `mark` if it stands here."""
        if not self.text.startswith(mark, self.at):
            return False
        self.at += len(mark)
        return True

    def string(self) -> str:
        mark = next(mark for mark in _STRINGS if self.text.startswith(mark, self.at))
        return self.skip(_STRINGS[mark])

    def name(self) -> str:
        """Read one part of a key."""
        if self.text[self.at] not in "\"'":
            return self.skip(_BARE)
        token = self.string()
        return token[1:-1] if token[0] == "'" else _unescaped(token)

    def names(self) -> list[tuple[str, int]]:
        """Read a dotted key: its parts, each with where it begins."""
        parts = []
        while True:
            self.skip(_BLANKS)
            at = self.at
            parts.append((self.name(), at))
            self.skip(_BLANKS)
            if not self.has("."):
                return parts

    def document(self) -> None:
        table = ""
        while True:
            self.skip(_BLANKS_AND_LINES)
            if self.at >= len(self.text):
                return
            if self.has("[["):
                table = self.header(is_list=True)
                self.has("]]")
            elif self.has("["):
                table = self.header(is_list=False)
                self.has("]")
            else:
                self.pair(table)

    def header(self, is_list: bool) -> str:
        path, at = "", self.at
        names = self.names()
        for index, (name, at) in enumerate(names):
            path = key_path(path, name)
            self.note(path, at)
            is_new = is_list and index == len(names) - 1
            if is_new:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = f"{path}[{self.counts[path] - 1}]"
                if is_new:
                    self.note(path, at)
        return path

    def pair(self, table: str) -> None:
        path = table
        for name, at in self.names():
            path = key_path(path, name)
            self.note(path, at)
        self.has("=")
        self.skip(_BLANKS)
        self.value(path)

    def value(self, path: str) -> None:
        mark = self.text[self.at]
        if mark in "\"'":
            self.string()
        elif self.has("["):
            index = 0
            self.skip(_BLANKS_AND_LINES)
            while not self.has("]"):
                item = f"{path}[{index}]"
                self.note(item, self.at)
                self.value(item)
                index += 1
                self.skip(_BLANKS_AND_LINES)
                self.has(",")
                self.skip(_BLANKS_AND_LINES)
        elif self.has("{"):
            self.skip(_BLANKS_AND_LINES)
            while not self.has("}"):
                self.pair(path)
                self.skip(_BLANKS_AND_LINES)
                self.has(",")
                self.skip(_BLANKS_AND_LINES)
        else:
            self.skip(_SCALAR)


def _unescaped(token: str) -> str:
    """Return the name that a double-quoted key spells."""
    return next(iter(tomllib.loads(f"{token} = 0")))


def locate(text: str) -> dict[str, Spot]:
    """Return where every key, table and list item of a valid TOML text stands.

    Paths are written "blank.length", "cutters.1.shape", "setups[1].programs[0]"; list items count
    from 0.  A [table] stands where its name stands in its header.  Source: TOML 1.0.0.
    """
    walk = _Walk(text.replace("\r\n", "\n"))
    walk.document()
    return walk.spots
