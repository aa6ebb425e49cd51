"""The one place that knows compiler options and where compiled kernels are kept.

numba's own cache looks only at the file of the outer function, so an edited helper in another file
would leave old machine code in use.  The cache folder is therefore named by a hash of every kernel
source; it is set here, before the first kernel is defined, and old folders are removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import time
from pathlib import Path

_PACKAGE = Path(__file__).parent
_CONSTANTS = ("_jit.py", "cutters.py")  # what kernels take numbers from, beside their own files
_KEEP_SECONDS = 30 * 24 * 3600


def _cache_home() -> Path:
    """Return the folder for caches that this system and user agree on."""
    if os.environ.get("SIMKIT_CACHE"):
        return Path(os.environ["SIMKIT_CACHE"])
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local")) / "simkit"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "simkit"
    return Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "simkit"


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
    home = _cache_home() / "kernels"
    folder = home / _source_hash()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        os.utime(folder)
        for other in home.iterdir():
            if other != folder and time.time() - other.stat().st_mtime > _KEEP_SECONDS:
                shutil.rmtree(other, ignore_errors=True)
    except OSError:
        pass  # a read-only home: numba then says it cannot cache, and compiles in memory
    return folder


CACHE_FOLDER = _prepare_cache()
os.environ.setdefault("NUMBA_CACHE_DIR", str(CACHE_FOLDER))

CHECKING, READING = "complete", "reading"  # what is compiled apart: for any check, for large programs

import numba  # noqa: E402  (the cache folder must be set first)

# numba reads the variable when it is imported; whoever imported it before us must not decide.
numba.config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"]


def is_cold(part: str = CHECKING) -> bool:
    """Return whether not everything that CHECKING or READING needs is known to be compiled and stored."""
    return not (CACHE_FOLDER / part).exists()


def mark_warm(part: str = CHECKING) -> None:
    """Remember that everything that CHECKING or READING needs has been compiled and stored."""
    with contextlib.suppress(OSError):
        (CACHE_FOLDER / part).touch()


def threads() -> int:
    """Return how many threads a parallel kernel uses now."""
    return numba.get_num_threads()


# No fastmath: with it a NaN can pass isnan, and bits would depend on the vector width.
_OPTIONS = {"cache": True, "nogil": True, "fastmath": False, "error_model": "numpy", "no_cfunc_wrapper": True}
# Compiling takes as long as it does mostly for what stands around a kernel.  The code that takes arguments
# from Python is made only for entries; calling any other kernel from Python ends the process
# (tests/test_warm.py sees to it that nobody does).  And only kernels that allocate count references to
# their arrays: an atomic addition for each argument and call, more than the work of a small kernel.
_INNER = _OPTIONS | {"no_cpython_wrapper": True}
entry_kernel = numba.njit(**_OPTIONS)
kernel = numba.njit(**_INNER, _nrt=False)
working_kernel = numba.njit(**_INNER)  # called by kernels too, but allocates
# For what a loop over cells must not call but contain, or the compiler leaves the vector unit unused.
loop_kernel = numba.njit(**_INNER, _nrt=False, forceinline=True)


def pointer(function, signature: str):
    """Compile a plain function for one signature, and return it as something kernels take as an argument.

    A kernel that calls another has it, and all that it calls, inside: it is optimised again there, and in
    each caller of that.  Called through a pointer, a large function is compiled once.
    """
    return numba.cfunc(signature, cache=True, nogil=True, fastmath=False, error_model="numpy", _nrt=False)(
        function
    )
