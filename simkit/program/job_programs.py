"""All programs of a job, read; what is wrong in any of them told together."""

from __future__ import annotations

import contextlib
import os
import re
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Job, Setup
from simkit.program import vocabulary as voc
from simkit.program.reader import Notice, Options, ProgramRead, is_for_compiled, read_program

LARGEST_FILE = 2 * 1024**3  # bytes; a larger program would not fit in memory as moves


def shown_name(path: Path, job: Job) -> str:
    """Return a program's name as findings show it: from the job file's folder, as the job names it."""
    if not job.file:
        return str(path)
    return Path(os.path.relpath(path, Path(job.file).resolve().parent)).as_posix()


def has_large_program(job: Job) -> bool:
    """Return whether some program of a job is so large that compiled code reads it in this process."""
    with contextlib.suppress(OSError):  # what cannot be looked at is told when it is read
        paths = [path for setup in job.setups for path in setup.programs]
        return any(is_for_compiled(path.stat().st_size) for path in paths)
    return False


def read_programs(job: Job) -> list[list[tuple[Path, ProgramRead]]]:
    """Return for each setup its programs in order, each as (path, what is in it).

    Raises InputProblems with the problems of all programs: unreadable files, words that are refused,
    cutters that a program calls and the job lacks.
    """
    file, key = (job.file, "harmless_words") if job.file else ("command line", "--harmless")
    problems: list[Problem] = words_not_harmless(job.harmless_words, file, key, job.lines)
    warnings: list[Notice] = []
    reads: list[list[tuple[Path, ProgramRead]]] = []
    for index, setup in enumerate(job.setups):
        reads.append([])
        for path in setup.programs:
            name = shown_name(path, job)
            try:
                read = read_as_stated(bytes_of(path, name), name, job, setup, index)
            except InputProblems as found:
                problems.extend(found.problems)
                warnings.extend(found.warnings)
                continue
            warnings.extend(read.warnings)
            problems.extend(_missing_cutters(read, job, setup))
            reads[index].append((path, read))
    if problems:
        raise InputProblems(problems, warnings)
    return reads


def read_as_stated(data: bytes, name: str, job: Job, setup: Setup, index: int) -> ProgramRead:
    """Return what a program of a setup says, read as the job states it.

    data: its bytes.  name: by which it is told.  index: of the setup.  Raises InputProblems.
    """
    return read_program(
        data,
        name,
        setup=index,
        cutter=setup.cutter,
        units=setup.program_units,
        options=options_of(job, setup),
    )


def options_of(job: Job, setup: Setup) -> Options:
    """Return what the job says of how the programs of a setup are meant."""
    return Options(
        work_offsets=setup.work_offsets,
        skip_deleted=job.block_delete == "skip",
        harmless_words=tuple(word for word in job.harmless_words if voc.may_be_harmless(word)),
        arc_tolerance=job.arc_tolerance,
        spindle_by_hand=job.spindle_by_hand,
        has_job_file=bool(job.file),
    )


def words_not_harmless(words: tuple[str, ...], file: str, key: str, lines=None) -> list[Problem]:
    """Return a problem for every word that is called harmless though the reader knows what it does.

    file, key: where they are called so, for messages.  lines: key path -> line.
    """
    problems = []
    for index, word in enumerate(words):
        if not voc.may_be_harmless(word):
            path = key if key.startswith("--") else f"{key}[{index}]"
            line = (lines or {}).get(path, (lines or {}).get(key))
            expected = "an M word that the reader does not know, such as M106, or text such as MSG"
            remedy = "take it out, for what it does is known and counts"
            parts = re.split(r"[,;\s]+", word.strip())
            if len(parts) > 1 and all(map(voc.may_be_harmless, parts)):  # several written as one
                quoted = ", ".join(f'"{part}"' for part in parts)
                remedy = f"write them one by one: {quoted}"
                if key.startswith("--"):
                    remedy = "write them one by one: " + " ".join(f"{key} {part}" for part in parts)
            problems.append(Problem(Place(file, line, key=path), f"'{word}'", expected, remedy))
    return problems


def bytes_of(path: Path, name: str) -> bytes:
    """Return the bytes of a program file.  name: for messages.  Raises InputProblems."""
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise InputProblems(
                Problem(Place(name), "a program over 2 GiB", "a smaller one", "split the program")
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise InputProblems(
            Problem(Place(name), "no file of this name", "a program", "check the path")
        ) from None
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
