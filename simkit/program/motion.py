"""Motion blocks -> rows: rapids, lines, arcs in three planes, and what F means for them."""

from __future__ import annotations

import math
from collections.abc import Set

from simkit.program import arcs, refusals
from simkit.program import vocabulary as voc
from simkit.program.arc_planes import PLANES, Plane
from simkit.program.arc_words import drawn_arc, tolerance
from simkit.program.block import REFUSED_MOTION, Block
from simkit.program.origins import Origins
from simkit.program.state import ARC, ARRIVAL, AXES, FEED, RAPID


class Motion(Origins):
    """The state, with G0 to G3."""

    def _move(self, block: Block) -> None:
        at = block.at
        effects = {refusal.effect for refusal in block.refused} if block.refused else frozenset()
        zero_word = block.key(voc.GROUP_0)
        moving = [at[letter] for letter in AXES if letter in at] if zero_word in (None, 530, 921) else []
        self._set_motion(block, effects, moving)
        if refusals.MOVES_AWAY in effects or self._motion == REFUSED_MOTION:
            self._lose_place()
            return
        if zero_word == 530:
            self._go_to_machine_place(block)
            return
        if zero_word in voc.NO_MOTION:
            return
        is_arc = self._motion in (2, 3)
        others = "IJKR" if is_arc else ""
        if self._motion in voc.CYCLES:
            others = "RQLP" if self._motion in voc.DWELLING else "RQL"
        first = moving[0] if moving else min((at[letter] for letter in others if letter in at), default=None)
        if first is None:
            return
        if self._stale_z and not self._may_keep_height(block, first):
            return
        if self._motion in voc.CYCLES:
            self._need_modes(block, first)
            self._cycle(block, first)
            return
        if not (moving or is_arc):
            return
        if self._motion is None:
            expected = "G0, G1, G2 or G3 first, for nothing says how to go there"
            about = " with no kind of motion in force"
            if self._is_ended:
                about += ", for G80 ended it with the cycle"
            self._problem_once("mode", block, first, about, expected, "write G0 or G1 before it")
            self._lose_place()
            return
        self._need_modes(block, first)
        had_all = None not in (self._x, self._y, self._z)
        end = x, y, z = (
            self._end(block, "X", self._x),
            self._end(block, "Y", self._y),
            self._end(block, "Z", self._z),
        )
        if self._motion != 0:
            self._need_start(block, first)
            if None in end and had_all:
                self._x, self._y, self._z = end
                self._need_start(block, first)
            end = x, y, z = x or 0.0, y or 0.0, z or 0.0
            if is_arc:
                self._arc(block, end, first)
            else:
                length = arcs.distance((self._x, self._y, self._z), end) if self._feed_mode == 93 else 0.0
                self._add(block, end, FEED, self._feed_of(block, first, length))
        else:
            self._note_opening(block, end)
            if None not in end:
                if not had_all and (self._x, self._y) != (x, y):
                    self.aslant.append(block.number)
                self._add(block, end, RAPID if had_all else ARRIVAL, 0.0)
        self._x, self._y, self._z = end
        if block.is_spoilt:
            self._is_doubtful = True
        elif "X" in at and "Y" in at and not self._is_incremental:
            self._is_doubtful = False

    def _note_opening(self, block: Block, end) -> None:
        """Write down where the first rapids go, as long as the tip was nowhere but where it stood before."""
        if self._row_count() or self._away or self._blind or self._named_at_start:
            return
        tool = self.changes[-1][1] if self.changes else None
        self.opening.append((block.number, *end, tool))

    def _may_keep_height(self, block: Block, first: int) -> bool:
        """Tell whether a motion may count on Z as it stands since the cutter or its length changed.

        A rapid may, as long as nothing is cut before Z is programmed; so may whatever programs Z.
        """
        is_cycle = self._motion in voc.CYCLES
        if "Z" in self._blind or (is_cycle and not self._is_incremental and not self._returns_to_r):
            return True  # told as what it is; a cycle goes to its own heights, and back to the old one
        if not self._is_incremental and (is_cycle or "Z" in block.at):
            self._stale_z = ""
        elif self._motion is not None and self._motion != 0:
            expected = "Z first, for the tip stands higher or lower now than it did before"
            remedy = "write a rapid with Z behind it, such as G0 Z20"
            about = f" in a cutting move at a height that was programmed before {self._stale_z}"
            self._problem_once("height", block, first, about, expected, remedy)
            self._stale_z = ""
            self._lose_place()
            return False
        return True

    def _need_modes(self, block: Block, first: int) -> None:
        """See to it that units and distance mode are known."""
        if self._scale is None:
            self._need_units(block, first)
            self._unit, self._scale = "mm", 1.0
        if self._is_incremental is None:
            self._is_incremental = False
            text = "neither G90 nor G91 before the first motion: read as absolute coordinates (G90)"
            self._notice_once("distance", block, first, text)
        self._is_unit_used = True

    def _set_motion(self, block: Block, effects: Set[str], moving: list[int]) -> None:
        key = block.key(voc.MOTION)
        if refusals.TAKES_MOTION in effects:
            self._motion = REFUSED_MOTION
        elif key == 800:
            self._motion, self._is_ended = None, True
            if moving:
                expected = "no axis words with G80, for it ends every motion"
                block.problem(
                    moving[0], " in one block with G80", expected, "write G0 or G1 on a line of its own"
                )
        elif key is not None:
            if key // 10 != self._motion:
                self._series = None
            self._motion = key // 10

    def _may_measure_centre(self, block: Block, plane: Plane) -> bool:
        """Tell whether the zero is known that the centre of an arc counts from; tell when it is not."""
        if not self._is_centre_absolute or "R" in block.at:
            return True
        lost = (
            (letter, self._blind[axis])
            for axis, letter in zip(plane.ends, plane.offsets, strict=True)
            if axis in self._blind and letter in block.at
        )
        letter, word = next(lost, ("", ""))
        if not letter:
            return True
        if not self._is_doubtful:
            about = f" in G90.1 behind {word}, which leaves its zero unknown"
            expected = "a centre from a known zero, or from the start of the arc"
            other = "write G43 and H before it" if word == "G49" else f"delete {word}, or move it to the end"
            remedy = f"post again with incremental arc centres (G91.1), or {other}"
            block.problem(block.at[letter], about, expected, remedy)
        return False

    def _feed_of(self, block: Block, first: int, length: float) -> float:
        """Return the feed of a cutting move of this length (mm), mm/min; tell when it has none."""
        if self._feed_mode == 93:
            if "F" not in block.values:
                expected = "F in every cutting block, for in G93 it is one over the minutes of this one move"
                remedy = "post again with feed per minute (G94)"
                self._problem_once(
                    "feed", block, first, " in a cutting move with no F in G93", expected, remedy
                )
                return 1.0
            # A move of no length takes the time all the same; it has no feed, and none must be zero.
            return block.values["F"] * (length or 1.0)
        if self._feed is None:
            about, expected = " in a cutting move before any F", "the feed first"
            if self._feed_loss:
                about = f" in a cutting move after {self._feed_loss} with no new F"
                new = "units" if "units" in self._feed_loss else "mode"
                expected = f"F in the new {new}, for controls differ on what becomes of the old one"
            remedy = "write an F word on or before this line"
            self._problem_once("feed", block, first, about, expected, remedy)
            self._feed = 1.0
        if self._feed_mode == 95:
            if not (self._turning and self._speed):
                expected = "S and M3 before it, for in G95 the feed counts per turn of the spindle"
                remedy = "write S and M3, or post again with feed per minute (G94)"
                about = " in a cutting move in G95 with the spindle standing"
                self._problem_once("turn", block, first, about, expected, remedy)
                return self._feed
            return self._feed * self._speed
        return self._feed

    def _arc(self, block: Block, end: tuple[float, float, float], first: int) -> None:
        """Add the rows of an arc block."""
        if block.is_spoilt:
            return
        plane = PLANES[self._plane]
        if not self._may_measure_centre(block, plane):
            return
        u, v, normal = plane.axes
        position, shift = (self._x, self._y, self._z), (self._shift_x, self._shift_y, self._shift_z)
        start, flat_end, sense = (position[u], position[v]), (end[u], end[v]), 1 if self._motion == 3 else -1
        zero, is_absolute, allowed = (
            (shift[u], shift[v]),
            self._is_centre_absolute,
            self.options.arc_tolerance,
        )
        drawn = drawn_arc(
            block, plane, start, flat_end, zero, is_absolute, self._scale, self._unit, sense, allowed,
            self._is_doubtful, bool(self._is_incremental),
        )  # fmt: skip
        if drawn is None:
            return
        apart = math.hypot(flat_end[0] - start[0], flat_end[1] - start[1])
        largest = arcs.LARGEST_TOLERANCE if allowed is None else allowed
        is_tiny = arcs.SAME_POINT < apart < largest
        if is_tiny and apart <= (tolerance(block, plane, self._unit) if allowed is None else allowed):
            text = (
                f"the ends of this arc are only {apart:.4f} mm apart: it is read as a turn of "
                f"{math.degrees(abs(drawn.sweep)):.2f} degrees, but controls may differ by a full turn"
            )
            self._notice("tiny arc", block, first, text)
        if drawn.mismatch > self.largest_mismatch or self.largest_mismatch_line is None:
            self.largest_mismatch, self.largest_mismatch_line = drawn.mismatch, block.number
        rise, low = end[normal] - position[normal], position[normal]
        length = 0.0
        if self._feed_mode == 93:
            centre = drawn.pieces[0].centre
            radius = arcs.plan_length(start[0] - centre[0], start[1] - centre[1])
            length = arcs.plan_length(abs(drawn.sweep) * radius, rise)
        feed = self._feed_of(block, first, length)
        for piece in drawn.pieces:
            point = [0.0, 0.0, 0.0]
            point[u], point[v] = piece.end
            point[normal] = end[normal] if piece.share == 1.0 else low + rise * piece.share
            self._add(block, point, ARC + self._plane - 17, feed, piece.centre, piece.sweep)
