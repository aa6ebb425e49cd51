"""Files that are there whole or not at all."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import stat
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from simkit.errors import InputProblems, Place, Problem

REMEDY = "free some space, close it where it is open, or choose another folder"
_TRIES, _PAUSE = 10, 0.05  # s: Windows renames nothing over a file that is open, be it for a moment


def json_text(value: object) -> str:
    """Return a value as all files of JSON have it."""
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write_whole(path: Path, text: str, option: str) -> None:
    """Write a text as UTF-8, as put_whole does.

    option: of the command line that names the place, for the message.
    Raises InputProblems when the place cannot be written.
    """
    write_whole_bytes(path, text.encode("utf-8", "replace"), option)


def write_whole_bytes(path: Path, data: bytes, option: str) -> None:
    """Write bytes as put_whole does; otherwise as write_whole."""
    try:
        put_whole(path, data)
    except OSError as reason:
        raise unwritten(str(path), option, reason) from None


def unwritten(path: str, option: str, reason: OSError) -> InputProblems:
    """Return what is told of a place that cannot be written."""
    found, expected = f"'{reason.strerror or reason}'", "a place that can be written"
    return InputProblems(Problem(Place(path, key=option), found, expected, REMEDY))


def put_whole(path: Path | str, data: bytes) -> None:
    """Write bytes as put_whole_by does."""
    put_whole_by(path, lambda file: file.write(data))


def put_whole_by(path: Path | str, write: Callable[[BinaryIO], object]) -> None:
    """Write beside its place, then rename: a half-written file never bears the name.

    write(file): writes all of it into the open file.
    A link stays, and the file it leads to is written anew.  The file keeps the rights of the one it replaces,
    else it gets those of any new file: others may have to read it.
    Raises OSError when the place cannot be written.
    """
    place = Path(os.path.realpath(path))
    beside = place.with_name(f".simkit-{secrets.token_hex(8)}")
    try:
        with beside.open("xb") as file:
            write(file)
        if place.exists():
            os.chmod(beside, stat.S_IMODE(place.stat().st_mode))
        _rename(beside, place)
    except BaseException:
        with contextlib.suppress(OSError):  # the first failure is the one to tell
            beside.unlink(missing_ok=True)
        raise


def _rename(beside: Path, place: Path) -> None:
    for left in reversed(range(_TRIES)):
        try:
            os.replace(beside, place)
            return
        except PermissionError:
            if sys.platform != "win32" or not left:
                raise
            time.sleep(_PAUSE)
