"""Drilling and boring cycles -> rows, step by step as published.

Source: NISTIR 6556 (2000), section 3.5.16, for G81 to G89; G73 is common usage of controls.  Where controls
differ on what a block means, it is refused or a notice says how it is read.
"""

from __future__ import annotations

from dataclasses import dataclass

from simkit.program import vocabulary as voc
from simkit.program.block import Block
from simkit.program.motion import Motion
from simkit.program.state import AXES, FEED, OFF, RAPID

BACK_OFF = 0.254  # mm (0.010 in): where a step of G83 and G73 begins above the depth already reached
SAME_HEIGHT = 1e-9  # mm; a last step shorter than this is rounding
MOST_STEPS = 100_000  # of one block; more is a Q or an L that is wrong


@dataclass(slots=True)
class Series:
    """The words that stay in force in a row of blocks of one cycle, as written, mm.

    r, z: in G91 r counts from the height before the block and z from r.  q: depth of a step.
    p: dwell at the bottom.  z_before: height before the first block.
    """

    r: float
    z: float
    is_incremental: bool
    z_before: float
    q: float | None = None
    p: float | None = None
    is_return_told: bool = False


class Cycles(Motion):
    """The state, with the cycles G73, G81 to G83, G85, G86 and G89."""

    _series: Series | None = None
    _returns_to_r = False  # G99
    _return_word = ""  # "G98" or "G99", once the program has said one

    def _cycle(self, block: Block, first: int) -> None:
        """Add the rows of one block of a cycle."""
        had_problems = len(self.problems)
        if block.is_spoilt or not self._may_cycle(block, first):
            self._lose_place()
            return
        self._need_start(block, first)
        place = self._place(block)
        series = self._words(block, first)
        repeats = self._repeats(block)
        if series is None or repeats is None or place is None or block.is_spoilt or self._is_doubtful:
            if len(self.problems) > had_problems or block.is_spoilt:
                self._lose_place()
            return
        z_now, shift = self._z, self._shift_z
        r = z_now + series.r if self._is_incremental else series.r + shift
        bottom = r + series.z if self._is_incremental else series.z + shift
        if bottom > r:
            index = block.at.get("Z", block.at.get("R", first))
            about = f", a bottom {bottom - r:.4g} mm above the height R of the hole"
            expected = "Z below R, for the cycle drills down from R"
            block.problem(index, about, expected, "correct R or Z; in G91 Z counts down from R")
            return
        depths = self._depths(block, series, r, bottom, repeats, first)
        if depths is not None:
            self._drill(block, first, place, r, depths, repeats)

    def _may_cycle(self, block: Block, first: int) -> bool:
        word = f"G{self._motion}"
        if not any(letter in block.at for letter in AXES):
            expected = f"X, Y or Z in each block of {word}, for that is what makes a hole"
            block.problem(
                first, " with no X, Y or Z", expected, "write the place of the hole, or delete the word"
            )
        elif self._plane != 17:
            # NISTIR 6556 drills along Y in G18 and along X in G19: work for an angle head.  Controls differ.
            along = {18: "Y", 19: "X"}[self._plane]
            expected = f"G17, for G{self._plane} asks for a hole along {along}, and the cutter stands along Z"
            remedy = "write G17 before it; a hole from the side is no work for a three-axis router"
            block.problem(first, f" in {word} with G{self._plane} in force", expected, remedy)
        elif self._feed_mode == 93:
            expected = "feed per minute (G94), for a cycle is more than one move"
            block.problem(first, f" in {word} with G93 in force", expected, "write G94 and F before it")
        else:
            return True
        return False

    def _place(self, block: Block) -> tuple[float, float, float, float] | None:
        """Return X and Y of the first hole and the step to the next (mm), None when not known."""
        x, y = self._end(block, "X", self._x), self._end(block, "Y", self._y)
        if self._blind and ("Z" in self._blind or None in (x, y)) and not self._is_incremental:
            if None in (x, y):
                self._x, self._y = x, y
            else:
                self._away["Z"], self._z = self._blind["Z"], None
            self._need_start(block, min(block.at.values()))
            return None
        if x is None or y is None:
            return None
        if not self._is_incremental:
            return x, y, 0.0, 0.0
        return x, y, x - self._x, y - self._y

    def _words(self, block: Block, first: int) -> Series | None:
        """Return R, Z and Q in force for this block; tell what is missing."""
        values, word, scale, series = block.values, f"G{self._motion}", self._scale, self._series
        is_new = series is None or series.is_incremental != self._is_incremental
        missing = [letter for letter in "RZ" if letter not in values]
        if is_new and missing:
            expected = f"R and Z in the first block of {word}, for they say where the hole begins and ends"
            remedy = f"write {' and '.join(missing)} here"
            block.problem(first, f" in {word} with no {' and '.join(missing)} in force", expected, remedy)
            self._series = None
            return None
        if is_new:
            q, p = (series.q, series.p) if series is not None else (None, None)
            series = Series(values["R"] * scale, values["Z"] * scale, self._is_incremental, self._z, q, p)
        elif "R" not in values and self._is_incremental and self._z != series.z_before:
            expected = "R in this block, for controls differ on where an R stated before counts from"
            block.problem(
                first, f" in {word} with G91, and no R after G99", expected, "write the drilling in G90"
            )
            return None
        if "R" in values:
            series.r = values["R"] * scale
        if "Z" in values:
            series.z = values["Z"] * scale
        if "Q" in values:
            series.q = values["Q"] * scale
            if not series.q > 0.0:
                block.problem(block.at["Q"], "", "a depth of step above zero", "write the depth of one step")
                return None
            if series.q < BACK_OFF and self._motion in voc.PECKING:
                text = (
                    f"{block.written(block.at['Q'])} is a smaller step than the {BACK_OFF} mm (0.010 in) "
                    f"that {word} backs off before the next one: read so, though controls may back off less"
                )
                self._notice("small step", block, block.at["Q"], text)
        if self._motion in voc.PECKING and series.q is None:
            block.problem(
                first, f" in {word} with no Q", "the depth of one step", "write Q, or G81 for one step"
            )
            return None
        if values.get("P", 0.0) < 0.0:
            block.problem(block.at["P"], "", "a time of zero or more", "correct the time of the dwell")
            return None
        if "P" in values:
            series.p = values["P"]
        if self._motion in (82, 89) and series.p is None:
            same = "G81" if self._motion == 82 else "G85"
            block.problem(
                first, f" in {word} with no P", "the time of the dwell", f"write P, or {same} for no dwell"
            )
            return None
        if not is_new and not self._returns_to_r and self._z < series.z_before and not series.is_return_told:
            series.is_return_told = True
            text = "G98 behind G99 in one row of holes: read as a return to the height before this block"
            self._notice("return", block, first, text)
        self._series = series
        # Not what is in force counts, but what a control that begins here would know.
        needed = "RZ" + "Q" * (self._motion in voc.PECKING)
        needed += "P" * (self._motion in voc.DWELLING and series.p is not None)
        if block.key(voc.MOTION) is None or any(letter not in values for letter in needed):
            self.leaning.append(block.number)
        return series

    def _repeats(self, block: Block) -> int | None:
        value = block.values.get("L", 1.0)
        if value < 1.0 or value != int(value):
            expected = "the whole number of repeats, one or more"
            block.problem(block.at["L"], "", expected, "write how often, or delete it")
            return None
        return int(value)

    def _depths(
        self, block: Block, series: Series, r: float, bottom: float, repeats: int, first: int
    ) -> list[float] | None:
        """Return the heights that the feeds of one hole reach, mm, the bottom last."""
        steps = int((r - bottom) / series.q) + 1 if self._motion in voc.PECKING else 1
        if steps * repeats > MOST_STEPS:
            index = block.at.get("Q", block.at.get("L", first))
            expected = f"at most {MOST_STEPS} in a block"
            about = f" asks for {steps * repeats} steps down"
            block.problem(index, about, expected, "correct Q or L")
            return None
        depths = [r - k * series.q for k in range(1, steps)] if steps > 1 else []
        return [*(depth for depth in depths if depth > bottom + SAME_HEIGHT), bottom]

    def _drill(self, block: Block, first: int, place, r: float, depths: list[float], repeats: int) -> None:
        x, y, step_x, step_y = place
        feed = self._feed_of(block, first, 0.0)
        if self._motion in voc.DWELLING:
            self.dwell += (self._series.p or 0.0) * repeats
        if self._z < r:
            self._step(block, self._x, self._y, r, RAPID)
        clear = r if self._returns_to_r else max(r, self._z)
        for _ in range(repeats):
            self._step(block, x, y, self._z, RAPID)
            self._step(block, x, y, r, RAPID)
            for depth in depths:
                self._step(block, x, y, depth, FEED, feed)
                if depth == depths[-1]:
                    break
                if self._motion == 83:
                    self._step(block, x, y, clear, RAPID)
                self._step(block, x, y, min(depth + BACK_OFF, clear), RAPID)
            if self._motion in voc.DWELLING:
                self.rests.append(self._row_count())
            self._retract(block, x, y, clear, feed)
            x, y = x + step_x, y + step_y

    def _retract(self, block: Block, x: float, y: float, clear: float, feed: float) -> None:
        if self._motion in (85, 89):
            self._step(block, x, y, clear, FEED, feed)
            return
        stops = self._motion == 86 and self._turning != 0
        if stops:
            self.spindle.append((self._row_count(), 0.0, OFF))
        self._step(block, x, y, clear, RAPID)
        if stops:
            self._note_spindle()

    def _step(self, block: Block, x: float, y: float, z: float, code: float, feed: float = 0.0) -> None:
        """Add one step of a cycle; a rapid to where the tip is already is none."""
        if code == RAPID and (x, y, z) == (self._x, self._y, self._z):
            return
        self._add(block, (x, y, z), code, feed)
        self._x, self._y, self._z = x, y, z
