"""All programs of a job, read; what is wrong in any of them told together."""

from __future__ import annotations

import os
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Job, Setup
from simkit.program.reader import ProgramRead, read_program

LARGEST_FILE = 2 * 1024**3  # bytes; a larger program would not fit in memory as moves


def shown_name(path: Path, job: Job) -> str:
    """Return a program's name as findings show it: from the job file's folder, as the job names it."""
    if not job.file:
        return str(path)
    return Path(os.path.relpath(path, Path(job.file).resolve().parent)).as_posix()


def read_programs(job: Job) -> list[list[tuple[Path, ProgramRead]]]:
    """Return for each setup its programs in order, each as (path, what is in it).

    Raises InputProblems with the problems of all programs: unreadable files, words that are refused,
    cutters that a program calls and the job lacks.
    """
    problems: list[Problem] = []
    reads: list[list[tuple[Path, ProgramRead]]] = []
    for index, setup in enumerate(job.setups):
        reads.append([])
        for path in setup.programs:
            name = shown_name(path, job)
            try:
                read = read_program(_bytes(path, name), name, setup=index, cutter=setup.cutter)
            except InputProblems as found:
                problems.extend(found.problems)
                continue
            problems.extend(_missing_cutters(read, job, setup))
            reads[index].append((path, read))
    if problems:
        raise InputProblems(problems)
    return reads


def _bytes(path: Path, name: str) -> bytes:
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputProblems(
                Problem(Place(name), "a program over 2 GiB", "a smaller one", "split the program")
            )
        return path.read_bytes()
    except OSError as reason:
        raise InputProblems(
            Problem(Place(name), f"'{reason.strerror}'", "a program that can be read", "check the file")
        ) from None


def _missing_cutters(read: ProgramRead, job: Job, setup: Setup) -> list[Problem]:
    known = ", ".join(str(cutter) for cutter in job.cutters.values())
    told: set[int] = set()
    problems = []
    for tool, line, column in read.tools_called:
        if tool in job.cutters or tool in told:
            continue
        told.add(tool)
        problems.append(
            Problem(
                Place(read.name, line, column),
                f"a call of cutter {tool}",
                f"a cutter the job states ({known})" if job.file else f"one given by --cutter ({known})",
                f"add [cutters.{tool}] to the job, or correct the number"
                if job.file
                else f"add --cutter {tool}=SHAPE:DIAMETER, or correct the number",
            )
        )
    return problems
