"""A commented job file from what lies in a folder: what it tells, what it lets one guess, and blanks."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simkit.draft import guesses
from simkit.draft.guesses import Cuts, Guess, number
from simkit.draft.seen import Mesh, Program, Seen
from simkit.draft.tables import Entry, blank, comment, defaults, guessed, seen, table, text
from simkit.job.key import UNFILLED
from simkit.units import MM_PER_UNIT

_MOST_QUOTES = 3
_SIZE = re.compile(r"\b(blank|stock|board)\b.*\d", re.IGNORECASE)
_ABOUT_ZERO = re.compile(r"\b(zero|origin)\b", re.IGNORECASE)
_ABOUT_TURN = re.compile(r"\b(turn|turned|flip|flipped|over)\b", re.IGNORECASE)


def draft(folder: Path, found: Seen) -> str:
    """Return the text of a job file for what was seen in a folder.

    Every value that is a guess is marked GUESS with its evidence, every one that nothing tells is a "?"
    marked FILL IN; the reader of job files refuses them until they are filled in.
    """
    first, second, untold, why = guesses.sides(found.programs)
    cuts = [guesses.cuts_of(first), guesses.cuts_of(second)]
    corner = guesses.corner(cuts[0])
    lines = [
        "# A job for simkit, drafted from the programs and meshes in this folder.",
        f'# FILL IN: write a value in place of each "{UNFILLED}"; the file is refused until none is left.',
        "# GUESS: told from what stands below it. See whether it is right: a wrong zero spoils the wood.",
        "# Values in ( ) are quoted from comments in the programs and were not used.",
        "# More keys, all optional: simkit template",
        *_unread(found),
        "",
        *table("", "", _top(folder, found.programs)),
        "",
        *table("[blank]", "blank", *_blank(found, cuts)),
        "",
    ]
    for tool, entries, notes in cutters(found.programs):
        lines += [*table(f"[cutters.{tool}]", "cutters.N", entries, notes), ""]
    lines += _setups(first, second, untold, why)
    lines += _target(found.meshes, cuts[0] or cuts[1], corner)
    lines += _dowels(first, corner, guesses.unit_of(found.programs))
    lines += defaults("[limits]", "limits")
    return "\n".join(lines) + "\n"


def _unread(found: Seen) -> list[str]:
    names = [one.name for one in found.programs if one.read is None]
    names += [one.name for one in found.meshes if one.bounds is None]
    return comment(f"Not read, and told when this was written: {', '.join(names)}") if names else []


def _top(folder: Path, programs: Sequence[Program]) -> dict[str, Entry]:
    name, unit = folder.resolve().name, guesses.unit_of(programs)
    why = ("The programs count in inches (G20).",) if unit == "in" else ()
    entries = {"unit": seen(text(unit), *why)}
    return {"name": seen(text(name)), **entries} if name.isprintable() and name.strip() else entries


def _quotes(programs: Sequence[Program], is_meant) -> tuple[str, ...]:
    """Return comments of programs that speak of something, each once, as (comment) with its place."""
    found: dict[str, str] = {}
    for program in programs:
        for line, words in program.comments:
            if is_meant(program, line, words):
                found.setdefault(words, f"{program.name}:{line} says ({words})")
    return tuple(found.values())[:_MOST_QUOTES]


def _blank(found: Seen, cuts: Sequence[Cuts | None]) -> tuple[dict[str, Entry], tuple[str, ...]]:
    """Return the entries of [blank], all to be filled in, and its notes.  The size must be measured."""
    names = ("length", "width", "thickness")
    told = zip(names, size_words(found, cuts), strict=True)
    entries = {name: blank("Measure it.", *why) for name, why in told}
    quotes = _quotes(found.programs, lambda program, line, words: _SIZE.search(words))
    return entries, quotes


def size_words(found: Seen, cuts: Sequence[Cuts | None]) -> list[list[str]]:
    """Return what programs and meshes tell of length, width and thickness of the blank, in words.

    cuts: of the programs of side 1 and of side 2.
    """
    meshes = [mesh for mesh in found.meshes if mesh.bounds is not None]
    told = []
    for axis in range(3):
        why = []
        for side, one in enumerate(cuts, 1):
            if one is not None and axis < 2:
                span = f"{'XY'[axis]}{one.told(one.low[axis])} to {one.told(one.high[axis])}"
                why.append(f"The cuts of side {side} go from {span} (axis of the cutter).")
            elif one is not None:
                why.append(f"Side {side}: {one.depth_words}.")
        for mesh in meshes:
            low, high = mesh.bounds[:, axis]
            span = f"{'xyz'[axis]} {number(low)} to {number(high)}"
            why.append(f"{mesh.name} is {number(high - low)} of its unit, {span}.")
        told.append(why)
    return told


def cutters(programs: Sequence[Program]) -> list[tuple[int, dict[str, Entry], tuple[str, ...]]]:
    """Return for each cutter its number, entries and notes: where it is used, how fast, how deep."""
    notes: dict[int, list[str]] = {}
    for program in programs:
        if program.read is None:
            continue
        moves = program.moves
        for tool in sorted(set(moves.tool.tolist())):
            rows = np.flatnonzero((moves.tool == tool) & ~moves.rapid)
            if not len(rows):
                continue
            speeds = np.unique(np.abs(moves.speed[rows][moves.speed[rows] != 0])).tolist()
            row = rows[int(program.low[rows, 2].argmin())]
            turning = f"S{number(speeds[0])} to S{number(speeds[-1])}" if speeds else "no speed"
            turning = f"S{number(speeds[0])}" if len(speeds) == 1 else turning
            upright = (moves.start[rows, :2] == moves.end[rows, :2]).all()
            words = f"{program.name}: {turning}, lowest cut Z{number(program.low[row, 2], program.unit)}"
            words += f" (line {moves.line[row]})" + (", only straight down, as a drill" if upright else "")
            notes.setdefault(tool or 1, []).append(words + ("" if tool else "; the program calls no cutter"))
    made = []
    for tool in sorted(notes) or [1]:
        called = re.compile(rf"\bT0*{tool}\b", re.IGNORECASE)
        quotes = _quotes(programs, lambda program, line, words, called=called: called.search(words))
        made.append((tool, {}, (*notes.get(tool, ["No program says which cutters there are."]), *quotes)))
    return made


def _setups(
    first: Sequence[Program], second: Sequence[Program], untold: Sequence[Program], why: Sequence[str]
) -> list[str]:
    lines = []
    is_open = bool(untold)
    both = [(0, first)] + ([(1, second)] if second or is_open else [])
    for side, programs in both:
        names = ", ".join(text(program.name) for program in programs)
        if is_open:
            others = ", ".join(text(program.name) for program in untold)
            words = [f"Nothing tells which side these are: {others}. List here those of this one."]
            words += [f"Of this side: {names}"] if names else []
            entry = blank(*words, *_told_apart(untold))
            if side == 1:
                lines += comment(
                    f"The blank turned over. If {others} run as it lies first, list them above, and delete"
                    " all of this [[setups]]."
                )
        else:
            told = tuple(word for word in why if any(program.name in word for program in programs))
            entry = Entry(f"[{names}]", "GUESS", told or tuple(why)) if programs else blank()
        entries = _setup(side, programs or untold)
        entries["programs"] = entry
        lines += [*table("[[setups]]", "setups[]", entries), ""]
    if len(both) == 1:
        lines += [*comment("When the blank is turned over, add [[setups]] once more for the other side."), ""]
    return lines


def _told_apart(programs: Sequence[Program]) -> list[str]:
    """Return what each program cuts with and where, in words, to tell their sides by."""
    words = []
    for program in programs:
        cuts = guesses.cuts_of([program])
        if cuts is not None:
            tools = np.unique(program.moves.tool[~program.moves.rapid]).tolist()
            called = ", ".join(f"T{tool}" for tool in tools if tool)
            words.append(f"{program.name}: {f'{called}, ' if called else ''}{cuts.words}")
    return words


def _setup(side: int, programs: Sequence[Program]) -> dict[str, Entry]:
    """Return the entries of one setup but its programs."""
    cuts = guesses.cuts_of(programs)
    corner, face = guesses.corner(cuts), guesses.face(cuts)
    about_zero, about_turn = (
        _quotes(programs, lambda program, line, words, about=about: about.search(words))
        for about in (_ABOUT_ZERO, _ABOUT_TURN)
    )
    words = ", ".join(
        f"{name} = {text(guess.value or UNFILLED)}" for name, guess in (("corner", corner), ("face", face))
    )
    is_told = corner.value is not None and face.value is not None
    entries = {
        "name": seen(text(f"side {side + 1}")),
        "zero": Entry(
            f"{{ {words} }}", "GUESS" if is_told else "FILL IN", (*corner.why, *face.why, *about_zero)
        ),
        "turn": seen(text("none")) if side == 0 else blank(*about_turn),
    }
    reads = [program for program in programs if program.read is not None]
    if cuts is not None and cuts.deepest[0] < -guesses.NEAR:
        entries["spoilboard"] = blank(f"{cuts.depth_words}. Write 0 where no cutter may go below the blank.")
    if any(0 in program.moves.tool for program in reads):
        entries["cutter"] = Entry("1", "GUESS", ("A program calls none; [cutters.1] is then meant.",))
    if without := [program.name for program in reads if not program.is_unit_known]:
        entries["program_units"] = blank(f"No G20 or G21 in {', '.join(without)}: read here as mm.")
    others = [
        f"{program.name}:{line} calls {name}"
        for program in reads
        for name, line, _ in program.read.work_zeros
        if name != "G54"
    ]
    if others:
        entries["work_offsets"] = blank(*others, 'Write it like { "G55" = [100, 0, 0] }.')
    return entries


def _target(meshes: Sequence[Mesh], cuts: Cuts | None, corner: Guess) -> list[str]:
    if not meshes:
        return [
            *comment("No mesh is here: the shape will not be judged. Add [target] when there is one."),
            "",
        ]
    if len(meshes) > 1:
        names = ", ".join(text(mesh.name) for mesh in meshes)
        entries = {"mesh": blank(f"One of {names}"), "units": blank(), "anchor": blank(), "at": blank()}
        return [*table("[target]", "target", entries), ""]
    mesh = meshes[0]
    entries = {"mesh": seen(text(mesh.name)), "units": blank()}
    if mesh.bounds is not None:
        unit = guesses.units(mesh, cuts)
        entries["units"] = guessed(unit)
        place = Guess(None)
        if unit.value is not None and cuts is not None:
            place = guesses.lies_where_it_is_cut(mesh, unit.value, cuts, corner.value)
            size = (mesh.bounds[1] - mesh.bounds[0]) * MM_PER_UNIT[unit.value]
            told = " x ".join(map(cuts.told, size))
            entries["mesh"] = seen(text(mesh.name), f"It is {told} {cuts.unit} then.")
        entries["anchor"] = guessed(place)
        entries["at"] = blank() if place.value is None else Entry("[0, 0, 0]", "GUESS", place.why)
    return [*table("[target]", "target", entries), ""]


def _dowels(first: Sequence[Program], corner: Guess, unit: str) -> list[str]:
    lines = []
    for index, one in enumerate(dowels(first, corner, unit), 1):
        at = blank(one.why)
        if one.at is not None:
            at = Entry(f"[{', '.join(one.at)}]", "GUESS", (one.why, "X0 Y0 is guessed to be that corner."))
        diameter = blank(f"As wide as T{one.tool}, which drills it.")
        entries = {"name": seen(text(f"hole {index}")), "at": at, "diameter": diameter}
        lines += [*table("[[dowels]]", "dowels[]", entries), ""]
    return lines


@dataclass(frozen=True)
class DowelGuess:
    """A hole that looks as if it were drilled for a dowel.

    at: x and y as text in the unit of the job, from the left front corner of the blank; None where nothing
    tells where that is.  tool: the cutter that drills it, as wide as the hole.  why: the evidence.
    """

    at: tuple[str, str] | None
    tool: int
    why: str


def dowels(first: Sequence[Program], corner: Guess, unit: str) -> list[DowelGuess]:
    """Return the holes of side 1 that may be for dowels.  corner: where X0 Y0 is.  unit: of the job."""
    found, units = [], {program.name: program.unit for program in first}
    for hole in guesses.holes(first):
        x, y = hole.at
        its = units[hole.program]
        words = f"T{hole.tool} only goes straight down there, to Z{number(hole.depth, its)}"
        words += f" ({hole.program}:{hole.line}); X{number(x, its)} Y{number(y, its)} in the program"
        at = (number(x, unit), number(y, unit)) if corner.value == "left front" else None
        found.append(DowelGuess(at, hole.tool, words))
    return found
