"""Which job files are meant: named one by one, or found below folders."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem

JOB_FILE = "job.toml"


def job_paths(inputs: Sequence[str]) -> list[Path] | None:
    """Return the job files of several inputs, in the order given; None when they are one job alone.

    A folder stands for every job.toml in it and below, by path; folders whose name begins with a dot are
    passed over, and links to folders not followed.  What is named twice is checked once.
    Raises InputProblems for a folder without any, and for programs among them.
    """
    folders = [text for text in inputs if os.path.isdir(text) and not text.lower().endswith(".toml")]
    named = [text for text in inputs if text.lower().endswith(".toml")]
    if not folders and len(named) < 2:
        return None
    problems = []
    paths: dict[str, Path] = {}
    for text in inputs:
        if text in folders:
            below = _below(Path(text))
            if not below:
                found, remedy = f"no {JOB_FILE} in the folder '{text}' or below", "name another folder"
                problems.append(Problem(Place("command line"), found, "a job file", remedy))
        elif text in named:
            below = [Path(text)]
        else:
            problems.append(
                Problem(
                    Place("command line"),
                    f"'{text}' among job files",
                    "job files and folders of them, or programs with --blank and --cutter",
                    "check the program by itself",
                )
            )
            continue
        for path in below:
            paths.setdefault(os.path.abspath(path), path)
    if problems:
        raise InputProblems(problems)
    return list(paths.values())


def _below(folder: Path) -> list[Path]:
    found = []
    for here, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        if JOB_FILE in files:
            found.append(Path(here) / JOB_FILE)
    return sorted(found, key=lambda path: path.as_posix())
