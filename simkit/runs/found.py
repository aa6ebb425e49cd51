"""Which job files are meant: named one by one, or found below folders."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.job.files import shown_path

JOB_FILE = "job.toml"


def job_paths(inputs: Sequence[str]) -> list[Path] | None:
    """Return the job files of several inputs, in the order given; None when they are one job alone.

    A folder stands for every job.toml in it and below, by path; folders whose name begins with a dot are
    passed over, and links to folders not followed.  A folder that may not be read stands for a job in it,
    which is then told as one that cannot be used.  What is named twice is checked once.
    Raises InputProblems for a folder without any, for one that is not there, and for programs among them.
    """
    missing = [text for text in inputs if not os.path.splitext(text)[1] and not os.path.lexists(text)]
    if missing:
        expected = "job files, folders of them, or programs"
        raise InputProblems(
            [
                Problem(
                    Place("command line"),
                    f"no file or folder at {shown_path(text)}",
                    expected,
                    "correct the path",
                )
                for text in missing
            ]
        )
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
            paths.setdefault(os.path.normcase(os.path.abspath(path)), path)
    if problems:
        raise InputProblems(problems)
    return list(paths.values())


def _below(folder: Path) -> list[Path]:
    found = []

    def unread(reason: OSError) -> None:  # whoever reads the job tells why it cannot be
        found.append(Path(reason.filename) / JOB_FILE)

    for here, folders, files in os.walk(folder, onerror=unread):
        folders[:] = [name for name in folders if not name.startswith(".")]
        if JOB_FILE in files:
            found.append(Path(here) / JOB_FILE)
    return sorted(found, key=lambda path: path.as_posix())
