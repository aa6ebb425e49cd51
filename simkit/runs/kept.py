"""Results kept between runs: what is cut again only when something that matters has changed.

A result is kept under a hash of all it depends on: the job as read and those of its jigs, the bytes of their
programs and meshes, the cell size, simkit's own sources, and the packages and the machine it ran on.  Files
are written beside their place and renamed, so two runs at once never see half of one; what cannot be read
back counts as not there.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import importlib.metadata
import json
import os
import platform
import re
import sys
import tempfile
import time
from functools import cache
from pathlib import Path
from typing import Any

from simkit.cache import cache_home
from simkit.errors import InputProblems
from simkit.job.files import sha256_of
from simkit.job.model import Job
from simkit.job.reader import read_job

KEEP_SECONDS = 30 * 24 * 3600.0  # since last used
MOST_FILES = 2000  # some tenths of a megabyte each
_NAME = re.compile(r"[\w.-]+")


def key_of(job: Job, cell: float) -> str | None:
    """Return what a result of this job is kept under, None when it cannot be told or nothing is to be kept.

    The environment variable SIMKIT_KEEP=no keeps nothing.
    """
    if os.environ.get("SIMKIT_KEEP", "").lower() in ("no", "0"):
        return None
    digest = hashlib.sha256()
    try:
        jigs = [read_job(setup.jig) for setup in job.setups if setup.jig is not None]
        hashes = [sha256_of(path) for one in (job, *jigs) for path in files_of(one)]
        setting = _setting()
    except InputProblems:  # told when it is read
        return None
    except importlib.metadata.PackageNotFoundError:  # run without being installed
        return None
    for part in (repr(job), *map(repr, jigs), repr(cell), *hashes, setting):
        digest.update(part.encode("utf-8", "surrogatepass") + b"\0")
    return digest.hexdigest()


def files_of(job: Job) -> list[Path]:
    """Return the files whose bytes a job hangs on."""
    files = [path for setup in job.setups for path in setup.programs]
    files += [job.target.mesh] if job.target is not None else []
    return files + [fixture.mesh for fixture in job.fixtures if fixture.mesh is not None]


@cache
def _setting() -> str:
    """Return what else may change a result: simkit itself, packages, Python, the machine."""
    package = Path(__file__).parents[1]
    sources = hashlib.sha256()
    for path in sorted(package.rglob("*.py")):
        sources.update(path.relative_to(package).as_posix().encode() + b"\0" + path.read_bytes())
    needed = [_NAME.match(line)[0] for line in importlib.metadata.requires("simkit") if "extra" not in line]
    versions = [f"{name} {importlib.metadata.version(name)}" for name in (*needed, "llvmlite")]
    return repr((sources.hexdigest(), versions, sys.version, sys.platform, platform.machine()))


def _folder() -> Path:
    return cache_home() / "results"


def kept_result(key: str) -> dict[str, Any] | None:
    """Return the result kept under a key, None when there is none that can be read."""
    path = _folder() / f"{key}.json.gz"
    try:
        held = json.loads(gzip.decompress(path.read_bytes()))
    except (OSError, ValueError, EOFError, gzip.zlib.error):
        return None
    if not isinstance(held, dict) or held.get("key") != key or not isinstance(held.get("result"), dict):
        return None
    with contextlib.suppress(OSError):
        os.utime(path)  # used
    return held["result"]


def keep_result(key: str, result: dict[str, Any]) -> None:
    """Keep a result; a folder that cannot be written keeps none, and the check goes on."""
    folder = _folder()
    text = json.dumps({"key": key, "result": result}, ensure_ascii=False, allow_nan=False)
    data = gzip.compress(text.encode("utf-8", "surrogatepass"), compresslevel=1, mtime=0)
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=folder, prefix=".simkit-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.replace(beside, folder / f"{key}.json.gz")
        except BaseException:
            Path(beside).unlink(missing_ok=True)
            raise
        _prune(folder)


def _prune(folder: Path) -> None:
    """Take out what was not used for a month, what a crash left half-written, and the oldest of too many."""
    aged = []
    for path in folder.iterdir():
        with contextlib.suppress(OSError):  # another run may have taken it out
            aged.append((path.stat().st_mtime, path))
    aged.sort(reverse=True)
    oldest = time.time() - KEEP_SECONDS
    for number, (used, path) in enumerate(aged):
        is_left = path.name.startswith(".simkit-") and used < time.time() - 3600
        if number >= MOST_FILES or used < oldest or is_left:
            with contextlib.suppress(OSError):
                path.unlink()
