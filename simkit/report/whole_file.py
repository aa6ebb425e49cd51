"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem


def write_whole(path: Path, text: str, option: str) -> None:
    """Write a text as UTF-8 beside its place, then rename: a half-written file never bears the name.

    option: of the command line that names the place, for the message.
    Raises InputProblems when the place cannot be written.
    """
    try:
        handle, beside = tempfile.mkstemp(dir=path.absolute().parent, prefix=".simkit-")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", errors="replace", newline="\n") as file:
                file.write(text)
            os.replace(beside, path)
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
    except OSError as reason:
        raise InputProblems(
            Problem(
                Place(str(path), key=option),
                f"'{reason.strerror}'",
                "a place that can be written",
                "choose another folder or free some space",
            )
        ) from None
