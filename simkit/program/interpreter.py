"""Words -> modal state -> rows of moves, in the order of execution of NISTIR 6556 (2000), section 3.8.

The order inside a block: F, S, T, M6, M3/M4/M5, coolant, overrides, G4, plane, units, compensation,
length offset, work zero, path control, distance mode, motion, stop.  So G20/G21 and G90/G91 act on the
coordinates of their own block, and a stop comes after the motion.

After a problem the program is read on, so that all problems are told together.  What a spoilt block may
have meant is not held against the blocks behind it (`_told`, `_is_doubtful`).
"""

from __future__ import annotations

import math
import re
from array import array
from collections.abc import Iterator, Set
from dataclasses import dataclass

from simkit.errors import Place, Problem
from simkit.program import arcs
from simkit.program import vocabulary as voc
from simkit.program.arc_words import drawn_arc, tolerance
from simkit.program.block import REFUSED_MOTION, Block
from simkit.program.words import quick_words, quoted, scan, space_in_number
from simkit.units import MM_PER_UNIT

PROBLEM_LIMIT = 50
ROW = ("x", "y", "z", "code", "feed", "line", "centre x", "centre y", "sweep")
RAPID, FEED, ARC = 0.0, 1.0, 2.0  # values of "code"

_PLAIN = r"([+-]?(?:[0-9]{1,7}(?:\.[0-9]{0,9})?|\.[0-9]{1,9})) *"
_common_block = re.compile(
    rf"(?:N[0-9]+ *)?(?:G0?([01]) *)?(?:X{_PLAIN})?(?:Y{_PLAIN})?(?:Z{_PLAIN})?(?:F{_PLAIN})?"
).fullmatch


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a person should know about a program that can be read: where, and one sentence."""

    place: Place
    text: str

    @property
    def line(self) -> int | None:
        return self.place.line

    @property
    def column(self) -> int | None:
        return self.place.column

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


class Interpreter:
    """Reads one program.  After run(): rows, problems, notices and what was seen on the way.

    name, lines: as split_lines gives them.  units: "mm", "in" or None, in force until the program
    states its own.  has_short_cut: read common blocks by the short way (same result, faster).
    rows: array of float64, len(ROW) numbers per move, mm and mm/min; each move starts where the one
    before ended.  tool_words, changes: (row, tool, line, column) of every T and M6.  spindle:
    (row, signed rev/min, is on), in force from that row on.  told: what is missing in the program and
    already told, or hidden behind another problem.
    """

    def __init__(self, name: str, lines: list[str], units: str | None, has_short_cut: bool = True):
        self.name = name
        self.lines = lines
        self.rows = array("d")
        self.problems: list[Problem] = []
        self.notices: dict[str, Notice] = {}
        self.units_seen: list[str] = []
        self.tool_words: list[tuple[int, int, int, int]] = []
        self.changes: list[tuple[int, int, int, int]] = []
        self.spindle: list[tuple[int, float, bool]] = []
        self.largest_mismatch = 0.0
        self.largest_mismatch_line: int | None = None
        self.has_end = False
        self.block_count = 0
        self.told: set[str] = set()
        self._has_short_cut = has_short_cut
        self._unit = units
        self._scale = MM_PER_UNIT[units] if units else None
        self._is_unit_used = False
        self._x: float | None = None
        self._y: float | None = None
        self._z: float | None = None
        self._motion: int | None = None
        self._is_incremental: bool | None = None
        self._feed: float | None = None
        self._is_feed_lost = False
        self._speed = 0.0
        self._turning = 0
        self._tool: int | None = None
        self._is_arc_refused = False
        self._is_doubtful = False  # the position may be wrong, for a problem stands before

    # -- the whole program ----------------------------------------------------------------

    def run(self) -> None:
        """Read every line; stops at the end of the program or at PROBLEM_LIMIT problems."""
        last = len(self.lines)
        has_frame = False
        for number, line in self._lines_to_read():
            if self._has_short_cut and self._run_common_block(number, line):
                continue
            words, complaints = quick_words(line), ()
            if words is None:
                if line.strip(" \t") == "%":
                    self.has_end = self.has_end or has_frame or self.block_count > 0
                    has_frame = True
                    continue
                read, complaints = scan(line, is_cut_off=number == last)
                words = [word.letter + word.text for word in read]
            if not words and not complaints:
                continue
            if self.has_end:
                self._text_after_end(number, line)
                break
            self.block_count += 1
            block = Block(self.name, number, line, words, self.problems)
            for complaint in complaints:
                place = Place(self.name, number, complaint.start + 1)
                self.problems.append(Problem(place, complaint.found, complaint.expected, complaint.remedy))
                # Whatever is missing from here on may be in what could not be read.
                block.is_spoilt = self._is_doubtful = True
                self.told |= {"units", "axes", "feed", "mode", "cutter"}
            spaced = space_in_number(line)
            if spaced is not None and not complaints:
                text = f"{block.written(spaced)} is read as {quoted(words[spaced])}"
                text += ": spaces mean nothing in a number"
                self._notice_once("space", block, spaced, text)
            self._run_block(block)
            if len(self.problems) >= PROBLEM_LIMIT:
                break

    def _lines_to_read(self) -> Iterator[tuple[int, str]]:
        """Yield line numbers, from 1, and lines; a compiled reader passes over those it has done itself."""
        yield from enumerate(self.lines, 1)

    def _run_common_block(self, number: int, line: str) -> bool:
        """Run a block of G0 or G1, X Y Z and F alone, when nothing that it needs is missing.

        Returns False and changes nothing for any other block.
        """
        found = _common_block(line)
        if found is None or self._is_doubtful or self.has_end:
            return False
        if self._x is None or self._y is None or self._z is None or not self._is_unit_used:
            return False
        g, x, y, z, f = found.groups()
        motion = self._motion if g is None else int(g)
        scale, feed = self._scale, self._feed
        if f is not None:
            feed = float(f) * scale
            if not feed > 0.0:
                return False
        if not (motion == 0 or (motion == 1 and feed is not None)) or (x is None and y is None and z is None):
            return False
        self._motion, self._feed = motion, feed
        is_incremental = self._is_incremental
        if x is not None:
            self._x = self._x + float(x) * scale if is_incremental else float(x) * scale
        if y is not None:
            self._y = self._y + float(y) * scale if is_incremental else float(y) * scale
        if z is not None:
            self._z = self._z + float(z) * scale if is_incremental else float(z) * scale
        self.block_count += 1
        code, feed = (FEED, feed) if motion else (RAPID, 0.0)
        self.rows.extend((self._x, self._y, self._z, code, feed, number, 0.0, 0.0, 0.0))
        return True

    def _text_after_end(self, number: int, line: str) -> None:
        place = Place(self.name, number, len(line) - len(line.lstrip(" \t")) + 1)
        found = f"{quoted(line.strip())} after the end of the program"
        expected = "nothing but comments behind M2, M30 or the closing %, for the control never runs it"
        remedy = "delete what follows the end, or move the end behind it"
        self.problems.append(Problem(place, found, expected, remedy))

    def _problem_once(
        self, kind: str, block: Block, index: int, about: str, expected: str, remedy: str
    ) -> None:
        """Tell of something missing in the program, at the first word that needs it."""
        if not block.is_spoilt and kind not in self.told:
            self.told.add(kind)
            found = block.written(index) + about
            self.problems.append(Problem(block.place(index), found, expected, remedy))

    def _notice_once(self, kind: str, block: Block, index: int, text: str) -> None:
        if kind not in self.notices:
            self.notices[kind] = Notice(block.place(index), text)

    def _row_count(self) -> int:
        return len(self.rows) // len(ROW)

    # -- one block: everything but motion -------------------------------------------------

    def _run_block(self, block: Block) -> None:
        block.sort()
        at, values, g, m = block.at, block.values, block.g, block.m
        motion = g[voc.MOTION][0] // 10 if voc.MOTION in g else self._motion
        block.check_letters(REFUSED_MOTION if motion in (2, 3) and self._is_arc_refused else motion)
        if "F" in at:
            self._set_feed(block)
        if "S" in at:
            self._set_speed(block)
        if "T" in at:
            self._select_tool(block)
        if voc.CHANGE in m:
            self._change_tool(block)
        if voc.SPINDLE in m:
            key, index = m[voc.SPINDLE]
            self._turning = {30: 1, 40: -1, 50: 0}[key]
            self._note_spindle()
            if self._turning and not self._speed:
                text = f"{block.written(index)} with no S: the spindle speed is whatever is set by hand"
                self._notice_once("speed", block, index, text)
        if voc.GROUP_0 in g:
            self._dwell(block)
        if voc.UNITS in g:
            self._set_unit(_unit_of(block), has_feed="F" in values)
        if voc.DISTANCE in g:
            self._is_incremental = block.key(voc.DISTANCE) == 910
        self._move(block)
        if voc.STOP in m and m[voc.STOP][0] in (20, 300):
            self.has_end = True

    def _set_feed(self, block: Block) -> None:
        index, value, unit = block.at["F"], block.values["F"], _unit_of(block) or self._unit
        if not value > 0.0:
            block.problem(index, "", "a feed above zero", "write the feed in units per minute")
            self.told.add("feed")
            return
        if unit is None:
            self._need_units(block, index)
            unit = "mm"
        elif unit != self._unit and self._is_unit_used:
            expected = "F in a block of its own, for controls differ on which unit it is in"
            remedy = "write F in the block behind the change of units"
            block.problem(index, " in the block that changes the units", expected, remedy)
        self._feed, self._is_feed_lost = value * MM_PER_UNIT[unit], False
        self._is_unit_used = True

    def _set_unit(self, unit: str, has_feed: bool) -> None:
        if unit not in self.units_seen:
            self.units_seen.append(unit)
        if unit != self._unit and self._feed is not None and not has_feed:
            # Controls differ on whether the old number or the old speed stays in force.
            self._feed, self._is_feed_lost = None, True
        self._unit, self._scale = unit, MM_PER_UNIT[unit]

    def _need_units(self, block: Block, index: int) -> None:
        expected = "G21 (mm) or G20 (inch) first, for a forgotten inch makes everything 25.4 times wrong"
        remedy = "write G21 or G20 at the top of the program"
        self._problem_once("units", block, index, " before the units are set", expected, remedy)

    def _set_speed(self, block: Block) -> None:
        value = block.values["S"]
        if value < 0.0:
            remedy = "use M4 to turn the spindle the other way"
            block.problem(block.at["S"], "", "a spindle speed of zero or more", remedy)
            return
        self._speed = value
        if self._turning:
            self._note_spindle()

    def _note_spindle(self) -> None:
        self.spindle.append((self._row_count(), self._turning * self._speed, self._turning != 0))

    def _select_tool(self, block: Block) -> None:
        index, value = block.at["T"], block.values["T"]
        if value < 0.0 or value != int(value):
            block.problem(index, "", "the whole number of a cutter", "write the cutter's number, such as T1")
            self.told.add("cutter")
            return
        self._tool = int(value)
        self.tool_words.append((self._row_count(), self._tool, block.number, block.place(index).column))

    def _change_tool(self, block: Block) -> None:
        index = block.m[voc.CHANGE][1]
        if self._tool is None:
            if not block.is_spoilt and "cutter" not in self.told:
                expected = "the number of the cutter that cuts from here on"
                remedy = "write T and its number, such as T1 M6"
                block.problem(index, " with no T word on or before its line", expected, remedy)
            self.told.add("cutter")
            return
        self.changes.append((self._row_count(), self._tool, block.number, block.place(index).column))
        if self._turning:  # the spindle stands after a change (NISTIR 6556, M6)
            self._turning = 0
            self._note_spindle()

    def _dwell(self, block: Block) -> None:
        index = block.g[voc.GROUP_0][1]
        if block.at.keys() & {"X", "Y", "Z"}:
            expected = "a dwell in a block of its own, for some controls read X as its time"
            block.problem(index, " in one block with axis words", expected, "write G4 P on a line of its own")
        elif "P" not in block.values:
            remedy = "write it as G4 P0.5, or delete it"
            block.problem(index, " with no P", "the time of the dwell after P", remedy)
        elif block.values["P"] < 0.0:
            block.problem(block.at["P"], "", "a time of zero or more", "correct the time of the dwell")

    # -- motion ---------------------------------------------------------------------------

    def _move(self, block: Block) -> None:
        at = block.at
        effects = {refusal.effect for refusal in block.refused} if block.refused else frozenset()
        moving = [at[letter] for letter in "XYZ" if letter in at]
        self._set_motion(block, effects, moving)
        if voc.MOVES_AWAY in effects or self._motion == REFUSED_MOTION:
            self._lose_place()
            return
        is_arc = self._motion in (2, 3)
        first = moving[0] if moving else min((at[letter] for letter in "IJR" if letter in at), default=None)
        if first is None or not (moving or is_arc):
            return
        if self._motion is None:
            if voc.GROUP_0 not in block.g:
                expected = "G0, G1, G2 or G3 first, for nothing says how to go there"
                about = " with no kind of motion in force"
                self._problem_once("mode", block, first, about, expected, "write G0 or G1 before it")
            self._lose_place()
            return
        if self._scale is None:
            self._need_units(block, first)
            self._unit, self._scale = "mm", 1.0
        if self._is_incremental is None:
            self._is_incremental = False
            text = "neither G90 nor G91 before the first motion: read as absolute coordinates (G90)"
            self._notice_once("distance", block, first, text)
        self._is_unit_used = True
        end = x, y, z = (
            self._end(block, "X", self._x),
            self._end(block, "Y", self._y),
            self._end(block, "Z", self._z),
        )
        if self._motion != 0:
            self._need_start(block, first)
            end = x, y, z = x or 0.0, y or 0.0, z or 0.0
            if is_arc:
                self._arc(block, end, first)
            else:
                self._add(block, end, FEED, self._feed)
        elif None not in end:
            self._add(block, end, RAPID, 0.0)
        self._x, self._y, self._z = end
        if block.is_spoilt:
            self._is_doubtful = True
        elif "X" in at and "Y" in at and not self._is_incremental:
            self._is_doubtful = False

    def _set_motion(self, block: Block, effects: Set[str], moving: list[int]) -> None:
        if voc.TAKES_PLANE in effects:
            self._is_arc_refused = True
        key = block.key(voc.MOTION)
        if voc.TAKES_MOTION in effects:
            self._motion = REFUSED_MOTION
        elif key == 800:
            self._motion = None
            if moving:
                expected = "no axis words with G80, for it ends every motion"
                block.problem(
                    moving[0], " in one block with G80", expected, "write G0 or G1 on a line of its own"
                )
        elif key is not None:
            self._motion = key // 10

    def _lose_place(self) -> None:
        """Hold nothing against later blocks that the motion not read here may have settled."""
        self._is_doubtful = True
        self.told |= {"axes", "mode"}

    def _end(self, block: Block, letter: str, old: float | None) -> float | None:
        """Return where the motion of this block ends along one axis, mm; None when not known."""
        if letter not in block.values:
            return old
        value = block.values[letter] * self._scale
        if not self._is_incremental:
            return value
        if old is None:
            about = f" in G91 before any absolute {letter}"
            expected = f"G90 for the first {letter}, for nothing says where the machine stands"
            remedy = "begin with rapids in G90, such as G90 G0 Z20 and G0 X0 Y0"
            self._problem_once("axes", block, block.at[letter], about, expected, remedy)
            return None
        return old + value

    def _need_start(self, block: Block, index: int) -> None:
        """See to it that a cutting move has a start and a feed, or tell that it has none."""
        unknown = [name for name, old in (("X", self._x), ("Y", self._y), ("Z", self._z)) if old is None]
        if unknown:
            about = f" in a cutting move that starts at an unknown {', '.join(unknown)}"
            expected = "rapids that say where X, Y and Z are before the first cut"
            remedy = "begin the program with rapids such as G0 Z20 and G0 X0 Y0"
            self._problem_once("axes", block, index, about, expected, remedy)
            self._x, self._y, self._z = self._x or 0.0, self._y or 0.0, self._z or 0.0
            self._is_doubtful = True
        if self._feed is None:
            if self._is_feed_lost:
                about = " in a cutting move after a change of units with no new F"
                expected = "F in the new units, for controls differ on what becomes of the old one"
            else:
                about, expected = " in a cutting move before any F", "the feed first"
            self._problem_once(
                "feed", block, index, about, expected, "write an F word on or before this line"
            )
            self._feed = 1.0

    def _arc(self, block: Block, end: tuple[float, float, float], first: int) -> None:
        """Add the rows of an arc block."""
        if self._is_arc_refused or block.is_spoilt:
            return
        start, sense = (self._x, self._y), 1 if self._motion == 3 else -1
        drawn = drawn_arc(block, start, end[:2], self._scale, self._unit, sense, self._is_doubtful)
        if drawn is None:
            return
        apart = math.hypot(end[0] - start[0], end[1] - start[1])
        is_tiny = arcs.SAME_POINT < apart < arcs.LARGEST_TOLERANCE
        if is_tiny and apart <= tolerance(block, self._unit):
            text = (
                f"the ends of this arc are only {apart:.4f} mm apart: it is read as a turn of "
                f"{math.degrees(abs(drawn.sweep)):.2f} degrees, but controls may differ by a full turn"
            )
            self._notice_once("tiny arc", block, first, text)
        if drawn.mismatch > self.largest_mismatch or self.largest_mismatch_line is None:
            self.largest_mismatch, self.largest_mismatch_line = drawn.mismatch, block.number
        rise = end[2] - self._z
        for piece in drawn.pieces:
            z = end[2] if piece.share == 1.0 else self._z + rise * piece.share
            self._add(block, (*piece.end, z), ARC, self._feed, piece.centre, piece.sweep)

    def _add(
        self, block: Block, end, code: float, feed: float, centre=(0.0, 0.0), sweep: float = 0.0
    ) -> None:
        self.rows.extend((*end, code, feed, block.number, *centre, sweep))


def _unit_of(block: Block) -> str | None:
    return {200: "in", 210: "mm"}.get(block.key(voc.UNITS))
