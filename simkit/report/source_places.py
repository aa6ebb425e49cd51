"""Where the files that findings name lie, and the text of the lines they point at."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from simkit.errors import InputProblems
from simkit.job.files import sha256_of


def folder_of(result: dict[str, Any]) -> Path:
    """Return the folder from which the files of a result are named."""
    return Path(result["job"]["file"]).parent if result["job"]["file"] else Path()


def path_of(result: dict[str, Any], name: str) -> Path:
    """Return the path of a program or the job file as findings name it; of the job where none is named.

    Without a job file programs are named by their path.
    """
    job = result["job"]["file"]
    if job and name in ("", Path(job).name):
        return Path(job)
    if not name:
        name = result["setups"][0]["programs"][0]["file"]
    return folder_of(result) / name


def relative_uri(path: Path, root: Path) -> tuple[str, bool]:
    """Return a path as a URI, and whether it counts from `root`; what lies elsewhere gets a whole one."""
    full = Path(os.path.abspath(path))
    try:
        return quote(full.relative_to(Path(os.path.abspath(root))).as_posix(), errors="surrogateescape"), True
    except ValueError:
        return full.as_uri(), False


def lines_of(path: Path, wanted: Iterable[int], sha256: str = "") -> dict[int, str]:
    """Return the text of some lines of a file, by number from 1, without their ends.

    sha256: of the file when it was checked; nothing is told of one that has changed since, cannot be read
    any more, or has no such line.
    """
    wanted, found = set(wanted), {}
    last = max(wanted, default=0)
    try:
        if not wanted or (sha256 and sha256_of(path) != sha256):
            return {}
        # Latin-1 keeps each byte, so that lines end where the reader of the programs ends them.
        with path.open(encoding="latin-1", newline=None) as stream:
            for number, line in enumerate(stream, 1):
                if number in wanted:
                    found[number] = _decoded(line.rstrip("\n").encode("latin-1")).removeprefix("\ufeff")
                if number >= last:
                    break
    except (OSError, InputProblems):
        return {}
    return found


def _decoded(line: bytes) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("latin-1")
