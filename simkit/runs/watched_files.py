"""The files that a watched job depends on, and whether they have changed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems
from simkit.job.reader import raw_tables

State = dict[Path, tuple[int, int] | None]  # time of the last change (ns) and size; None: it is not there


def files_of(job: Path, before: tuple[Path, ...] = ()) -> tuple[Path, ...]:
    """Return the job file, its programs, meshes and jigs, as far as they are named in a readable way.

    before: what it named last, which still counts while the job file is half-written or no TOML.
    What is named need not be there: a job waits for a program that is to come.
    """
    files, jigs = _named(job, before)
    more = [path for jig in jigs for path in _named(jig, ())[0]]  # a jig lies in no other jig
    return tuple(dict.fromkeys((*files, *more)))


def _named(job: Path, before: tuple[Path, ...]) -> tuple[tuple[Path, ...], list[Path]]:
    """Return the files that a job file names, itself first, and which of them are jigs."""
    try:
        _, data = raw_tables(job, job.name)
    except (InputProblems, OSError):
        return before or (job,), []
    named: list[Any] = []
    jigs: list[Any] = []
    setups = data.get("setups")
    for setup in setups if isinstance(setups, list) else []:
        programs = setup.get("programs") if isinstance(setup, dict) else None
        named += programs if isinstance(programs, list) else []
        jigs.append(setup.get("jig") if isinstance(setup, dict) else None)
    target = data.get("target")
    named.append(target.get("mesh") if isinstance(target, dict) else None)
    fixtures = data.get("fixtures")
    for fixture in fixtures if isinstance(fixtures, list) else []:
        named.append(fixture.get("mesh") if isinstance(fixture, dict) else None)
    jigs, paths = (
        [job.parent / one for one in some if isinstance(one, str) and one.strip()] for some in (jigs, named)
    )
    return (job, *paths, *jigs), jigs


def state_of(files: tuple[Path, ...]) -> State:
    """Return the time of the last change and the size of each file."""
    state: State = {}
    for path in files:
        try:
            found = os.stat(path)
            state[path] = (found.st_mtime_ns, found.st_size)
        except (OSError, ValueError):  # not there, or no name that can be a file's
            state[path] = None
    return state


def changed_names(now: State, then: State) -> list[str]:
    """Return the names of the files that differ between two states."""
    paths = dict.fromkeys((*now, *then))
    return [path.name for path in paths if now.get(path) != then.get(path)]
