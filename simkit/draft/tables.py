"""The tables of a drafted job file, written from the one list of keys."""

from __future__ import annotations

import json
import textwrap
from dataclasses import dataclass

from simkit.draft.guesses import Guess
from simkit.job.key import UNFILLED, Key
from simkit.job.locate import printable
from simkit.job.schema import children, toml_value

FILL_IN, GUESS, SEEN, DEFAULT = "FILL IN", "GUESS", "SEEN", "DEFAULT"
_WIDTH = 100


@dataclass(frozen=True)
class Entry:
    """What stands at a key: TOML text, where it comes from (FILL_IN, GUESS ...), and why, a line each."""

    value: str
    source: str
    why: tuple[str, ...] = ()


def blank(*why: str) -> Entry:
    """Return a blank that must be filled in.  why: what is known of it."""
    return Entry(f'"{UNFILLED}"', FILL_IN, why)


def seen(value: str, *why: str) -> Entry:
    """Return a value that the files state.  value: TOML text."""
    return Entry(value, SEEN, why)


def guessed(guess: Guess) -> Entry:
    """Return a guess as an entry, a blank where nothing tells."""
    if guess.value is None:
        return blank(*guess.why)
    return Entry(text(guess.value), GUESS, guess.why)


def text(value: str) -> str:
    """Return a text as it is written in a job file."""
    return json.dumps(value, ensure_ascii=False)


def comment(words: str, indent: str = "") -> list[str]:
    """Return words as lines of comment."""
    return textwrap.wrap(
        printable(words),
        _WIDTH,
        initial_indent=f"# {indent}",
        subsequent_indent=f"# {indent}",
        break_long_words=False,
        break_on_hyphens=False,
    )


def table(head: str, parent: str, entries: dict[str, Entry], notes: tuple[str, ...] = ()) -> list[str]:
    """Return the lines of one table: keys in the order of the schema, a blank for each required one left out.

    head: "[blank]".  parent: of its keys ("setups[]").  entries: key -> what stands there.  notes: above.
    Raises KeyError for a key that job files do not have.
    """
    keys = {key.name: key for key in children(parent)}
    unknown = set(entries) - set(keys)
    if unknown:
        raise KeyError(f"{parent} has no {', '.join(sorted(unknown))}")
    lines = [line for note in notes for line in comment(note)] + ([head] if head else [])
    for name, key in keys.items():
        is_apart = bool(children(key.inside)) and not key.examples  # a table under a heading of its own
        entry = entries.get(name, blank() if key.required and not is_apart else None)
        if entry is not None:
            lines += _lines(key, entry)
    return lines


def defaults(head: str, parent: str) -> list[str]:
    """Return a table with every key at its default that the template shows."""
    entries = {
        key.name: Entry(toml_value(key.default), DEFAULT)
        for key in children(parent)
        if key.default is not None and not key.is_aside
    }
    return table(head, parent, entries)


def _lines(key: Key, entry: Entry) -> list[str]:
    line = f"{key.name} = {entry.value}"
    lead = f"{entry.source}: " if entry.source in (FILL_IN, GUESS) else ""
    choice = f" {key.expected[0].upper()}{key.expected[1:]}." if key.kind == "choice" and lead else ""
    lines = comment(f"{lead}{key.help}{choice}".replace("'", '"'))
    lines += [part for why in entry.why for part in comment(why, "  ")]
    return [*lines, line]
