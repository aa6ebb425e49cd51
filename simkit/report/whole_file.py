"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem


def write_whole(path: Path, text: str, option: str) -> None:
    """Write a text as UTF-8, as put_whole does.

    option: of the command line that names the place, for the message.
    Raises InputProblems when the place cannot be written.
    """
    try:
        put_whole(path, text.encode("utf-8", errors="replace"))
    except OSError as reason:
        raise InputProblems(
            Problem(
                Place(str(path), key=option),
                f"'{reason.strerror}'",
                "a place that can be written",
                "choose another folder or free some space",
            )
        ) from None


def put_whole(path: Path | str, data: bytes) -> None:
    """Write bytes beside their place, then rename: a half-written file never bears the name.

    A link stays, and the file it leads to is written anew.  The file gets the rights of any new file here,
    for others may have to read it.  Raises OSError when the place cannot be written.
    """
    place = Path(os.path.realpath(path))
    beside = place.with_name(f".simkit-{secrets.token_hex(8)}")
    try:
        with beside.open("xb") as file:
            file.write(data)
        os.replace(beside, place)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
