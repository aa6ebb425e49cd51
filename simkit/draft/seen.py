"""What lies in a folder: programs and meshes as far as they can be read, and what is wrong with the rest."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simkit.errors import InputProblems, Place
from simkit.job.files import file_problem
from simkit.job.locate import printable
from simkit.job.meant import Meant
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.program.job_programs import bytes_of
from simkit.program.reader import ProgramRead
from simkit.report.program_summary import read_alone

PROGRAMS = (".nc", ".ngc", ".tap", ".cnc", ".gcode", ".gc")
PERHAPS = (".txt",)  # a program only if it reads like one
_LINE_OF_WORDS = re.compile(rb"\s*(/\s*)?([NGMTXYZFS]\s*[+-]?[\d.]+\s*)+(\(|;|$)", re.IGNORECASE)
_COMMENT = re.compile(r"\(([^()]*)\)|;(.*)$")
_LONGEST = 100  # characters of a comment that are quoted


@dataclass(frozen=True)
class Program:
    """A program of the folder.

    name: of the file.  read: what is in it, None where it cannot be read.  low, high (n, 3) mm: how far each
    move goes.  comments: (line, text), printable.  is_unit_known: it states G20 or G21; else its numbers
    were taken as mm.
    """

    name: str
    read: ProgramRead | None
    low: np.ndarray
    high: np.ndarray
    comments: tuple[tuple[int, str], ...] = ()
    is_unit_known: bool = True

    @property
    def unit(self) -> str:
        """The unit it counts in: "in" where it states inches and nothing else, else "mm"."""
        return "in" if self.read is not None and self.read.units_seen == ("in",) else "mm"

    @property
    def moves(self) -> Moves:
        """The moves; only of a program that was read."""
        return self.read.moves


@dataclass(frozen=True)
class Mesh:
    """A mesh of the folder.  bounds (2, 3): low and high corner in its unit, None where it cannot be read."""

    name: str
    bounds: np.ndarray | None


@dataclass(frozen=True)
class Seen:
    """All of it, in the order of the names.  problems: of the files that cannot be read."""

    programs: tuple[Program, ...]
    meshes: tuple[Mesh, ...]
    problems: tuple[InputProblems, ...]


def seen_in(folder: Path) -> Seen:
    """Return what lies in a folder itself, not below it."""
    from simkit.target.mesh import FORMATS

    paths = sorted((path for path in folder.iterdir() if not path.name.startswith(".")), key=_by_number)
    programs, meshes, problems = [], [], []
    for path in paths:
        kind = path.suffix.lower()
        if path.is_dir() or (kind in PERHAPS and not _reads_like_a_program(path)):
            continue
        if kind in PROGRAMS + PERHAPS:
            program = _program(path, problems)
            programs.append(program)
        elif kind in FORMATS:
            meshes.append(_mesh(path, problems))
    return Seen(tuple(programs), tuple(meshes), tuple(problems))


def _by_number(path: Path) -> list[tuple[int, int | str]]:
    """Return what sorts side10 behind side2."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(1, int(part)) if part.isdecimal() else (2, part) for part in parts if part]


def _reads_like_a_program(path: Path) -> bool:
    """Return whether most of the first lines are words of a program or comments."""
    try:
        with path.open("rb") as file:
            lines = [line for line in file.read(20_000).splitlines() if line.strip(b" \t%")]
    except OSError:
        return False
    words = sum(bool(_LINE_OF_WORDS.match(line)) for line in lines)
    others = sum(line.lstrip().startswith((b"(", b";")) for line in lines)
    return words > 0 and words + others > len(lines) / 2


def _program(path: Path, problems: list[InputProblems]) -> Program:
    nothing = np.zeros((0, 3))
    place = Place(path.name)
    if problem := file_problem(path, path.name, place, "a program"):
        problems.append(InputProblems(problem))
        return Program(path.name, None, nothing, nothing)
    try:
        source = bytes_of(path, path.name)
        is_unit_known = True
        try:
            read = read_alone(source, path.name)
        except InputProblems as found:
            try:  # perhaps only its unit is not stated
                read = read_alone(source, path.name, Meant(program_units="mm"))
                is_unit_known = False
            except InputProblems:
                raise found from None
    except InputProblems as found:
        problems.append(found)
        return Program(path.name, None, nothing, nothing)
    low, high = extremes(read.moves)
    return Program(path.name, read, low, high, _comments(source), is_unit_known)


def _comments(source: bytes) -> tuple[tuple[int, str], ...]:
    found = []
    for number, line in enumerate(source.decode("utf-8", errors="replace").splitlines(), 1):
        if "(" in line or ";" in line:
            for match in _COMMENT.finditer(line):
                text = printable((match[1] or match[2] or "").strip()[:_LONGEST])
                if text:
                    found.append((number, text))
    return tuple(found)


def _mesh(path: Path, problems: list[InputProblems]) -> Mesh:
    from simkit.target.mesh import mesh_bounds

    try:
        return Mesh(path.name, mesh_bounds(path, Place(path.name)))
    except InputProblems as found:
        problems.append(found)
        return Mesh(path.name, None)
