"""Files a job names: are they there, and are they what they should be."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem, nearest_word
from simkit.job.locate import printable

_HEAD = 1024  # bytes; a pointer file is far shorter


def is_pointer(head: bytes) -> bool:
    """Tell whether a file that begins with `head` only points to a large file kept elsewhere.

    Such a file has one line each that begins with "version ", "oid sha256:" and "size ".
    """
    lines = head[:_HEAD].splitlines()
    return head.startswith(b"version ") and all(
        any(line.startswith(word) for line in lines) for word in (b"oid sha256:", b"size ")
    )


def pointer_problem(place: Place, noun: str) -> Problem:
    """Return the problem of a pointer file that stands where `noun` ("a program") should be."""
    return Problem(
        place,
        "a version-control pointer to a large file",
        noun,
        "fetch the large files of the repository, then check again",
    )


def sha256_of(path: Path) -> str:
    """Return the hash of a file's bytes, in hex.  Raises InputProblems for one that cannot be read."""
    try:
        with Path(path).open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as reason:
        found = f"'{reason.strerror or reason}'"
        remedy = "check that nobody moves or changes it meanwhile"
        raise InputProblems(Problem(Place(str(path)), found, "a file that can be read", remedy)) from None


def file_word(path: str) -> str:
    """Return the path of a job file as results carry it, the same on every system; "" stays as it is."""
    return Path(path).as_posix() if path else ""


def shown_text(text: str) -> str:
    """Return text in single quotes for a message: shortened, nothing unprintable."""
    safe = printable(text[:80])
    return f"'{safe[:60]}...'" if len(safe) > 60 else f"'{safe}'"


def shown_path(text: str) -> str:
    """Return a path in single quotes for a message: its end where it is very long, nothing unprintable."""
    safe = printable(text[-400:])
    return f"'...{safe[-200:]}'" if len(safe) > 250 else f"'{safe}'"


def near_name(path: Path) -> str | None:
    """Return the name of the file in the folder of `path` most like it, or None."""
    try:
        names = sorted(entry.name for entry in os.scandir(path.parent) if entry.is_file())
    except (OSError, ValueError):
        return None
    by_case = {name.lower(): name for name in names}
    if path.name.lower() in by_case:
        return by_case[path.name.lower()]
    return nearest_word(path.name, names)


def file_problem(path: Path, shown: str, place: Place, noun: str) -> Problem | None:
    """Return what is wrong with a file that should be `noun`, or None when it can be read.

    path: where it is looked for.  shown: that path as messages write it.  noun: "a program".
    """

    def problem(found: str, remedy: str) -> Problem:
        return Problem(place, found, noun, remedy)

    name = shown_path(shown)
    try:
        if path.is_dir():
            return problem(f"a folder at {name}", "name a file in it")
        if not os.path.lexists(path):
            return problem(f"no file at {name}", _missing(path))
        if not path.exists():
            return problem(f"a link at {name} that leads nowhere", "put the file it means in its place")
        if not path.is_file():
            return problem(f"something at {name} that is no ordinary file", "name a file on disk")
        with path.open("rb") as stream:
            head = stream.read(_HEAD)
    except PermissionError:
        return problem(f"a file at {name} that may not be read", "give yourself the right to read it")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        return problem(f"the path {name}, which cannot be used ({reason})", "correct the path")
    if not head.strip():
        return problem(f"an empty file at {name}", "write it again from where it came from")
    if is_pointer(head):
        return pointer_problem(place, noun)
    return None


def _missing(path: Path) -> str:
    if "\\" in str(path):
        return "write / between folders, not \\"
    if not path.parent.is_dir():
        return "correct the folder, which is not there either"
    near = near_name(path)
    return f"did you mean {shown_text(near)}?" if near else "correct the path or put the file there"
