"""A job without a job file: blank, cutters and programs as the command line gives them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from simkit.cutters import SHAPES, Cutter
from simkit.errors import InputProblems, Place, Problem, nearest_word
from simkit.job.check import BAD, Checker
from simkit.job.files import file_problem, shown_text
from simkit.job.locate import Spot
from simkit.job.meant import Meant, WordChecker, number_or_text
from simkit.job.model import CORNERS, FACES, Blank, Job, Limits, Setup, TargetSpec, Zero
from simkit.job.rules import cutter_rules
from simkit.job.schema import BIGGEST, TOOL_NUMBERS, UNITS, children

_UNIT_AT_END = re.compile(r"""[\d/.]\s*([a-z"]+)$""", re.IGNORECASE)
_BLANK_LIKE = 'LENGTHxWIDTHxTHICKNESS, such as 280x90x38 or "11x3 1/2x1 1/2 in"'
_CUTTER_LIKE = "NUMBER=SHAPE:DIAMETER, such as 1=ball:6"


def blank_from_text(text: str) -> Blank:
    """Return the blank of a text such as "280x90x38" or "11x3 1/2x1 1/2 in".

    Sizes are mm unless they carry a unit; a unit behind the last size holds for all three when the
    others carry none.  Raises InputProblems at the place "--blank".
    """
    place = Place("--blank")
    sizes = [part.strip() for part in re.split(r"[xX×*]", text)]
    if len(sizes) != 3 or not all(sizes):
        raise InputProblems(Problem(place, shown_text(text), _BLANK_LIKE, "write three sizes with x between"))
    units = [match[1] if (match := _UNIT_AT_END.search(size)) else "" for size in sizes]
    if units[2] and not units[0] and not units[1]:
        sizes = [f"{sizes[0]} {units[2]}", f"{sizes[1]} {units[2]}", sizes[2]]
    elif any(units) and not all(units):
        raise InputProblems(
            Problem(
                place,
                f"{shown_text(text)}, some sizes with a unit and some without",
                _BLANK_LIKE,
                "write the unit once behind the last size, or behind each",
            )
        )
    checker = Checker("--blank", {}, "mm")
    names = ("length", "width", "thickness")
    values = checker.table(dict(zip(names, map(number_or_text, sizes), strict=True)), "blank", "")
    if checker.problems:
        raise InputProblems(checker.problems)
    return Blank(**values)


def cutter_from_text(text: str) -> Cutter:
    """Return the cutter of a text such as "1=ball:6" or "2=flat:1/4 in,flutes=2,cutting_length=22".

    Lengths are mm unless they carry a unit.  Raises InputProblems at the place "--cutter".
    """
    place = Place("--cutter")
    number_text, equals, rest = text.partition("=")
    shape, colon, sizes = rest.partition(":")
    diameter, *others = (part.strip() for part in sizes.split(","))
    if not (equals and colon and shape.strip() and diameter):
        raise InputProblems(
            Problem(
                place,
                shown_text(text),
                _CUTTER_LIKE,
                f"write = behind the number, : behind a shape ({', '.join(SHAPES)})",
            )
        )
    low, high = TOOL_NUMBERS
    number_text = number_text.strip().lstrip("Tt")
    is_number = number_text.isascii() and number_text.isdigit() and len(number_text) < 10
    if not is_number or not low <= int(number_text) <= high:
        raise InputProblems(
            Problem(
                place,
                f"the tool number {shown_text(number_text)}",
                f"a number from {low} to {high}",
                "write the number that T calls",
            )
        )
    values: dict[str, Any] = {"shape": shape.strip(), "diameter": number_or_text(diameter)}
    problems = []
    for part in others:
        key, equals, value = (each.strip() for each in part.partition("="))
        if not equals or not value or key in values:
            found = f"{shown_text(part)} again" if key in values and value else shown_text(part)
            problems.append(
                Problem(
                    place,
                    found,
                    "KEY=VALUE, each key once",
                    "write it like cutting_length=22, and a decimal point, not a comma",
                )
            )
        else:
            values[key] = number_or_text(value)
    number = int(number_text)
    spots = {f"{number}.{key}": Spot(1, 1) for key in values}
    checker = WordChecker("--cutter", spots, "mm")
    checked = checker.table(values, "cutters.N", str(number))
    cutter_rules(checker, {number: checked}, BAD, "")
    problems += [_as_option(problem, text) for problem in checker.problems]
    if problems:
        raise InputProblems(problems)
    return Cutter(number=number, **checked)


def _as_option(problem: Problem, text: str) -> Problem:
    """Return a problem of a cutter with "add KEY = ..." of the job file said as it is written here."""
    match = re.fullmatch(r"add (\w+) = \.\.\.", problem.remedy)
    if match is None:
        return problem
    remedy = f'write it behind the diameter: --cutter "{text},{match[1]}=..."'
    return Problem(problem.place, problem.found, problem.expected, remedy)


def make_job(
    programs: Sequence[Path | str],
    blank: Blank,
    cutters: Iterable[Cutter],
    target: Path | str | None = None,
    *,
    target_units: str = "mm",
    target_anchor: str = "origin",
    target_at: tuple[float, float, float] = (0.0, 0.0, 0.0),
    zero: str = "left front top",
    limits: Limits | None = None,
    meant: Meant | None = None,
) -> Job:
    """Return a job of one setup, side 1 up, from programs that need no job file.

    programs: at least one, run in this order.  target: a mesh; its `target_anchor` lies at
    `target_at` mm in the blank frame, by default its own origin at the left front bottom corner.
    zero: corner and face in any order, such as "left front top" or "centre bottom".  A single cutter
    also serves programs that call none.  meant: how the programs are meant, where it is not the usual.
    Raises InputProblems.
    """
    meant = meant or Meant()
    problems: list[Problem | None] = []
    by_number: dict[int, Cutter] = {}
    for cutter in cutters:
        if cutter.number in by_number:
            problems.append(
                Problem(
                    Place("--cutter"),
                    f"two cutters with the number {cutter.number}",
                    "each tool number once",
                    "give one of them its own number",
                )
            )
        by_number[cutter.number] = cutter
    if not by_number:
        problems.append(Problem(Place("--cutter"), "none", _CUTTER_LIKE, "add at least one"))
    if not programs:
        problems.append(Problem(Place("PROGRAM"), "none", "a program", "name at least one"))
    checker = Checker("--cutter", {}, "mm")
    measures = {
        number: {key.name: getattr(cutter, key.name) for key in children("cutters.N")}
        for number, cutter in by_number.items()
    }
    cutter_rules(checker, measures, {"length": blank.length, "width": blank.width}, "")
    problems += checker.problems
    problems += [file_problem(Path(path), str(path), Place(str(path)), "a program") for path in programs]
    if target is not None:
        problems.append(file_problem(Path(target), str(target), Place("--target"), "a mesh"))
    if target_units not in UNITS:
        problems.append(
            Problem(
                Place("--target-units"), shown_text(target_units), f"one of {', '.join(UNITS)}", "choose one"
            )
        )
    work_zero = _zero(zero, problems)
    found = [problem for problem in problems if problem is not None]
    if found:
        raise InputProblems(found)
    first = Path(programs[0])
    return Job(
        name=first.stem,
        blank=blank,
        cutters=by_number,
        setups=(
            Setup(
                name="side 1",
                programs=tuple(Path(path) for path in programs),
                zero=work_zero,
                cutter=next(iter(by_number)) if len(by_number) == 1 else None,
                work_offsets=meant.work_offsets,
                program_units=meant.program_units,
                spoilboard=meant.spoilboard,
            ),
        ),
        target=None
        if target is None
        else TargetSpec(Path(target), units=target_units, anchor=target_anchor, at=target_at),
        limits=limits or Limits(),
        harmless_words=meant.harmless_words,
        block_delete=meant.block_delete,
        arc_tolerance=meant.arc_tolerance,
        spindle_by_hand=meant.spindle_by_hand,
    )


def job_from_words(
    programs: Sequence[str],
    blank: str | None,
    cutters: Sequence[str] | None,
    target: Path | str | None = None,
    zero: str | None = None,
    meant: Meant | None = None,
) -> Job:
    """Return the job that the words of the command line describe.

    programs, target: paths.  blank: as blank_from_text reads it.  cutters: each as cutter_from_text
    reads it.  zero, meant: as make_job reads them.  Raises InputProblems with all problems of all the words.
    """
    problems: list[Problem] = []
    if not blank:
        problems.append(Problem(Place("--blank"), "nothing", _BLANK_LIKE, "add --blank 280x90x38"))
    if not cutters:
        problems.append(Problem(Place("--cutter"), "nothing", _CUTTER_LIKE, "add --cutter 1=ball:6"))
    block: Blank | None = None
    known: list[Cutter] = []
    try:
        block = blank_from_text(blank) if blank else None
    except InputProblems as error:
        problems += error.problems
    for text in cutters or ():
        try:
            known.append(cutter_from_text(text))
        except InputProblems as error:
            problems += error.problems
    if block and known and not problems:
        return make_job(programs, block, known, target, zero=zero or "left front top", meant=meant)
    # The rest is looked at too, with stand-ins for what cannot be read.
    try:
        make_job(
            programs,
            block or Blank(BIGGEST, BIGGEST, BIGGEST),
            known or [Cutter(1, "flat", 1.0)],
            target,
            zero=zero or "left front top",
        )
    except InputProblems as error:
        problems += error.problems
    raise InputProblems(problems)


def zero_from_text(text: str) -> Zero:
    """Return the zero of words such as "left front top", in any order.  Raises InputProblems."""
    problems: list[Problem | None] = []
    zero = _zero(text, problems)
    if problems:
        raise InputProblems([problem for problem in problems if problem is not None])
    return zero


def _zero(text: str, problems: list[Problem | None]) -> Zero:
    """Return the zero of words such as "left front top"."""
    words = text.lower().split()
    corners = {" ".join(sorted(corner.split())): corner for corner in CORNERS}
    faces = [word for word in words if word in FACES]
    corner = corners.get(" ".join(sorted(word for word in words if word not in FACES)))
    if corner and len(faces) == 1:
        return Zero(corner, faces[0])
    known = [f"{corner} {face}" for corner in CORNERS for face in FACES]
    near = nearest_word(text.lower(), known) if not corner and len(faces) < 2 else None
    problems.append(
        Problem(
            Place("--zero"),
            shown_text(text),
            f"a corner ({', '.join(CORNERS)}) and a face ({', '.join(FACES)})",
            f"write '{near}'" if near else f"write it like '{corner or 'left front'} top'",
        )
    )
    return Zero()
