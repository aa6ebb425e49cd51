"""A program that was broken off and is started again: where, with what in force, and what comes of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from simkit.check import check
from simkit.errors import InputProblems, Place, Problem, nearest_word
from simkit.job.model import Job
from simkit.machine.pins import standing_in
from simkit.program.job_programs import bytes_of, options_of
from simkit.program.resume import broken_off, in_force_before, safe_lines
from simkit.report.result import result_of
from simkit.report.resume import resume_result
from simkit.warm import warm_up


def resume(
    job: Job, reads, broken: str, cell: float, progress, start_from: int | None = None
) -> dict[str, Any]:
    """Return what the operator must know, as report.resume gives it.

    job, reads, cell, progress: as for check.  broken: "side1.nc:1234", the line in which it broke off.
    It starts again at `start_from`, or, None, at the last safe line up to the break.  All is cut anew: the
    same bits as a field kept from an earlier check, and a changed program cannot go unseen.
    Raises InputProblems where there is no such line, or `start_from` is not safe.
    """
    index, part, line = _place(reads, broken)
    setup = job.setups[index]
    path, read = reads[index][part]
    top = _clear_height(job, index)
    safe = safe_lines(read.moves, top).tolist()
    start = next((number for number in reversed(safe) if number <= line), None)
    if start_from is not None:
        start = _stated(start_from, safe, read.name)
    if start is None:
        return resume_result(read.name, line, safe, None, top, None)
    chosen = in_force_before(
        bytes_of(path, read.name),
        read.name,
        start,
        cutter=setup.cutter,
        units=setup.program_units,
        options=options_of(job, setup),
    )
    moves = read.moves[broken_off(read.moves, line, start)]
    changed = [list(programs) for programs in reads]
    changed[index][part] = (path, replace(read, moves=moves))
    warm_up(progress)
    result = result_of(*check(job, changed, cell, progress))
    return resume_result(read.name, line, safe, chosen, top, result)


def _clear_height(job: Job, index: int) -> float:
    """Return the height clear of blank, fixtures and pins, from the setup's zero, mm."""
    setup = job.setups[index]
    heights = [fixture.height for fixture in standing_in(job, index)]
    highest = max([setup.highest(job.blank), *heights]) + (job.machine.clearance if heights else 0.0)
    return highest - float(setup.to_table(job.blank).offset[2])


def _stated(line: int, safe: list[int], name: str) -> int:
    """Return the line that a person would start at, if it is safe."""
    if line in safe:
        return line
    before = [str(one) for one in safe if one < line][-2:]
    after = [str(one) for one in safe if one > line][:2]
    near = ", ".join(before + after)
    raise InputProblems(
        Problem(
            Place("command line", key="--from"),
            f"line {line} of {name}",
            "a line whose first move is a rapid that begins above blank, clamps and pins"
            + (f" (near it: {near})" if near else " (this program has none)"),
            "start at one of these, or leave --from out" if near else "start at the top of the program",
        )
    )


def _place(reads, broken: str) -> tuple[int, int, int]:
    """Return setup, program and line of "PROGRAM:LINE"."""
    name, colon, number = broken.rpartition(":")
    place = Place("command line", key="PROGRAM:LINE")
    known = {
        read.name: (index, part, read)
        for index, programs in enumerate(reads)
        for part, (_, read) in enumerate(programs)
    }
    if not colon or not number.isdigit() or name not in known:
        near = nearest_word(name or broken, known)
        remedy = f"write it like {near or next(iter(known), 'side1.nc')}:1234"
        expected = f"a program of the job ({', '.join(known)}) and the line in which it broke off"
        raise InputProblems(Problem(place, f"'{broken}'", expected, remedy))
    index, part, read = known[name]
    line = int(number)
    if not 1 <= line <= read.line_count:
        found, expected = f"line {line}", f"a line from 1 to {read.line_count:,}"
        raise InputProblems(Problem(place, found, expected, "give the line that the control last showed"))
    return index, part, line
