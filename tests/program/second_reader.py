"""A second reader of programs, written from the standard alone and as naively as can be.

The reader of simkit has two ways of reading, and both work on one interpreter: what is misunderstood there is
wrong in both. This one shares no line with it. It reads good programs only: it looks for no mistakes, words
no messages, and raises Unreadable where it has no answer.

Source: NISTIR 6556 (2000), sections 3.2 to 3.8, and ISO 6983-1, from memory; README's rules for what a check
cannot know (machine places, the zero of the operator); G73, G90.1, G91.1, G95 and `;`: common usage.
"""

from __future__ import annotations

import cmath
import math
import re
from dataclasses import dataclass, field

RAPID, FEED, ARC, ARRIVAL = "rapid", "feed", "arc", "arrival"
INCH = 25.4
SAME = 1e-9  # mm; places nearer than this are one
CYCLES = {73, 81, 82, 83, 85, 86, 89}
MOTIONS = {0, 1, 2, 3, 80, *CYCLES}
# The plane of arcs and cycles: the two axes in the order in which a turn from the first to the second is
# counter-clockwise seen from the positive end of the third (right-handed: x y z, z x y, y z x).
PLANES = {17: "XYZ", 18: "ZXY", 19: "YZX"}
CENTRE = {"X": "I", "Y": "J", "Z": "K"}
WORK_ZEROS = (54, 55, 56, 57, 58, 59, 59.1, 59.2, 59.3)
KNOWN = {0, 1, 2, 3, 4, *PLANES, 20, 21, 28, 30, 40, 43, 49, 53, *WORK_ZEROS, 61, 61.1, 64, 80, *CYCLES}
KNOWN |= {90, 91, 90.1, 91.1, 92, 92.1, 93, 94, 95, 98, 99}
WORD = re.compile(r"([A-Z])([+-]?(?:\d+\.?\d*|\.\d+))")


class Unreadable(Exception):
    """The program says something that this reader has no answer for."""


@dataclass(slots=True)
class Move:
    """One motion, mm and mm/min; of an arc the centre (first, second axis of the plane) as written and the
    radii there at its start and end."""

    kind: str
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    line: int
    tool: int
    speed: float
    feed: float = math.nan
    plane: int = 17
    centre: complex = 0j
    sweep: float = 0.0
    radii: tuple[float, float] = (0.0, 0.0)


@dataclass
class Reading:
    """The moves of a program, the sum of its dwells, and behind how many moves the machine stands still.

    exact: behind which moves because of an exact stop.
    """

    moves: list[Move] = field(default_factory=list)
    dwell: float = 0.0
    rests: list[int] = field(default_factory=list)
    exact: list[int] = field(default_factory=list)


def read(text, units=None, cutter=None, work_offsets=None, skip_deleted=False, harmless_words=()) -> Reading:
    """Return the Reading of the text of a good program.

    units: "mm" or "in" for a program that states none.  cutter: for one that calls none.  work_offsets:
    "G55" -> (x, y, z) mm.  skip_deleted: pass over blocks with /.  harmless_words: they do nothing.
    """
    machine = Machine(units, work_offsets or {})
    has_words = False
    for number, line in enumerate(re.split("\r\n|\r|\n", text.removeprefix("\ufeff")), start=1):
        line = without_comments(line)
        if line == "%":
            if has_words:
                break
            continue
        has_words = has_words or bool(line)
        words = words_of(line, harmless_words, skip_deleted)
        if words:
            machine.run(words, number)
        if machine.has_ended:
            break
    name_the_tools(machine, cutter)
    return machine.reading


# -- text -> words ----------------------------------------------------------------------------------


def without_comments(line: str) -> str:
    """Return a line in upper case without ( ) and ; comments and without white space."""
    return "".join(re.sub(r"\([^)]*\)|;.*", "", line).split()).upper()


def words_of(line: str, harmless_words=(), skip_deleted=False) -> list[tuple[str, float]]:
    """Return the words (letter, value) of a line that count, N left out; none of a block passed over."""
    opening = re.match(r"(?:/|N\d+)*", line)[0]
    line = line[len(opening) :]
    if skip_deleted and "/" in opening:
        return []
    if any(line.startswith(word.upper()) for word in harmless_words if not re.fullmatch(r"[Mm]\d+", word)):
        return []
    words, written = [], WORD.findall(line)
    for letter, number in written:
        if letter == "M" and f"M{float(number):.0f}" in harmless_words:
            return words  # the rest of the line belongs to it
        words.append((letter, float(number)))
    if "".join(letter + number for letter, number in written) != line:
        raise Unreadable(line)
    return words


def name_the_tools(machine: Machine, cutter: int | None) -> None:
    """Give each move its tool: by M6; with none by T alone, unless the job names it; before, the first."""
    calls = machine.changes or ([] if cutter is not None else machine.tool_words)
    first = cutter if cutter is not None else (calls[0][1] if calls else 0)
    for k, move in enumerate(machine.reading.moves):
        done = [tool for row, tool in calls if row <= k]
        tool = done[-1] if done else first
        move.tool = int(cutter if tool is None else tool)  # None: M6 with no T before it


# -- the machine ------------------------------------------------------------------------------------


class Machine:
    """All that is in force between blocks.  place: the tip from the zero of the setup, mm; None: unknown."""

    def __init__(self, units, work_offsets):
        self.place = dict.fromkeys("XYZ")
        self.work_offsets = work_offsets
        self.work_zero = dict(zip("XYZ", work_offsets.get("G54", (0, 0, 0)), strict=True))
        self.shift = dict.fromkeys("XYZ", 0.0)  # of G92
        self.lost = set()  # axes whose words say no known place: Z behind G49, all behind a G92.1 (README)
        self.named_by_operator = set()  # axes that a G92 before any motion gave their zero
        self.scale = {"mm": 1.0, "in": INCH, None: None}[units]
        self.motion, self.plane, self.is_absolute, self.is_centre_absolute = None, 17, True, False
        self.feed_mode, self.feed, self.inverse_time = 94, None, None
        self.returns_to_r = self.has_length = self.is_named_without_length = False
        self.spindle, self.speed, self.chosen_tool = 0, 0.0, None
        self.cycle = {}
        self.changes, self.tool_words = [], []
        self.has_ended = self.is_exact = False
        self.reading = Reading()

    def run(self, block: list[tuple[str, float]], line: int) -> None:
        """Run one block in the order of execution of section 3.8."""
        g = [round(value, 1) for letter, value in block if letter == "G"]
        m = [value for letter, value in block if letter == "M"]
        w = {letter: value for letter, value in block if letter not in "GM"}
        self.line, self.inverse_time = line, None
        if not set(w) <= set("XYZ") or g or m:
            self.set_modes(g, m, w)
        self.move(g, w)
        self.has_ended = 2 in m or 30 in m

    def set_modes(self, g, m, w) -> None:
        """Do all of a block that comes before its motion."""
        if not set(g) <= KNOWN:
            raise Unreadable(f"line {self.line}: {g}")
        for mode in {93, 94, 95} & set(g):
            self.feed_mode = mode
        new_scale = INCH if 20 in g else 1.0 if 21 in g else self.scale
        self.inverse_time = w.get("F") if self.feed_mode == 93 else None
        if "F" in w and self.feed_mode != 93:
            self.feed = w["F"] * (self.scale or new_scale)  # F comes before the units of its own block
        self.speed = w.get("S", self.speed)
        if "T" in w:
            self.chosen_tool = w["T"]
            self.tool_words.append((len(self.reading.moves), self.chosen_tool))
        if 6 in m:
            self.changes.append((len(self.reading.moves), self.chosen_tool))
            self.spindle = 0
        for word, sense in ((3, 1), (4, -1), (5, 0)):
            if word in m:
                self.spindle = sense
        if 4 in g:
            self.reading.dwell += w["P"]
            self.reading.rests.append(len(self.reading.moves))
        if {61, 61.1, 64} & set(g):
            self.is_exact = 61.1 in g
        for word in PLANES:
            if word in g:
                self.plane = word
        self.scale = new_scale
        self.lengths(g)
        for word in WORK_ZEROS:
            if word in g:
                offset = self.work_offsets.get(f"G{word:g}", (0, 0, 0) if word == 54 else None)
                self.work_zero = dict(zip("XYZ", offset, strict=True))
        if 90 in g or 91 in g:
            self.is_absolute = 90 in g
        if 90.1 in g or 91.1 in g:
            self.is_centre_absolute = 90.1 in g
        if 98 in g or 99 in g:
            self.returns_to_r = 99 in g

    def lengths(self, g) -> None:
        """G43: Z is the tip.  G49 behind it: Z words say no known place (README); a zero that G92 names there
        holds without the length, so behind the next G43 it is off by it."""
        if 43 in g:
            self.lost = self.lost | {"Z"} if self.is_named_without_length else self.lost - {"Z"}
            self.has_length = True
        elif 49 in g and self.has_length:
            self.has_length = False
            self.lost |= {"Z"}

    def move(self, g, w) -> None:
        """Home and G92, else the motion of the block."""
        for word in MOTIONS & set(g):
            if word != 80 or not {0, 1, 2, 3} & set(g):
                if word != self.motion:
                    self.cycle = {}
                self.motion = word
        has_axes = bool({"X", "Y", "Z"} & set(w))
        if 28 in g or 30 in g:
            return self.go_home(w)
        if 92.1 in g:
            self.take_back_shift()
        if 92 in g:
            return self.name_place(w)
        if 53 in g:
            for axis in {"X", "Y", "Z"} & set(w):
                self.place[axis] = None
            return None
        of_centre = {CENTRE[axis] for axis in PLANES[self.plane][:2]}  # a zero for the third is harmless
        is_arc = self.motion in (2, 3) and bool((of_centre | {"R"}) & set(w))
        if not has_axes and not is_arc:
            return None
        if self.motion in CYCLES:
            return self.run_cycle(w)
        if self.motion in (2, 3):
            return self.turn(w)
        if self.motion == 0:
            return self.rapid(self.target(w))
        if self.motion == 1:
            return self.straight(self.target(w))
        raise Unreadable(f"line {self.line}: nothing says how to move")

    # -- places --

    def zero(self, axis) -> float:
        """Return where the zero of the words of an axis lies."""
        return self.work_zero[axis] + self.shift[axis]

    def target(self, w) -> dict:
        """Return the place that X, Y, Z words name, None on axes whose place is unknown."""
        place = dict(self.place)
        for axis in {"X", "Y", "Z"} & set(w):
            if self.is_absolute:
                place[axis] = None if axis in self.lost else self.zero(axis) + w[axis] * self.scale
            elif place[axis] is not None:
                place[axis] += w[axis] * self.scale
        return place

    def go_home(self, w) -> None:
        """By way of the place written, then to a place nobody here knows."""
        way = self.target(w)
        if any(way[axis] != self.place[axis] for axis in "XYZ"):
            self.rapid(way)
        self.place = dict.fromkeys("XYZ")

    def name_place(self, w) -> None:
        """G92: the present place gets the coordinates written; at the start they say where it is."""
        was_known = None not in self.place.values()
        for axis in {"X", "Y", "Z"} & set(w):
            if self.place[axis] is None:
                self.place[axis] = w[axis] * self.scale  # of the setup, whatever work zero is in force
                self.named_by_operator.add(axis)
            self.is_named_without_length |= axis == "Z" and "Z" in self.lost
            self.shift[axis] = self.place[axis] - self.work_zero[axis] - w[axis] * self.scale
        self.lost = self.lost - set(w)
        if not was_known and None not in self.place.values():
            self.add(ARRIVAL, self.place, self.place)

    def take_back_shift(self) -> None:
        """G92.1: no shift; where G92 was the operator's zero, nobody knows then where words lie."""
        self.shift = dict.fromkeys("XYZ", 0.0)
        self.lost |= self.named_by_operator

    # -- motions --

    def add(self, kind, start, end, **more) -> None:
        """Add a move and stand at its end."""
        places = tuple(start.values()), tuple(end.values())
        self.reading.moves.append(Move(kind, *places, self.line, 0, self.spindle * self.speed, **more))
        self.place = dict(end)
        if self.is_exact:
            self.reading.exact.append(len(self.reading.moves))

    def feed_for(self, length: float) -> float:
        """Return mm/min for a move of that length (section 3.5.19; G95: common usage)."""
        if self.feed_mode == 93:
            return length * self.inverse_time
        return self.feed * (abs(self.speed) if self.feed_mode == 95 else 1.0)

    def rapid(self, end) -> None:
        """A rapid; from a place not known in full: an arrival, once it is known."""
        if None not in self.place.values() and None not in end.values():
            self.add(RAPID, self.place, end)
        elif None not in end.values():
            self.add(ARRIVAL, end, end)
        self.place = dict(end)

    def straight(self, end) -> None:
        """A straight cut."""
        length = math.dist(list(self.place.values()), list(end.values()))
        self.add(FEED, self.place, end, feed=self.feed_for(length))

    def turn(self, w) -> None:
        """An arc or a helix of at most one turn, in complex numbers of its plane."""
        first, second, third = PLANES[self.plane]
        end_place = self.target(w)
        start = complex(self.place[first], self.place[second])
        end = complex(end_place[first], end_place[second])
        sense = 1 if self.motion == 3 else -1
        if "R" in w:
            centre, sweep = about_radius(start, end, w["R"] * self.scale, sense)
        else:
            written = [w.get(CENTRE[axis], 0.0) * self.scale for axis in (first, second)]
            from_place = complex(self.zero(first), self.zero(second)) if self.is_centre_absolute else start
            centre = from_place + complex(*written)
            turned = sense * cmath.phase((end - centre) / (start - centre)) % math.tau
            # In the same direction from the centre as its start, the end is a full turn away.
            sweep = sense * (math.tau if abs(end - start) < SAME else turned or math.tau)
        radii = abs(start - centre), abs(end - centre)
        rise = end_place[third] - self.place[third]
        length = math.hypot(sum(radii) / 2 * sweep, rise)
        more = {"plane": self.plane, "centre": centre, "sweep": sweep, "radii": radii}
        self.add(ARC, self.place, end_place, feed=self.feed_for(length), **more)

    # -- cycles, section 3.5.16 --

    def run_cycle(self, w) -> None:
        """Drill the holes of one block; R, Z, Q and P stay in force."""
        if self.plane != 17:
            raise Unreadable("a cycle in an upright plane")
        for letter in {"Z", "R", "Q"} & set(w):
            self.cycle[letter] = w[letter] * self.scale
        self.cycle["P"] = w.get("P", self.cycle.get("P", 0.0))
        height = self.place["Z"]
        if self.is_absolute:
            low, r = self.zero("Z") + self.cycle["Z"], self.zero("Z") + self.cycle["R"]
        else:
            r = height + self.cycle["R"]
            low = r + self.cycle["Z"]
        clear = r if self.returns_to_r else max(r, height)
        if height < r - SAME:
            self.rapid({**self.place, "Z": r})
        for _ in range(int(w.get("L", 1))):
            hole = self.target({axis: w[axis] for axis in {"X", "Y"} & set(w)})
            self.rapid_unless_there(hole)
            self.rapid_unless_there({**hole, "Z": r})
            self.drill(hole, r, low, clear)

    def rapid_unless_there(self, end) -> None:
        """A rapid of a cycle, left out where it would go nowhere."""
        if math.dist(list(self.place.values()), list(end.values())) > SAME:
            self.rapid(end)

    def drill(self, hole, r, low, clear) -> None:
        """From R down to `low` and out to the clear height, step by step."""
        way_down = [low]
        if self.motion in (73, 83):
            count = math.ceil((r - low) / self.cycle["Q"] - SAME)
            way_down = [r - k * self.cycle["Q"] for k in range(1, count)] + [low]
        for depth in way_down:
            self.straight({**hole, "Z": depth})
            if depth != low:
                if self.motion == 83:
                    self.rapid_unless_there({**hole, "Z": clear})
                # NISTIR 6556: down again to 0.010 in above the depth reached; a Q below that is left open
                self.rapid_unless_there({**hole, "Z": min(depth + 0.254, clear)})
        if self.motion in (82, 86, 89):
            self.reading.dwell += self.cycle["P"]
            self.reading.rests.append(len(self.reading.moves))
        if self.motion in (85, 89):
            return self.straight({**hole, "Z": clear})
        sense, self.spindle = self.spindle, 0 if self.motion == 86 else self.spindle
        self.rapid_unless_there({**hole, "Z": clear})
        self.spindle = sense
        return None


def about_radius(start: complex, end: complex, radius: float, sense: int) -> tuple[complex, float]:
    """Return centre and sweep of the arc of a radius; a negative one: the arc of more than half a turn."""
    chord = end - start
    half = abs(chord) / 2
    rise = math.sqrt(max(radius * radius - half * half, 0.0))
    # Counter-clockwise the short way, the centre lies to the left of the way from start to end.
    side = sense if radius > 0 else -sense
    centre = (start + end) / 2 + side * 1j * chord / abs(chord) * rise
    short = 2 * math.asin(min(half / abs(radius), 1.0))
    return centre, sense * (short if radius > 0 else math.tau - short)
