"""Where simkit keeps things between runs: compiled kernels and results.  Imports nothing heavy.

The compiler's own cache looks only at the file of the outer function, so an edited helper in another file
would leave old machine code in use.  The folder for kernels is therefore named by a hash of every kernel
source, and old folders are removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

_PACKAGE = Path(__file__).parent
# What kernels take numbers from, beside their own files, and what compiles them.
_CONSTANTS = ("_jit.py", "_compiler.py", "cutters.py")
_KEEP_SECONDS = 30 * 24 * 3600
CHECKING, READING = "complete", "reading"  # what is compiled apart: for any check, for large programs


def cache_home() -> Path:
    """Return the folder for caches that this system and user agree on; one that cannot be made where none is.

    On Linux and the like as the XDG Base Directory Specification says: what is empty or relative does not
    count.
    """
    if os.environ.get("SIMKIT_CACHE"):
        return Path(os.environ["SIMKIT_CACHE"])
    stated = os.environ.get({"win32": "LOCALAPPDATA", "darwin": ""}.get(sys.platform, "XDG_CACHE_HOME"), "")
    if os.path.isabs(stated):
        return Path(stated) / "simkit"
    below = {"win32": ("AppData", "Local"), "darwin": ("Library", "Caches")}.get(sys.platform, (".cache",))
    try:
        return Path(Path.home(), *below, "simkit")
    except RuntimeError:  # a user without a home, as in some containers; in a shared folder code is not safe
        return Path(os.devnull, "simkit")


def can_store(folder: Path | str) -> bool:
    """Return whether files can be written into a folder, which is made if need be."""
    try:
        os.makedirs(folder, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def _source_hash() -> str:
    """Return a hash of every file that can change what a kernel compiles to."""
    digest = hashlib.sha256()
    for path in sorted(_PACKAGE.rglob("*.py")):
        if path.name.endswith("_kernels.py") or path.name in _CONSTANTS:
            digest.update(path.relative_to(_PACKAGE).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _prepare_cache() -> Path:
    """Choose this version's kernel folder, make it, and prune folders unused for a month."""
    home = cache_home() / "kernels"
    folder = home / _source_hash()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
        for other in home.iterdir():
            if other != folder and time.time() - other.stat().st_mtime > _KEEP_SECONDS:
                shutil.rmtree(other, ignore_errors=True)
    except OSError:
        pass  # a read-only home: kernels are then compiled in memory, see can_store
    return folder


CACHE_FOLDER = _prepare_cache()
_has_lost = False


def is_cold(part: str = CHECKING) -> bool:
    """Return whether not everything that CHECKING or READING needs is known to be compiled and stored."""
    return not (CACHE_FOLDER / part).exists()


def could_not_store() -> None:
    """Remember that this process could not store a kernel: what it compiles will be compiled again."""
    global _has_lost
    _has_lost = True


def mark_warm(part: str = CHECKING) -> None:
    """Remember that everything that CHECKING or READING needs has been compiled and stored, if it has."""
    if _has_lost:
        return
    with contextlib.suppress(OSError):
        (CACHE_FOLDER / part).touch()
