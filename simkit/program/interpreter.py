"""Words -> modal state -> rows of moves, in the order of execution of NISTIR 6556 (2000), section 3.8.

The order inside a block: feed mode, F, S, T, M6, M3/M4/M5, coolant, overrides, G4, plane, units,
compensation, length offset, work zero, path control, distance mode, cycle return, G28/G30/G92, motion, stop.
So G20/G21 and G90/G91 act on the coordinates of their own block, and a stop comes after the motion.

After a problem the program is read on, so that all problems are told together.  What a spoilt block may
have meant is not held against the blocks behind it (`told`, `_is_doubtful`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from simkit.errors import Place, Problem
from simkit.program import refusals
from simkit.program import vocabulary as voc
from simkit.program.block import REFUSED_MOTION, Block
from simkit.program.cycles import Cycles
from simkit.program.notices import Notice
from simkit.program.state import (
    ARC,
    ARC_YZ,
    ARC_ZX,
    ARRIVAL,
    FEED,
    NO_SPEED,
    OFF,
    ON,
    PROBLEM_LIMIT,
    RAPID,
    ROW,
    Options,
)
from simkit.program.words import (
    deletes_block,
    harmless_part,
    has_switch_number,
    is_named,
    quick_words,
    quoted,
    scan,
    space_in_number,
)
from simkit.units import MM_PER_UNIT

__all__ = [
    "ARC",
    "ARC_YZ",
    "ARC_ZX",
    "ARRIVAL",
    "FEED",
    "PROBLEM_LIMIT",
    "RAPID",
    "REFUSED_MOTION",
    "ROW",
    "Interpreter",
    "Notice",
    "Options",
]

_PLAIN = r"([+-]?(?:[0-9]{1,7}(?:\.[0-9]{0,9})?|\.[0-9]{1,9})) *"
_common_block = re.compile(
    rf"(?:N[0-9]+ *)?(?:G0?([01]) *)?(?:X{_PLAIN})?(?:Y{_PLAIN})?(?:Z{_PLAIN})?(?:F{_PLAIN})?"
).fullmatch
_program_number = re.compile(
    r"O[0-9]+"
).fullmatch  # alone in the first block: a name, ISO 6983-1 (from memory)


class Interpreter(Cycles):
    """Reads one program; what it collects stands in State.

    name, lines: as split_lines gives them.  units: "mm", "in" or None, in force until the program
    states its own.  has_short_cut: read common blocks by the short way (same result, faster).
    """

    def __init__(
        self,
        name: str,
        lines: list[str],
        units: str | None,
        has_short_cut: bool = True,
        options: Options | None = None,
        stated_cutter: int | None = None,
    ):
        super().__init__(name, lines, units, options, stated_cutter)
        self._has_short_cut = has_short_cut

    # -- the whole program ----------------------------------------------------------------

    def run(self) -> None:
        """Read every line; stops at the end of the program or at PROBLEM_LIMIT problems."""
        last = len(self.lines)
        harmless = self.options.harmless_words
        marks: list[Place] = []  # of the first two % lines
        unread = 0  # lines of text alone: before the first % they are no program that it ends
        for number, line in self._lines_to_read():
            if self._has_short_cut and self._run_common_block(number, line):
                continue
            words, complaints = quick_words(line), ()
            if words and harmless and any(word[0] == "M" and is_named(word, harmless) for word in words):
                words = None
            if words is None:
                if "/" in line and deletes_block(line):
                    self._note_deleted(number, line)
                    if self.options.skip_deleted and not has_switch_number(line) and not self.has_end:
                        continue
                if line.strip(" \t") == "%":
                    self.has_end = self.has_end or self.block_count > unread
                    if len(marks) < 2:
                        marks.append(Place(self.name, number, line.index("%") + 1))
                    continue
                read, complaints = scan(line, number == last, self._harmless_remedy)
                if self.options.harmless_words:
                    read, complaints = self._without_harmless(line, number, read, complaints)
                complaints = self._without_text_of_unknown(read, complaints)
                words = [word.letter + word.text for word in read]
            if not words and not complaints:
                continue
            if self.has_end:
                self.problems.append(refusals.text_after_end(self.name, number, line, self.call_line))
                break
            if len(marks) > 1 and not self.block_count:
                self.problems.append(refusals.empty_frame(*marks))
            self.block_count += 1
            unread += not words
            if self.block_count == 1 and len(words) == 1 and not complaints and _program_number(words[0]):
                continue
            block = Block(self.name, number, line, words, self.problems)
            for complaint in complaints:
                place = Place(self.name, number, complaint.start + 1)
                self.problems.append(Problem(place, complaint.found, complaint.expected, complaint.remedy))
                # Whatever is missing from here on may be in what could not be read.
                block.is_spoilt = self._is_doubtful = self.has_unread = True
                self.told |= {"units", "axes", "feed", "mode", "cutter"}
            spaced = space_in_number(line)
            if spaced is not None and not complaints:
                text = f"{block.written(spaced)} is read as {quoted(words[spaced])}"
                text += ": spaces mean nothing in a number"
                self._notice("space", block, spaced, text)
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
        if found is None or self._is_doubtful or self.has_end or not self.leaves_common:
            return False
        if self._feed_mode != 94:
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
            self._x = self._x + float(x) * scale if is_incremental else float(x) * scale + self._shift_x
        if y is not None:
            self._y = self._y + float(y) * scale if is_incremental else float(y) * scale + self._shift_y
        if z is not None:
            self._z = self._z + float(z) * scale if is_incremental else float(z) * scale + self._shift_z
        self.block_count += 1
        code, feed = (FEED, feed) if motion else (RAPID, 0.0)
        self.rows.extend((self._x, self._y, self._z, code, feed, number, 0.0, 0.0, 0.0))
        return True

    def _note_deleted(self, number: int, line: str) -> None:
        self.deleted_count += 1
        if "deleted" not in self.notices:
            what = "passed over" if self.options.skip_deleted else "run"
            other = ""
            if not self.options.skip_deleted:
                place = self.options.where_to_say('block_delete = "skip" in the job', "--skip-deleted")
                other = f" ({place} passes over them)"
            text = f"blocks with / are {what}, whatever the switch at the machine says{other}"
            self.notices.once("deleted", Place(self.name, number, line.index("/") + 1), text)

    def _without_harmless(self, line, number, words, complaints):
        """Return words and complaints of a line without what a harmless word takes with it."""
        part = harmless_part(line, words, complaints, self.options.harmless_words)
        if part is None:
            return words, complaints
        kept, taken, wrong = part
        text = f"{quoted(line[taken.start :].rstrip())} does nothing, as stated"
        self.notices.add("harmless", Place(self.name, number, taken.start + 1), text, is_stated=True)
        behind = [] if wrong is None else [wrong]
        return kept, [complaint for complaint in complaints if complaint.start < taken.start] + behind

    def _without_text_of_unknown(self, words, complaints):
        """Return the complaints but those of the text that may belong to an unknown M word before it."""
        unknown = (word.start for word in words if word.letter == "M" and voc.is_unknown_m(word.text))
        first = next(unknown, None)
        if first is None:
            return complaints
        return [complaint for complaint in complaints if complaint.start < first]

    # -- one block: everything but motion -------------------------------------------------

    def _run_block(self, block: Block) -> None:
        block.sort(self._harmless_remedy)
        if self.call_line is None and refusals.CALL in block.refused:
            self.call_line = block.number
        if any(refusal.effect == refusals.SETS_UNITS for refusal in block.refused):
            self.told.add("units")
        at, values, g, m = block.at, block.values, block.g, block.m
        motion = g[voc.MOTION][0] // 10 if voc.MOTION in g else self._motion
        plane = g[voc.PLANE][0] // 10 if voc.PLANE in g else self._plane
        block.check_letters(motion, plane)
        if voc.FEED_MODE in g:
            self._set_feed_mode(block)
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
            if self._turning < 0:
                text = f"{block.written(index)} turns the spindle backwards: most cutters then rub and burn"
                self._notice_once("backwards", block, index, text)
            if self._turning and self._speed is None:
                text = f"{block.written(index)} with no S: the spindle speed is whatever is set by hand"
                self._notice("speed", block, index, text)
        if voc.COOLANT in m or voc.MIST in m:
            keys = {m[group][0] for group in (voc.COOLANT, voc.MIST) if group in m}
            self._coolants = set() if 90 in keys else self._coolants | {f"M{key // 10}" for key in keys}
        zero_word = block.key(voc.GROUP_0)
        if zero_word == 40:
            self._dwell(block)
        self._plane = plane
        if voc.UNITS in g:
            self._set_unit(_unit_of(block), block.number, has_feed="F" in values)
        if voc.LENGTH in g or "H" in at:
            self._set_length(block)
        if voc.WORK_ZERO in g:
            self._set_work_zero(block)
        if voc.PATH in g:
            self.exact_stops.append((self._row_count(), block.key(voc.PATH) == 611))
            self._path = {610: "G61", 611: "G61.1", 640: "G64"}[block.key(voc.PATH)]
            has_tolerance = self._path == "G64" and "P" in values
            self._path_tolerance = values["P"] * (self._scale or 1.0) if has_tolerance else None
        if block.key(voc.PATH) == 640:
            text = "G64 lets the control round corners off: they are checked as written"
            self._notice_once("path", block, g[voc.PATH][1], text)
        elif voc.PATH in g:
            key, index = g[voc.PATH]
            text = f"{voc.written(key)} asks for the exact path: everything is checked as written anyway"
            if key == 611:
                text += "; its stops count in the time"
            self._notice_once("exact path", block, index, text)
        if "D" in at:
            text = f"{block.written(at['D'])} does nothing without cutter compensation"
            self._notice("D", block, at["D"], text)
        if voc.DISTANCE in g:
            self._is_incremental = block.key(voc.DISTANCE) == 910
        if voc.ARC_CENTRE in g:
            self._is_centre_absolute = block.key(voc.ARC_CENTRE) == 901
        if voc.CYCLE_RETURN in g:
            self._returns_to_r = block.key(voc.CYCLE_RETURN) == 990
            self._return_word = "G99" if self._returns_to_r else "G98"
        if zero_word in (280, 300, 920, 921) and not self._is_axis_claimed(block):
            {280: self._go_by_way, 300: self._go_by_way, 920: self._set_g92, 921: self._cancel_g92}[
                zero_word
            ](block)
        self._move(block)
        if voc.STOP in m:
            key, index = m[voc.STOP]
            if key in (20, 300):
                self.has_end = True
            elif key == 600:
                text = "M60 is taken as a stop: the blank stays where it is"
                self._notice("pallet", block, index, text)

    def _is_axis_claimed(self, block: Block) -> bool:
        """Tell of a kind of motion that stands beside a word for one block and wants the same axis words."""
        key, index = block.g.get(voc.MOTION, (800, 0))
        zero_key, zero_index = block.g[voc.GROUP_0]
        if key == 800 or zero_key not in voc.NO_MOTION or not block.at.keys() & {"X", "Y", "Z"}:
            return False
        expected = "one word in a block that says what X, Y and Z are for"
        remedy = f"delete G{key // 10}, or write two blocks"
        block.problem(index, f" in one block with {block.written(zero_index)}", expected, remedy)
        self._lose_place()
        return True

    def _set_feed_mode(self, block: Block) -> None:
        mode = block.key(voc.FEED_MODE) // 10
        if mode != self._feed_mode:
            if self._feed is not None:
                self._feed_loss = "a change of feed mode"
            self._feed, self._feed_mode = None, mode

    def _set_feed(self, block: Block) -> None:
        index, value, unit = block.at["F"], block.values["F"], _unit_of(block) or self._unit
        if not value > 0.0:
            block.problem(index, "", "a feed above zero", "write the feed in units per minute")
            self.told.add("feed")
            return
        if self._feed_mode == 93:
            return
        if unit is None:
            self._need_units(block, index)
            unit = "mm"
        elif unit != self._unit and self._is_unit_used:
            expected = "F in a block of its own, for controls differ on which unit it is in"
            remedy = "write F in the block behind the change of units"
            block.problem(index, " in the block that changes the units", expected, remedy)
        elif unit == "in" and self._unit is None:
            text = f"{block.written(index)} in the block that sets the units is read as inches per minute"
            self._notice("feed with units", block, index, text)
        self._feed = value * MM_PER_UNIT[unit]
        self._is_unit_used = True

    def _set_unit(self, unit: str, line: int, has_feed: bool) -> None:
        self.units_seen.setdefault(unit, line)
        is_change = self._unit not in (None, unit)  # an F before any unit is told as that
        if is_change and self._feed is not None and not has_feed:
            # Controls differ on whether the old number or the old speed stays in force.
            self._feed, self._feed_loss = None, "a change of units"
        if unit != self._unit:
            self._series = (
                None  # controls differ on whether R, Z and Q of a cycle keep their number or length
            )
        self._unit, self._scale = unit, MM_PER_UNIT[unit]

    def _set_speed(self, block: Block) -> None:
        value = block.values["S"]
        if value < 0.0:
            remedy = "use M4 to turn the spindle the other way"
            block.problem(block.at["S"], "", "a spindle speed of zero or more", remedy)
            return
        if value != self._speed:
            place = block.place(block.at["S"])
            self.speeds_called.append((value, place.line, place.column))
        self._speed = value
        if self._turning:
            self._note_spindle()

    def _note_spindle(self) -> None:
        state = OFF if not self._turning else NO_SPEED if self._speed == 0.0 else ON
        self.spindle.append((self._row_count(), self._turning * (self._speed or 0.0), state))

    def _select_tool(self, block: Block) -> None:
        index, value = block.at["T"], block.values["T"]
        if value < 0.0 or value != int(value):
            block.problem(index, "", "the whole number of a cutter", "write the cutter's number, such as T1")
            self.told.add("cutter")
            return
        text = block.words[index][1:]
        if len(text) == 4 and text.isdigit() and text.startswith("0") and value >= 100.0:
            expected = (
                f"the number of a cutter, for a lathe reads it as tool {text[:2]} with offset {text[2:]}"
            )
            remedy = (
                f"write T{int(text[:2])} if that is the cutter, or T{int(value)} without the zero before it"
            )
            block.problem(index, "", expected, remedy)
            self.told.add("cutter")
            return
        self._tool = int(value)
        self.tool_words.append((self._row_count(), self._tool, block.number, block.place(index).column))

    def _change_tool(self, block: Block) -> None:
        index = block.m[voc.CHANGE][1]
        if self._tool is None and self._stated_cutter is not None and "cutter" not in self.told:
            text = "M6 with no T before it: "
            text += f"cutter {self._stated_cutter}, stated for the program, is taken to cut"
            self._notice("tool", block, index, text)
            self._tool = self._stated_cutter
        if self._tool is None:
            if not block.is_spoilt and "cutter" not in self.told:
                expected = "the number of the cutter that cuts from here on"
                remedy = "write T and its number, such as T1 M6"
                block.problem(index, " with no T word on or before its line", expected, remedy)
            self.told.add("cutter")
            return
        before = self.changes[-1][1] if self.changes else self._stated_cutter if self._has_cut() else None
        if before is not None and self._tool not in (before, 0) and self._z is not None:
            self._stale_z = f"the change to cutter {self._tool}"
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
        else:
            self.dwell += block.values["P"]
            self.rests.append(self._row_count())


def _unit_of(block: Block) -> str | None:
    return {200: "in", 210: "mm"}.get(block.key(voc.UNITS))
