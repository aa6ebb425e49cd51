"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem


def write_whole(path: Path, text: str, option: str) -> None:
    """Write a text as UTF-8 beside its place, then rename: a half-written file never bears the name.

    option: of the command line that names the place, for the message.
    Raises InputProblems when the place cannot be written.
    """
    write_whole_bytes(path, text.encode("utf-8", "replace"), option)


def write_whole_bytes(path: Path, data: bytes, option: str) -> None:
    """Write bytes as write_whole does; the file may be read by whom the user's umask lets read it."""
    try:
        handle, beside = tempfile.mkstemp(dir=path.absolute().parent, prefix=".simkit-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(beside, _mode_of(path))
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


def _mode_of(path: Path) -> int:
    """The mode of the file that is replaced, else of any new file; mkstemp's own is its owner's alone."""
    try:
        return stat.S_IMODE(path.stat().st_mode)
    except FileNotFoundError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask
