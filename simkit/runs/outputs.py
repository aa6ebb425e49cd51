"""The files a check writes: refused before the work where they cannot be, written whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.runs.options import Wish

_FILES = ("json", "junit", "sarif", "report", "keep-field")


def check_json(path: Path, option: str = "--json") -> None:
    """Refuse a place where no file can be written.  Raises InputProblems."""
    place = Place(str(path), key=option)
    if path.is_dir():
        raise InputProblems(Problem(place, "a folder", "a file to write", "add a file name"))
    if str(path) == "-" or (path.exists() and not path.is_file()):
        # Written whole and then renamed, it would take the place of what bears the name.
        found = "'-'" if str(path) == "-" else "a pipe or a device"
        raise InputProblems(Problem(place, found, "a file to write", "name a file, and read that"))
    if not path.absolute().parent.is_dir():
        raise InputProblems(
            Problem(place, f"no folder {path.parent}", "an existing folder", "make the folder first")
        )


def check_apart(read: Sequence[Path], written: Sequence[tuple[str, Path | None]]) -> None:
    """Refuse to write over what is read, or two things into one file.  Raises InputProblems.

    read: job files, programs and meshes.  written: options and their files.
    """
    taken = {_one(path): f"'{path.name}', which the job reads" for path in read}
    problems = []
    for option, path in written:
        if path is None:
            continue
        if _one(path) in taken:
            place = Place(str(path), key=f"--{option}")
            problems.append(Problem(place, taken[_one(path)], "a file of its own", "name another file"))
        taken[_one(path)] = f"the file of --{option}, too"
    if problems:
        raise InputProblems(problems)


def _one(path: Path) -> object:
    """Return what is the same for all names of one file."""
    try:
        told = path.stat()
    except (OSError, ValueError):
        return str(path.absolute().parent.resolve() / path.name)
    return told.st_dev, told.st_ino


def check_outputs(wish: Wish, read: Sequence[Path] = ()) -> None:
    """Refuse unusable output places before the work, not after it.  Raises InputProblems.

    read: files that are read, none of which is to be written over.
    """
    problems: list[Problem] = []
    written = [(option, getattr(wish, option.replace("-", "_"))) for option in _FILES]
    for option, path in written:
        if path is not None:
            try:
                check_json(path, f"--{option}")
            except InputProblems as found:
                problems.extend(found.problems)
    folder = wish.pictures
    if folder and folder.exists() and not folder.is_dir():
        place = Place(str(folder), key="--pictures")
        problems.append(Problem(place, "a file", "a folder", "name a folder for the pictures"))
    elif folder:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as reason:
            place = Place(str(folder), key="--pictures")
            found = f"'{reason.strerror}'"
            problems.append(Problem(place, found, "a folder that can be made", "choose another folder"))
    if problems:
        raise InputProblems(problems)
    check_apart(read, written)


def write_outputs(wish: Wish, results: Sequence[dict[str, Any]], is_list: bool) -> None:
    """Write what is asked for.  is_list: JSON has one entry for each job.  Raises InputProblems."""
    from simkit.report.whole_file import write_whole

    if wish.json:
        data = list(results) if is_list else results[0]
        text = json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        write_whole(wish.json, text, "--json")
    if wish.junit:
        from simkit.report.junit import junit_text

        write_whole(wish.junit, junit_text(results), "--junit")
    if wish.sarif:
        from simkit.report.sarif import sarif_text

        write_whole(wish.sarif, sarif_text(results), "--sarif")


def schema_text(of: str) -> str:
    """Return the JSON Schema of "job" files or of a "result", as text."""
    if of == "job":
        from simkit.job.json_schema import job_schema as schema
    else:
        from simkit.report.schema import result_schema as schema
    return json.dumps(schema(), indent=1)  # in ASCII, for a console's letters may be others than JSON's
