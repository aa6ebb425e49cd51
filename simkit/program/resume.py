"""Where a program that was broken off may be started again, and what the control must be told there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.moves.table import Moves
from simkit.program.interpreter import Interpreter, Options
from simkit.program.words import split_lines

SAME = 1e-6  # mm


@dataclass(frozen=True)
class InForce:
    """What is in force before a line, to be given to the control by hand.

    words: blocks that say it, in the order in which to give them.  at (x, y, z) mm: where the tip stands
    then, from the setup's zero, None where it is not known.  written (x, y, z): the same as the program
    counts it, in its unit and from the zero in force.  unit: "mm" or "in", None before any is stated.
    notes: what no word can say.
    """

    line: int
    words: tuple[str, ...]
    at: tuple[float, float, float] | None
    written: tuple[float, float, float] | None
    unit: str | None
    notes: tuple[str, ...]


def in_force_before(
    source: bytes | str,
    name: str,
    line: int,
    *,
    cutter: int | None = None,
    units: str | None = None,
    options: Options | None = None,
) -> InForce:
    """Return what a program has in force before a line (from 1).

    source, name, cutter, units, options: as for read_program; the program is known to be readable.
    Source: modal groups of NISTIR 6556 (2000), table 4.
    """
    lines = split_lines(source, name)[: line - 1]
    state = Interpreter(name, [*lines, ""], units, options=options, stated_cutter=cutter)
    state.run()
    return _told(state, line)


def _told(state: Interpreter, line: int) -> InForce:
    unit = state._unit
    modes = ["G21" if unit == "mm" else "G20"] if unit else []
    modes.append(f"G{state._plane}")
    modes.append("G91" if state._is_incremental else "G90")
    modes.append("G90.1" if state._is_centre_absolute else "G91.1")
    modes.append(f"G{state._feed_mode}")
    modes += [state._return_word] if state._return_word else []
    modes += ["G40", "G80"]
    words = [" ".join(modes)]
    if state._path:
        # Kept in mm, as the feed is.
        tolerance = state._path_tolerance
        words.append(state._path + ("" if tolerance is None else f" P{tolerance / (state._scale or 1):g}"))
    tool = state.changes[-1][1] if state.changes else state._tool
    if tool is not None:
        words.append(f"T{tool} M6")
    words.append(state._work_zero)
    length = state.lengths[-1][1] if state.lengths else None
    words.append("G49" if length is None else f"G43 H{length}")
    if state._turning:
        speed = f"S{state._speed:g} " if state._speed is not None else ""
        words.append(f"{speed}M{3 if state._turning > 0 else 4}")
    words += sorted(state._coolants)
    notes = []
    # A cycle is no mode to be given by hand: alone it says nothing, with its words it drills.
    if state._motion is not None and 0 <= state._motion <= 3:
        words.append(f"G{state._motion}")
    if state._feed is not None:
        # Kept in mm; the control must be told in the unit of the program.
        words.append(f"F{state._feed / state._scale:g}")
    elif state._feed_mode == 93:
        notes.append("G93: each cutting block says its own F")
    if any(state._g92):
        shift = ", ".join(f"{axis}{value:g}" for axis, value in zip("XYZ", state._g92, strict=True) if value)
        notes.append(f"G92 has moved the zero by {shift} mm: set it again, or start before it")
    if state._blind:
        notes.append("coordinates count from a place that only the control knows: start before that")
    if tool is None:
        notes.append("no cutter is called before this line")
    if not state._turning:
        notes.append("the spindle stands here: start it before the first cut")
    place = (state._x, state._y, state._z)
    at = None if None in place else place
    scale = state._scale or 1.0
    shifts = (state._shift_x, state._shift_y, state._shift_z)
    written = None if at is None else tuple((v - shift) / scale for v, shift in zip(at, shifts, strict=True))
    return InForce(line, tuple(words), at, written, unit, tuple(notes))


def safe_lines(moves: Moves, top: float, leaning: Sequence[int] = ()) -> np.ndarray:
    """Return the lines (k,) of a program at which it may be started again, growing.

    moves: of one program, from its own zero, mm.  top: height that is clear of everything, from that zero.
    The first move of such a line is a rapid that begins at `top` or above, where the move before it has
    ended; so the operator can bring the cutter there over everything, and nothing is cut on the way.
    Lines inside a drilling cycle's block are one line, and count as their first move.
    leaning: lines that do not say all of their cycle (ProgramRead.leaning); a control that begins there does
    not know how deep to drill, so they are left out.
    """
    n = len(moves)
    if not n:
        return np.zeros(0, np.int64)
    is_first = np.ones(n, bool)
    is_first[1:] = moves.line[1:] != moves.line[:-1]
    follows = np.zeros(n, bool)
    follows[1:] = (np.abs(moves.start[1:] - moves.end[:-1]) <= SAME).all(axis=1)
    is_safe = is_first & follows & moves.rapid & (moves.start[:, 2] >= top - SAME)
    return np.setdiff1d(moves.line[is_safe], leaning)


def broken_off(moves: Moves, at_line: int, from_line: int) -> np.ndarray:
    """Return the rows of a program that are run when it breaks off in a line and starts again at another.

    Everything up to and with at_line, then everything from from_line on.
    """
    rows = np.arange(len(moves))
    return np.concatenate([rows[moves.line <= at_line], rows[moves.line >= from_line]])
