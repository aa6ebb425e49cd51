"""A job file may only name files that were dropped: nothing else of the machine is opened for it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.job.files import shown_path
from simkit.job.reader import raw_tables
from simkit.page.names import safe_name

_KEYS = ("programs", "mesh", "jig")  # of the job file, wherever they stand: the ones that name files


def refuse_outside(path: Path) -> None:
    """Raise InputProblems where a job file names a file that lies anywhere but beside it.

    What is wrong with the file otherwise is told by its reader.
    """
    problems = _outside(path)
    if problems:
        raise InputProblems(problems)


def _outside(path: Path, is_jig: bool = False) -> list[Problem]:
    """Return what a job file names elsewhere; what the job of its jig names counts too."""
    try:
        text, tables = raw_tables(path, path.name)
    except InputProblems:
        return []
    problems = []
    for key, name in _named(tables, ""):
        try:
            safe_name(name)
        except InputProblems:
            written = (name, json.dumps(name, ensure_ascii=False)[1:-1])
            rows = enumerate(text.splitlines(), 1)
            line = next((k for k, row in rows if any(one in row for one in written)), None)
            found = f"{shown_path(name)}, which is no plain name"
            expected = "the name of a file that was dropped here, without a folder"
            remedy = "drop that file too and write its name alone; or run simkit check in its folder"
            problems.append(Problem(Place(path.name, line, key=key), found, expected, remedy))
        else:
            if key.endswith(".jig") and not is_jig:  # a jig's own jig is refused by its reader
                problems += _outside(path.parent / name, is_jig=True)
    return problems


def _named(value: Any, key: str) -> Iterator[tuple[str, str]]:
    """Yield (key path, name) of every file that a job file names."""
    if isinstance(value, dict):
        for name, inner in value.items():
            where = f"{key}.{name}" if key else name
            if name in _KEYS:
                names = inner if isinstance(inner, list) else [inner]
                yield from ((where, one) for one in names if isinstance(one, str))
            else:
                yield from _named(inner, where)
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _named(inner, f"{key}[{index}]")
