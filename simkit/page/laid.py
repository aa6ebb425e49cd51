"""Dropped files laid out as a job file names them: nothing else of the machine is opened for it.

A job file names its files from its own folder, often through folders above ("../boat/side1.nc").  Of a drop
only some of these folders are known: a file that lies elsewhere is found by its own name, and that is told.
"""

from __future__ import annotations

import json
import os
import shutil
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.job.files import shown_path, shown_text
from simkit.job.reader import raw_tables
from simkit.page.names import safe_name

NAMING = ("programs", "mesh", "jig")  # of the job file, wherever they stand: the ones that name files
_ABOVE = ".above"  # stands for a folder above all that was dropped; `safe_name` lets no file be called so
_MOST_ABOVE = 8


@dataclass
class Laid:
    """Where a job lies ready: folder, and how its files came there.

    named: what the job calls a file -> under which name it was dropped.  words: of each file that does not
    lie where the job says.
    """

    folder: Path
    named: dict[str, str] = field(default_factory=dict)
    words: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Wanted:
    """A file to be laid: parts of its place, ".." first where it lies above all that was dropped."""

    place: tuple[str, ...]
    dropped: str


def jigs_of(path: Path) -> list[str]:
    """Return the last part of the name of every jig that a job file names."""
    try:
        tables = raw_tables(path, path.name)[1]
    except InputProblems:
        return []
    return [name.rpartition("/")[2] for key, name in _named(tables, "") if key.endswith(".jig")]


def lay_out(root: Path, dropped: dict[str, Path], job: str) -> Laid:
    """Lay a job and the files that it names out below `root`, which is made anew, and say where the job lies.

    dropped: where the bytes of each file are, by its name, which `safe_path` let pass.
    Raises InputProblems where the job names what was not dropped, or names it so that it cannot be followed.
    What is wrong with the job file otherwise is told by its reader.
    """
    laid, wanted = Laid(root), [_Wanted(tuple(job.split("/")), job)]
    problems = list(_look(job, wanted[0].place, dropped, wanted, laid, False))
    if problems:
        raise InputProblems(problems)
    above = max(one.place.count("..") for one in wanted)
    shutil.rmtree(root, ignore_errors=True)
    for one in wanted:
        climbs = one.place.count("..")
        place = root.joinpath(*[_ABOVE] * (above - climbs), *one.place[climbs:])
        try:
            _lay(dropped[one.dropped], place)
        except OSError:
            found, expected = "a file where another needs a folder", "names that can lie side by side"
            remedy = "correct the names in the job file"
            raise InputProblems(Problem(Place(job), found, expected, remedy)) from None
    laid.folder = root.joinpath(*[_ABOVE] * above, *wanted[0].place[:-1])
    return laid


def _lay(source: Path, place: Path) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    if place.exists() and place.samefile(source):
        return
    try:
        os.link(source, place)
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        shutil.copyfile(source, place)


def _look(
    job: str, place: tuple[str, ...], dropped: dict[str, Path], wanted: list, laid: Laid, is_jig: bool
) -> Iterator[Problem]:
    """Put what a job file names, and the job of its jig, on the list `wanted`; yield what cannot be had."""
    shown = job.rpartition("/")[2]
    try:
        text, tables = raw_tables(dropped[job], shown)
    except InputProblems:
        return
    for key, name in _named(tables, ""):
        parts = _parts(place[:-1], name)
        found = None if parts is None else _match(parts, dropped)
        if isinstance(found, str):
            wanted.append(_Wanted(parts, found))
            if not is_jig:
                laid.named[name] = found
            if _same("/".join(parts)) != _same(found):
                words = f"{shown} names {shown_path(name)}: taken to be {shown_path(found)}, dropped here."
                laid.words += [words] if words not in laid.words else []
            if key.endswith(".jig") and not is_jig:  # a jig's own jig is refused by its reader
                yield from _look(found, parts, dropped, wanted, laid, True)
            continue
        yield _problem(Place(shown, _line_of(text, name), key=key), name, parts, found)


def _problem(place: Place, name: str, parts, found: list[str] | None) -> Problem:
    expected = "a file that was dropped here"
    if parts is None:
        remedy = "drop that file too and write its name alone; or run simkit check in its folder"
        return Problem(place, f"{shown_path(name)}, which cannot be followed here", expected, remedy)
    if found:
        several = ", ".join(shown_path(one) for one in found[:4])
        words = f"{shown_path(name)}, which may be any of {several}"
        return Problem(place, words, expected, "take away all but the right one, or drop its folder too")
    remedy = f"drop {shown_text(parts[-1])} here too"
    return Problem(place, f"{shown_path(name)}, which was not dropped", expected, remedy)


def _parts(folder: tuple[str, ...], name: str) -> tuple[str, ...] | None:
    """Return where a name leads from a folder, None for a name that is not made of plain ones."""
    parts = list(folder)
    for one in name.split("/"):
        if one == ".":
            continue
        if one == "..":
            if parts and parts[-1] != "..":
                parts.pop()
            else:
                parts.append("..")
            continue
        try:
            safe_name(one)
        except InputProblems:
            return None
        parts.append(one)
    is_file = parts and parts[-1] != ".." and not name.endswith("/..")
    return tuple(parts) if is_file and parts.count("..") <= _MOST_ABOVE else None


def _match(parts: tuple[str, ...], dropped: dict[str, Path]) -> str | list[str]:
    """Return the dropped file that a place means: the one that lies there, else the one of that name.

    Of several with that name the one counts that shares the most folders; a list where that leaves more
    or none.
    """
    wanted = [_same(part) for part in parts]
    likeness = {}
    for name in dropped:
        own = [_same(part) for part in name.split("/")]
        if own == wanted:
            return name
        pairs = zip(reversed(own), reversed(wanted), strict=False)
        likeness[name] = next((k for k, (a, b) in enumerate(pairs) if a != b), min(len(own), len(wanted)))
    most = max(likeness.values(), default=0)
    best = [name for name, like in likeness.items() if like == most] if most else []
    return best[0] if len(best) == 1 else best


def _same(name: str) -> str:
    """Return a name so that two that are one file on some systems are equal."""
    return unicodedata.normalize("NFC", name).casefold()


def _line_of(text: str, name: str) -> int | None:
    written = (name, json.dumps(name, ensure_ascii=False)[1:-1])
    rows = enumerate(text.splitlines(), 1)
    return next((k for k, row in rows if any(one in row for one in written)), None)


def _named(value: Any, key: str) -> Iterator[tuple[str, str]]:
    """Yield (key path, name) of every file that a job file names."""
    if isinstance(value, dict):
        for name, inner in value.items():
            where = f"{key}.{name}" if key else name
            if name in NAMING:
                names = inner if isinstance(inner, list) else [inner]
                yield from ((where, one) for one in names if isinstance(one, str))
            else:
                yield from _named(inner, where)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _named(inner, f"{key}[{index}]")
