"""The reader of large programs: common blocks in compiled code, every other line by the plain interpreter.

Both work on one state, so a line may go either way; what is told, and how, is the plain interpreter's alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from simkit.program import arcs
from simkit.program import fast_kernels as fast
from simkit.program import vocabulary as voc
from simkit.program.block import LARGEST_NUMBER, REFUSED_MOTION
from simkit.program.interpreter import ROW, Interpreter, Options
from simkit.program.rows import Rows
from simkit.program.source import Source

_FEW, _LONGEST_WAIT = 4, 64
# Bits of modal groups beside the kernel's own; M7, M8 and M9 share one.
_FEED_MODE, _COMPENSATION, _PATH, _UNITS, _WORK_ZERO, _LENGTH, _CYCLE_RETURN = range(4, 11)
_STOP, _COOLANT, _OVERRIDE, _SPINDLE = range(11, 15)
_POWERS = np.array([10.0**k for k in range(fast.MOST_DIGITS + 1)])


class FastInterpreter(Interpreter):
    """An Interpreter that passes over the common blocks of its source, having read them itself.

    After run(): `columns` holds all rows, and `rows` none.
    """

    def __init__(
        self,
        name: str,
        source: Source,
        units: str | None,
        options: Options | None = None,
        stated_cutter: int | None = None,
    ):
        super().__init__(name, source, units, False, options, stated_cutter)
        self.columns = Rows(len(source) + 2)  # most lines are one row
        self._floats = np.zeros(fast.FLOATS)
        self._ints = np.zeros(fast.INTS, dtype=np.int64)
        self._floats[fast.SAME_POINT] = arcs.SAME_POINT
        allowed = self.options.arc_tolerance
        self._floats[fast.TINY_BELOW] = arcs.LARGEST_TOLERANCE if allowed is None else allowed
        self._floats[fast.LARGEST_NUMBER] = LARGEST_NUMBER
        self._tolerances = {
            unit: np.array(
                [
                    arcs.tolerance(decimals, unit) if allowed is None else allowed
                    for decimals in range(fast.MOST_DIGITS + 1)
                ]
            )
            for unit in ("mm", "in")
        }
        # A word of a common block that the job declares harmless: left to the interpreter.
        self._is_harmless_common = any(
            name[:1].upper() in fast.LETTERS and not voc.may_be_harmless(name)
            for name in self.options.harmless_words
        )

    def run(self) -> None:
        """Read the whole source, as Interpreter.run does."""
        super().run()
        self.columns.take(self.rows)
        self.columns.trim()

    def _row_count(self) -> int:
        return self.columns.count + len(self.rows) // len(ROW)

    def _lines_to_read(self) -> Iterator[tuple[int, str]]:
        source, ints = self.lines, self._ints
        ints[fast.POSITION], ints[fast.NUMBER] = source.start, 1
        # Where few blocks are common, a call of the kernel costs more than it saves: then it has to wait.
        wait, waited = 1, 0
        while ints[fast.POSITION] < source.stop:
            waited += 1
            if waited >= wait and self._is_plain():
                number, waited = ints[fast.NUMBER], 0
                self.columns.take(self.rows)
                self._read_blocks(source)
                wait = 1 if ints[fast.NUMBER] - number >= _FEW else min(2 * wait, _LONGEST_WAIT)
            else:
                fast.find_end(source.codes, ints)
            if ints[fast.POSITION] >= source.stop:
                break
            line = source.text(int(ints[fast.POSITION]), int(ints[fast.LINE_END]))
            yield int(ints[fast.NUMBER]), line
            ints[fast.POSITION] = ints[fast.NEXT_LINE]
            ints[fast.NUMBER] += 1
        # What stands behind the last line end may be cut off, which is not for the kernel to judge.
        yield len(source), source.text(source.stop, len(source.data))

    def _is_plain(self) -> bool:
        """Tell whether common blocks mean what the kernel takes them to mean, with nothing to be told."""
        if not self.leaves_common or self._is_harmless_common or self._is_doubtful or self.has_end:
            return False
        if self._feed_mode == 95 and not (self._turning and self._speed):
            return False
        needed = (self._x, self._y, self._z, self._scale, self._is_incremental)
        return self._is_unit_used and None not in needed and self._motion != REFUSED_MOTION

    def _read_blocks(self, source: Source) -> None:
        floats, ints, columns = self._floats, self._ints, self.columns
        floats[: fast.SHIFT_X] = (
            self._x,
            self._y,
            self._z,
            np.nan if self._feed is None else self._feed,
            self._scale,
        )
        floats[fast.SHIFT_X : fast.SHIFT_Z + 1] = self._shift_x, self._shift_y, self._shift_z
        floats[fast.MISMATCH] = self.largest_mismatch
        line = self.largest_mismatch_line
        ints[fast.MISMATCH_LINE] = -1 if line is None else line
        ints[fast.MOTION] = -1 if self._motion is None else self._motion
        ints[fast.IS_INCREMENTAL] = self._is_incremental
        ints[fast.PLANE] = self._plane
        ints[fast.IS_CENTRE_ABSOLUTE] = self._is_centre_absolute
        ints[fast.IS_INVERSE] = self._feed_mode == 93
        ints[fast.BLOCKS] = self.block_count
        floats[fast.PER_MINUTE] = self._speed if self._feed_mode == 95 else 1.0
        floats[fast.IDLE_SPEED] = np.nan if self._speed is None else self._speed
        # A T in force since its change: behind no other, so nothing is told of it.
        floats[fast.IDLE_TOOL] = self._tool if self.changes and self.changes[-1][1] == self._tool else np.nan
        tolerances, idle = self._tolerances[self._unit], self._idle_words()
        while True:
            columns.make_room(2)
            ints[fast.ROWS] = columns.count
            arrays = [getattr(columns, name) for name in Rows.NAMES]
            fast.read_blocks(source.codes, source.stop, floats, ints, _POWERS, tolerances, idle, *arrays)
            columns.count = int(ints[fast.ROWS])
            if columns.count + 2 <= columns.room:
                break
        self._x, self._y, self._z, feed = floats[: fast.FEED + 1].tolist()
        if feed == feed:
            self._feed = feed
        self.block_count = int(ints[fast.BLOCKS])
        self._plane, self._is_incremental = int(ints[fast.PLANE]), bool(ints[fast.IS_INCREMENTAL])
        self._is_centre_absolute = bool(ints[fast.IS_CENTRE_ABSOLUTE])
        if ints[fast.MOTION] >= 0:
            self._motion = int(ints[fast.MOTION])
        if ints[fast.MISMATCH_LINE] >= 0:
            self.largest_mismatch = float(floats[fast.MISMATCH])
            self.largest_mismatch_line = int(ints[fast.MISMATCH_LINE])

    def _idle_words(self) -> np.ndarray:
        """Return a bit of the modal group for each G and M word that would change nothing now; else 0.

        (2, 1000): G words and M words by their keys.  The kernel's own words have their bits always.
        """
        idle = np.zeros((2, 1000), dtype=np.uint8)
        g, m = idle
        g[170:200:10], g[900:911:10], g[901:912:10] = fast.PLANE_BIT, fast.DISTANCE_BIT, fast.CENTRE_BIT
        g[10 * self._feed_mode], g[400] = _FEED_MODE, _COMPENSATION
        if self._unit in self.units_seen:
            g[{"mm": 210, "in": 200}[self._unit]] = _UNITS
        if self._work_zero in self.work_zeros_seen:
            g[voc.code_key(self._work_zero[1:])] = _WORK_ZERO
        if "path" in self.notices:
            g[640] = _PATH
        if "exact path" in self.notices:
            g[610:612] = _PATH
        if not self._has_length:
            g[490] = _LENGTH
        g[990 if self._returns_to_r else 980] = _CYCLE_RETURN
        m[[0, 10]], m[70:100:10], m[480:500:10] = _STOP, _COOLANT, _OVERRIDE
        if self.spindle and self._speed:
            m[{1: 30, -1: 40, 0: 50}[self._turning]] = _SPINDLE
        return idle


def warm_up() -> None:
    """Compile the kernels, or load them from the cache."""
    source = Source(b"G21 G90 G0 X0 Y0 Z0\nG1 X1 F1\nG3 Y1 I0 J0.5\nX2 R9\nM30\n", "thumbnail")
    FastInterpreter("thumbnail", source, None).run()
    source[0]
