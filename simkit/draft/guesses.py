"""What programs and a mesh let one guess of a job, each with its evidence in words; None: nothing tells."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.draft.seen import Mesh, Program
from simkit.units import MM_PER_INCH, MM_PER_UNIT, units_as_large

SHARE = 0.25  # of what is cut: so much beyond an edge may be meant
NEAR = 0.01  # mm: holes so near are one, or in one row
MOST_HOLES = 8  # of one cutter; more are no dowel holes
_NUMBERED = re.compile(r"(?:side|setup|seite|op)[\W_]*([12])(?!\d)", re.IGNORECASE)
_WORDS = (("first", "top", "upper"), ("second", "bottom", "underside", "under", "lower", "reverse"))
_HEAD = 10  # comments of a program that are taken for its title


@dataclass(frozen=True)
class Guess:
    """A value as it is written in a job file (None: nothing tells), and the evidence in words."""

    value: str | None
    why: tuple[str, ...] = ()


def number(value: float, unit: str = "mm") -> str:
    """Return a length, mm, for a person in a unit, mm or in: at most two decimals of mm, four of inches."""
    if unit == "in":
        return f"{round(float(value) / MM_PER_INCH, 4) + 0.0:g}"
    return f"{round(float(value), 2) + 0.0:g}"


def unit_of(programs: Sequence[Program]) -> str:
    """Return the unit of a job with these programs: "in" where all that can be read count in inches."""
    units = {program.unit for program in programs if program.read is not None}
    return "in" if units == {"in"} else "mm"


@dataclass(frozen=True)
class Cuts:
    """How far the cutting moves of some programs go, in their own frame: low, high (3,) mm.

    deepest: (Z, program, line).  top: highest Z of the cutting moves that go sideways, None without any.
    All mm; unit: in which they are told.
    """

    low: np.ndarray
    high: np.ndarray
    deepest: tuple[float, str, int]
    top: float | None
    unit: str = "mm"

    def told(self, value: float) -> str:
        """A length in words, without its unit."""
        return number(value, self.unit)

    @property
    def words(self) -> str:
        """The box in words."""
        spans = zip("XYZ", self.low, self.high, strict=True)
        return "cuts go from " + ", ".join(f"{axis}{self.told(a)} to {self.told(b)}" for axis, a, b in spans)

    @property
    def depth_words(self) -> str:
        """The lowest cut in words."""
        z, name, line = self.deepest
        return f"lowest cut Z{self.told(z)} in {name}:{line}"


def cuts_of(programs: Sequence[Program]) -> Cuts | None:
    """Return how far the cuts of all these programs go; None when they cut nothing."""
    lows, highs, deepest, top = [], [], [], []
    for program in programs:
        if program.read is None or not len(program.moves):
            continue
        moves = program.moves
        rows = np.flatnonzero(~moves.rapid)
        if not len(rows):
            continue
        lows.append(program.low[rows].min(axis=0))
        highs.append(program.high[rows].max(axis=0))
        row = rows[int(program.low[rows, 2].argmin())]
        deepest.append((float(program.low[row, 2]), program.name, int(moves.line[row])))
        sideways = rows[(moves.start[rows, :2] != moves.end[rows, :2]).any(axis=1)]
        top += [float(program.high[sideways, 2].max())] if len(sideways) else []
    if not lows:
        return None
    return Cuts(
        np.min(lows, axis=0),
        np.max(highs, axis=0),
        min(deepest),
        max(top) if top else None,
        unit_of(programs),
    )


def corner(cuts: Cuts | None) -> Guess:
    """Return which corner of the blank the zero is at, from where the cuts lie about X0 Y0."""
    if cuts is None:
        return Guess(None, ("nothing is cut",))
    words = []
    for axis, names in ((0, ("left", "right")), (1, ("front", "back"))):
        least, most = cuts.low[axis], cuts.high[axis]
        reach = SHARE * (most - least)
        words.append(names[0] if least >= -reach else names[1] if most <= reach else "")
    if all(words):
        return Guess(" ".join(words), (f"{cuts.words}: X0 Y0 is at their {' '.join(words)}",))
    if not any(words):
        return Guess("centre", (f"{cuts.words}: X0 Y0 is in their middle",))
    return Guess(None, (f"{cuts.words}: X0 Y0 is at no corner and not in their middle",))


def face(cuts: Cuts | None) -> Guess:
    """Return whether Z0 is the top of the blank or the table, from how deep the cuts go."""
    if cuts is None:
        return Guess(None)
    top = cuts.high[2] if cuts.top is None else cuts.top
    depth = -cuts.deepest[0]
    if depth <= NEAR:
        return Guess("bottom", (f"{cuts.depth_words}: none goes below Z0",))
    if depth >= max(top, 0.0):
        return Guess("top", (f"{cuts.depth_words}, sideways at Z{cuts.told(top)} at most: Z0 is the top",))
    return Guess(
        None, (f"{cuts.depth_words}, but sideways up to Z{cuts.told(top)}: Z0 may be the top or the table",)
    )


def sides(programs: Sequence[Program]) -> tuple[list[Program], list[Program], list[Program], list[str]]:
    """Return the programs of side 1, of side 2, those that nothing tells of, and the evidence in words."""
    found: tuple[list[Program], list[Program]] = ([], [])
    untold, why = [], []
    for program in programs:
        side, words = _side(program)
        if side is None:
            untold.append(program)
        else:
            found[side].append(program)
            why.append(words)
    if untold and len(programs) == 1:
        return untold, [], [], ["the only program"]
    if len(untold) == 2 and len(programs) == 2:
        drilling = [program for program in untold if holes([program])]
        if len(drilling) == 1:
            first = drilling[0]
            second = next(program for program in untold if program is not first)
            return [first], [second], [], [f"{first.name} drills holes in a row, as for dowels"]
    if len(untold) == len(found[1]) == 1 and not found[0]:
        return untold, found[1], [], [*why, f"{untold[0].name} is the other one of two"]
    return *found, untold, why


def _side(program: Program) -> tuple[int | None, str]:
    stem = program.name.rpartition(".")[0]
    texts = [(stem, "")]
    texts += [(text, f"{program.name}:{line} says ({text})") for line, text in program.comments[:_HEAD]]
    for text, words in texts:
        if match := _NUMBERED.search(text):
            return int(match[1]) - 1, words or _by_name(program, int(match[1]) - 1)
    parts = set(re.split(r"[\W_\d]+", stem.lower()))
    for side, names in enumerate(_WORDS):
        if parts & set(names) and not parts & set(_WORDS[1 - side]):
            return side, _by_name(program, side)
    return None, ""


def _by_name(program: Program, side: int) -> str:
    return f"{program.name} is for side {side + 1}, by its name"


@dataclass(frozen=True)
class Hole:
    """A place where a cutter goes straight down and nothing else: (x, y), Z and line of its lowest cut."""

    at: tuple[float, float]
    depth: float
    program: str
    line: int
    tool: int


def holes(programs: Sequence[Program]) -> list[Hole]:
    """Return holes that lie in pairs along x or y, of cutters that do nothing but go straight down."""
    found: list[Hole] = []
    for program in programs:
        if program.read is None:
            continue
        moves = program.moves
        for tool in np.unique(moves.tool[~moves.rapid]).tolist():
            rows = np.flatnonzero((moves.tool == tool) & ~moves.rapid)
            if (moves.start[rows, :2] != moves.end[rows, :2]).any():
                continue
            places: dict[tuple[float, float], int] = {}
            for row in rows.tolist():
                at = tuple(round(value, 2) for value in moves.end[row, :2].tolist())
                if at not in places or program.low[row, 2] < program.low[places[at], 2]:
                    places[at] = row
            if len(places) <= MOST_HOLES:
                found += [
                    Hole(
                        tuple(moves.end[row, :2].tolist()),
                        float(program.low[row, 2]),
                        program.name,
                        int(moves.line[row]),
                        tool,
                    )
                    for row in places.values()
                ]
    return [hole for hole in found if any(_are_a_pair(hole, other) for other in found)]


def _are_a_pair(a: Hole, b: Hole) -> bool:
    across = [abs(p - q) for p, q in zip(a.at, b.at, strict=True)]
    return a is not b and a.tool == b.tool and min(across) <= NEAR < max(across)


def units(mesh: Mesh, cuts: Cuts | None) -> Guess:
    """Return the unit in which the mesh is as large as what is cut, if there is just one."""
    size = mesh.bounds[1] - mesh.bounds[0]
    plain = " x ".join(number(length) for length in size)
    if cuts is None:
        return Guess(None, (f"the mesh is {plain} of its unit, and nothing is cut to compare it with",))
    room = (cuts.high - cuts.low)[:2]
    fits = units_as_large(size[:2], room)
    wide = " x ".join(map(cuts.told, room))
    words = f"the mesh is {plain} of its unit, the cuts {wide} {cuts.unit} in plan"
    if len(fits) != 1:
        return Guess(None, (words,))
    return Guess(fits[0], (f"{words}; in {fits[0]} it fits them",))


def lies_where_it_is_cut(mesh: Mesh, unit: str, cuts: Cuts, corner_word: str | None) -> Guess:
    """Return whether the origin of the mesh is the left front bottom corner of the blank."""
    bounds = mesh.bounds * MM_PER_UNIT[unit]
    spans = zip("xyz", *bounds, strict=True)
    words = "the mesh reaches from " + ", ".join(
        f"{axis} {cuts.told(a)} to {cuts.told(b)}" for axis, a, b in spans
    )
    slack = 0.1 * (cuts.high - cuts.low)[:2]
    is_there = (
        corner_word == "left front"
        and (bounds[0] >= -NEAR).all()
        and (bounds[0, :2] >= cuts.low[:2] - slack).all()
        and (bounds[1, :2] <= cuts.high[:2] + slack).all()
    )
    return Guess("origin" if is_there else None, (f"{words} {cuts.unit}; {cuts.words}",))
