"""A program that was broken off and is started again: where, with what in force, and what comes of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from simkit.check import check
from simkit.errors import InputProblems, Place, Problem, nearest_word
from simkit.fields.archive import OPTION
from simkit.fields.kept import Kept
from simkit.job.model import Job
from simkit.job.reader import read_job
from simkit.machine.pins import standing_in
from simkit.program.job_programs import bytes_of, options_of
from simkit.program.reader import ProgramRead
from simkit.program.resume import broken_off, in_force_before, safe_lines
from simkit.report.result import result_of
from simkit.report.resume import resume_result
from simkit.warm import warm_up


def resume(
    job: Job,
    reads,
    broken: str,
    cell: float,
    progress,
    start_from: int | None = None,
    kept: Kept | None = None,
    ran_now: bool = False,
) -> dict[str, Any]:
    """Return what the operator must know, as report.resume gives it.

    job, reads, cell, progress: as for check.  broken: "side1.nc:1234", the line in which it broke off.
    It starts again at `start_from`, or, None, at the last safe line up to the break.  All is cut anew, or,
    with `kept` (whose cells are `cell`), what the setups before this one left is taken from there, with the
    programs as they were then.  In this setup the job's programs count as they are now: where what is kept
    is another run up to the break, a person must say with `ran_now` that they ran.
    Raises InputProblems where there is no such line, `start_from` is not safe, or `kept` does not fit.
    """
    index, part, line = _place(reads, broken)
    setup = job.setups[index]
    path, read = reads[index][part]
    top = _clear_height(job, index)
    safe = safe_lines(read.moves, top, read.leaning).tolist()
    start = next((number for number in reversed(safe) if number <= line), None)
    if start_from is not None:
        start = _stated(start_from, line, safe, read)
    if start is None:
        return resume_result(read.name, line, safe, None, top, None)
    taken = None if kept is None else kept.take(job, index)
    differs = [] if kept is None else kept.otherwise(job, reads, index, part, line)
    if differs and not ran_now:
        raise InputProblems(_other_run(kept, job.setups[index].name, differs))
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
    known, told = (), None
    if taken is not None:
        changed[:index], known = taken.reads, taken.known
        told = {"file": str(kept.path), "cell": kept.cell, "setups": taken.told, "ran_otherwise": differs}
    warm_up(progress)
    result = result_of(*check(job, changed, cell, progress, known))
    return resume_result(read.name, line, safe, chosen, top, result, told)


def kept_field(path: Path, cell: float | None) -> Kept:
    """Return a kept field; cell mm: as asked for, None: as it is.  Raises InputProblems."""
    kept = Kept(path)
    if cell is not None and cell != kept.cell:
        found, expected = f"cells of {cell:g} mm", f"{kept.cell:g} mm, those of {path}"
        raise InputProblems(
            Problem(Place("command line", key="--cell"), found, expected, "leave --cell out beside --field")
        )
    return kept


def _other_run(kept: Kept, name: str, differs: list[str]) -> Problem:
    """Return the question which of two versions was run in the setup that broke off."""
    return Problem(
        Place(str(kept.path), key=OPTION),
        f"another run of '{name}' up to the break than the job's: {', '.join(differs)}",
        "what was run to be the job as it is now",
        "add --ran-now if it is; if the kept one was run, its lines cannot be joined with those of another: "
        "put its programs back and resume them",
    )


def _clear_height(job: Job, index: int) -> float:
    """Return the height clear of blank, fixtures, pins and jig, from the setup's zero, mm."""
    setup = job.setups[index]
    heights = [fixture.height for fixture in standing_in(job, index)]
    if setup.jig is not None:
        board = read_job(setup.jig).last_body
        heights.append(board.high[2] - board.low[2] - setup.jig_at[2])
    highest = max([setup.highest(job.blank), *heights]) + (job.machine.clearance if heights else 0.0)
    return highest - float(setup.to_table(job.blank).offset[2])


def _stated(line: int, broken: int, safe: list[int], read: ProgramRead) -> int:
    """Return the line that a person would start at, if it is safe; broken: the line of the break."""
    safe = [one for one in safe if one <= broken]  # from one behind it, what lies between would stay uncut
    if line in safe:
        return line
    before = [str(one) for one in safe if one < line][-2:]
    after = [str(one) for one in safe if one > line][:2]
    near = ", ".join(before + after)
    if line > broken:
        raise InputProblems(
            Problem(
                Place("command line", key="--from"),
                f"line {line} of {read.name}, behind the break",
                f"a safe line up to {broken}" + (f" (the last of them: {near})" if near else ""),
                "start at one of these: what lies between would stay uncut",
            )
        )
    raise InputProblems(
        Problem(
            Place("command line", key="--from"),
            f"line {line} of {read.name}"
            + (", which takes words of its drilling cycle from lines before" if line in read.leaning else ""),
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
