"""Many jobs checked in one run: kept results first, the others by workers side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems
from simkit.job.reader import read_job
from simkit.report.verdict import status_of
from simkit.runs.crew import Crew
from simkit.runs.limits import NO_LIMITS, Most
from simkit.runs.one import kept
from simkit.runs.unchecked import unusable

LONGEST_NAME = 60  # letters of a folder of pictures: a name may have 255 bytes, a path 260 on Windows


@dataclass(frozen=True)
class Orders:
    """How jobs are checked.

    cell: mm.  count: how many side by side.  fresh: kept results are not looked for.  pictures: folder, in
    which each job gets one of its own, None for none.  most: limits for each job.
    """

    cell: float
    count: int
    fresh: bool = False
    pictures: Path | None = None
    most: Most = NO_LIMITS


def check_all(paths: Sequence[Path], orders: Orders, watch) -> list[dict[str, Any]]:
    """Return one record for each job file, in their order: a result, or why there is none.

    watch: as Crew has it, and told of kept results as of worker 0.  A job that cannot be used does not
    stop the others.
    """
    results: dict[int, dict[str, Any]] = {}
    waiting = []
    folders = picture_folders(paths)
    for index, path in enumerate(paths):
        found = None
        try:
            job = read_job(path)
            if not orders.fresh and orders.pictures is None:
                found = kept(job, orders.cell)
        except InputProblems as problems:
            found = unusable(str(path), problems)
        if found is None:
            waiting.append(index)
            continue
        results[index] = found
        watch.start(0, str(path))
        watch.end(0, found)
    if waiting:
        asked = [
            {
                "job": str(paths[index]),
                "cell": orders.cell,
                "fresh": orders.fresh,
                "pictures": None if orders.pictures is None else str(orders.pictures / folders[index]),
                "memory": orders.most.memory,
            }
            for index in waiting
        ]
        done = Crew(orders.count, orders.most, watch).run(asked)
        results |= dict(zip(waiting, done, strict=True))
    return [results[index] for index in range(len(paths))]


def picture_folders(paths: Sequence[Path]) -> list[str]:
    """Return the name of a folder for the pictures of each job: where it lies, in one word, each its own.

    Also where letters of either case mean the same file; a long one is cut in front.
    """
    names: list[str] = []
    taken: set[str] = set()
    for path in paths:
        parts = [part for part in path.with_suffix("").parts if part not in ("..", ".", path.anchor)]
        parts = parts[:-1] if parts[-1] == "job" and len(parts) > 1 else parts
        name = base = "-".join(parts)[-LONGEST_NAME:]
        number = 2
        while name.casefold() in taken:
            name, number = f"{base}-{number}", number + 1
        names.append(name)
        taken.add(name.casefold())
    return names


def total_status(results: Sequence[dict[str, Any]]) -> int:
    """Return the exit status of all: a fault before unusable input before a limit that is passed."""
    return max((status_of(result) for result in results), default=0)
