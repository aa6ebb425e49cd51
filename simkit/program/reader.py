"""One program file -> `ProgramRead`: its moves, and everything a person should know about it."""

from __future__ import annotations

import bisect
import itertools
from dataclasses import dataclass
from functools import partial
from operator import itemgetter

import numpy as np

from simkit.errors import InputProblems, Place, Problem
from simkit.moves.table import ARC, LINE, Moves, make_moves
from simkit.program import interpreter
from simkit.program.interpreter import PROBLEM_LIMIT, Interpreter, Options
from simkit.program.notices import Notice, Notices
from simkit.program.rows import Rows
from simkit.program.state import NO_SPEED, OFF, ON
from simkit.program.words import quoted, scan, split_lines

__all__ = ["PROBLEM_LIMIT", "Notice", "Options", "ProgramRead", "read_program"]

LARGE = 1_000_000  # bytes; below, Python alone is done before compiled code is loaded
COMMON = 2_000  # bytes; from here on compiled code is quicker where it is loaded already
_compiled_from = LARGE


@dataclass(frozen=True)
class ProgramRead:
    """What is in a program.

    moves: in the program's own frame, mm, tip of the cutter.
    warnings: sorted by line; of each sort the first ten places that say something new, with the number
        of those left out.
    units_seen: "mm" and "in" in the order the program states them; empty when it states none.
    unit_lines: the line that first states each of them.
    speeds_called: (rev/min, line, column) of every S that changes the speed, in order.
    tools_called: (tool, line, column) of every change of cutter the moves follow, in order; empty when
        the job's cutter is the one that cuts.
    largest_arc_mismatch: mm, the largest difference between the radii at start and end of an arc as
        written (radius form: by how much the radius is too short), and its line (None without arcs).
    has_end: M2, M30 or a closing % was read.  block_count: lines that hold words.
    line_count: lines of the file.
    work_zeros: (name, line, column) of the first word for every work zero called ("G55"), in order.
    deleted_count: blocks with the / of block delete; skips_deleted: they were passed over, else run.
    has_still_spindle: the spindle is switched on, but never with a speed but S0.
    dwell: sum of the P of all dwells (seconds by the standard; some controls take milliseconds).
    ends_at: (x, y, z) mm, where the tip stands in the end, None where that is not known.
    ends_by: the word that took its Z to a place not known here, such as "G28"; "" when none did.
    aslant: lines of arrivals that do not come straight down over an X and Y that were known before.
    opening: (line, x, y, z, tool) of the rapids up to the first known place, mm, None for what is not known
        yet; tool: of the change of cutter before, None without one.  Empty where a machine place is gone to.
    leaning: lines of cycles that take their G, R, Z, P or Q from a block before.
    sha256: of the bytes read, in hex, where these are kept ones; "" where they are those of its file.
    """

    name: str
    moves: Moves
    warnings: tuple[Notice, ...]
    units_seen: tuple[str, ...]
    tools_called: tuple[tuple[int, int, int], ...]
    largest_arc_mismatch: float
    largest_arc_mismatch_line: int | None
    has_end: bool
    block_count: int
    line_count: int
    work_zeros: tuple[tuple[str, int, int], ...] = ()
    unit_lines: tuple[int, ...] = ()
    speeds_called: tuple[tuple[float, int, int], ...] = ()
    deleted_count: int = 0
    skips_deleted: bool = False
    dwell: float = 0.0
    has_still_spindle: bool = False
    ends_at: tuple[float | None, float | None, float | None] = (None, None, None)
    ends_by: str = ""
    leaning: tuple[int, ...] = ()
    aslant: tuple[int, ...] = ()
    opening: tuple[tuple[int, float | None, float | None, float | None, int | None], ...] = ()
    sha256: str = ""


def use_compiled() -> None:
    """Read all but the smallest programs by compiled code from now on, for a process that has loaded it.

    What is read is the same either way.
    """
    global _compiled_from
    _compiled_from = COMMON


def is_for_compiled(size: int) -> bool:
    """Return whether a program of so many bytes is read by compiled code."""
    return size >= _compiled_from


def read_program(
    text_or_bytes: bytes | str,
    name: str,
    *,
    setup: int = 0,
    cutter: int | None = None,
    units: str | None = None,
    options: Options | None = None,
) -> ProgramRead:
    """Return what is in a program, or raise InputProblems with every reason why it cannot be used.

    text_or_bytes: the file.  name: as the user wrote it, for messages and `Moves.programs`.
    setup: index for the column of that name.  cutter: number of the cutter for a program that calls
    none (T with M6); with None such a program's T words alone say it, with a warning.  units: "mm" or
    "in" for a program that states neither G21 nor G20; with None it is refused.  options: what else the
    job says about how the program is meant (work zeros, block delete, harmless words and so on).
    At most PROBLEM_LIMIT problems, sorted by line and column, and the warnings beside them.

    Where the machine stands before the program is unknown.  Rapids give X, Y and Z one by one or
    together; no row is made until all three are known.  The rapid that makes the third known becomes
    the first row, of no length (start = end): an arrival, the way to it is not known.  A cutting move
    before that is a problem.  Every later motion block is one row, even one of no length; an arc of
    more than half a turn whose radii differ is two rows (`arcs.arc_about` says how arcs are drawn, and
    `arcs.tolerance` by how much they may contradict themselves).
    Rapids before the first change of cutter carry the number of the first cutter called.

    Error: coordinates rounding of float64 only; arcs within largest_arc_mismatch of what is written.
    Source: ISO 6983-1; NISTIR 6556 (2000), order of execution section 3.8.  Not from there, common
    usage: `;` comments, G73, G90.1, G91.1, G95, line numbers of any length, arcs with both axis words
    left out, G0 to G3 alone in a block as a change of mode.
    """
    if units not in (None, "mm", "in"):
        raise ValueError(f"units must be 'mm', 'in' or None, not {units!r}")
    return _read(text_or_bytes, name, setup, cutter, units, options=options)


def _read(
    source, name, setup, cutter, units, has_short_cut=True, is_compiled=None, options=None
) -> ProgramRead:
    if is_compiled is None:
        is_compiled = is_for_compiled(len(source))
    state, table = (_compiled if is_compiled else _plain)(source, name, units, has_short_cut, options, cutter)
    lines = state.lines
    problems, notices = state.problems, state.notices
    if not state.block_count and not problems:
        remedy = "post the program again and look whether this is the right file"
        problems.append(Problem(Place(name), "a file with no words in it", "a program", remedy))
    called = _cutters(state, table, name, cutter, notices)
    if isinstance(called, Problem):
        problems.append(called)
    if not state.has_unread and len(problems) < PROBLEM_LIMIT:  # else what it says may be what is missing
        _warn_of_spindle(state, table, notices)
    if problems:
        problems.sort(key=lambda problem: (problem.place.line or 0, problem.place.column or 0))
        raise InputProblems(problems[:PROBLEM_LIMIT], notices.told()[:PROBLEM_LIMIT])
    tool, tools_called = called
    if tools_called:  # else nothing says which number the control knows the cutter by
        _lengths(state, table, tool, notices)
    if not state.has_end:
        text = "the program ends with no M2, M30 or closing %: the file may be cut off"
        if lines[-1].strip():
            text += f", perhaps in the middle of its last line {quoted(lines[-1].strip())}"
        notices.add("end", Place(name, len(lines) if lines[-1] else max(1, len(lines) - 1), 1), text)
    if not len(table):
        notices.add("empty", Place(name, 1, 1), "the program moves nothing")
    speed = _column(_spans(len(table), [(row, speed) for row, speed, _ in state.spindle], 0.0), np.float64)
    return ProgramRead(
        name=name,
        moves=_moves(table, name, setup, tool, speed, _rests(state, table)),
        warnings=tuple(notices.told()),
        units_seen=tuple(state.units_seen),
        unit_lines=tuple(state.units_seen.values()),
        tools_called=tools_called,
        largest_arc_mismatch=state.largest_mismatch,
        largest_arc_mismatch_line=state.largest_mismatch_line,
        has_end=state.has_end,
        block_count=state.block_count,
        line_count=len(lines) - (not lines[-1]),
        work_zeros=tuple((name, place.line, place.column) for name, place in state.work_zeros_seen.items()),
        speeds_called=tuple(state.speeds_called),
        deleted_count=state.deleted_count,
        skips_deleted=state.options.skip_deleted,
        dwell=state.dwell,
        has_still_spindle={on for _, _, on in state.spindle if on != OFF} == {NO_SPEED},
        ends_at=state.place,
        ends_by=state.place_lost_by,
        leaning=tuple(state.leaning),
        aslant=tuple(state.aslant),
        opening=tuple(state.opening),
    )


def _plain(source, name, units, has_short_cut, options, cutter) -> tuple[Interpreter, Rows]:
    """Read a program in Python alone."""
    state = Interpreter(name, split_lines(source, name), units, has_short_cut, options, cutter)
    state.run()
    table = Rows(0)
    table.take(state.rows)
    return state, table


def _compiled(source, name, units, has_short_cut, options, cutter) -> tuple[Interpreter, Rows]:
    """Read a program with its common blocks in compiled code: the same result, for large files."""
    from simkit.program.fast import FastInterpreter
    from simkit.program.source import Source

    if isinstance(source, str):
        try:
            source = source.encode("utf-8")
        except UnicodeEncodeError:  # half a surrogate pair: no file holds one
            return _plain(source, name, units, has_short_cut, options, cutter)
    state = FastInterpreter(name, Source(source, name), units, options, cutter)
    state.run()
    return state, state.columns


def _rests(state: Interpreter, table: Rows) -> np.ndarray:
    """Return behind which of n moves the machine stands still for a dwell or an exact stop, (n,) bool."""
    n = len(table)
    rests = np.zeros(n, bool)
    for (first, is_exact), (last, _) in itertools.pairwise([*state.exact_stops, (n, False)]):
        rests[first:last] |= is_exact
    if rests.any():  # a helix of several turns is one move
        is_arc = (table.code[:n] >= interpreter.ARC) & (table.code[:n] <= interpreter.ARC_YZ)
        rests[:-1] &= ~(is_arc[:-1] & is_arc[1:] & (table.line[: n - 1] == table.line[1:n]))
    dwells = np.array(state.rests, dtype=np.int64) - 1
    rests[dwells[dwells >= 0]] = True
    return rests


def _moves(
    table: Rows, name: str, setup: int, tool: np.ndarray, speed: np.ndarray, rests: np.ndarray
) -> Moves:
    # The columns of a long program are large: each is made once, in its own type.
    n = len(table)
    start = np.empty((n, 3))
    start[:1] = table.end[:1]
    start[1:] = table.end[:-1]
    arrivals = np.flatnonzero(table.code == interpreter.ARRIVAL)
    start[arrivals] = table.end[arrivals]
    is_arc = (table.code >= interpreter.ARC) & (table.code <= interpreter.ARC_YZ)
    return make_moves(
        programs=(name,),
        kind=np.where(is_arc, np.uint8(ARC), np.uint8(LINE)),
        plane=np.where(is_arc, table.code + np.uint8(17 - int(interpreter.ARC)), np.uint8(17)),
        rapid=_is_rapid(table.code),
        start=start,
        end=table.end,
        centre=table.centre,
        sweep=table.sweep,
        feed=table.feed,
        speed=speed,
        tool=tool,
        setup=np.full(n, setup, dtype=np.int32) if setup else np.zeros(n, dtype=np.int32),
        program=np.zeros(n, dtype=np.int32),
        line=table.line,
        rests=rests,
    )


def _is_rapid(code: np.ndarray) -> np.ndarray:
    return (code == interpreter.RAPID) | (code == interpreter.ARRIVAL)


def _first_cut(table: Rows, spans) -> int | None:
    """Return the first cutting row in spans (begin, end) of rows, in order; or None."""
    for begin, end in spans:
        is_cut = ~_is_rapid(table.code[begin:end])
        first = int(is_cut.argmax()) if end > begin else 0
        if end > begin and is_cut[first]:
            return begin + first
    return None


def _block_place(state: Interpreter, table: Rows, row: int) -> Place:
    """Return the place of the first word of the block that made a row."""
    line = int(table.line[row])
    return Place(state.name, line, scan(state.lines[line - 1])[0][0].start + 1)


def _spans(length: int, events, before) -> list[tuple[int, int, float]]:
    """Return spans (begin, end, value) of rows: `before` holds first, then events (row, value), in order."""
    starts = [0, *(row for row, _ in events), length]
    values = [before, *(value for _, value in events)]
    return list(zip(starts[:-1], starts[1:], values, strict=True))


def _column(spans, dtype) -> np.ndarray:
    """Return the column that holds the value of each span."""
    lengths = [end - begin for begin, end, _ in spans]
    return np.repeat(np.array([value for _, _, value in spans], dtype=dtype), lengths)


def _cutters(state: Interpreter, table: Rows, name: str, cutter: int | None, notices: Notices):
    """Return the column of cutters and the calls it follows, or the problem that there is none."""
    calls, words = state.changes, state.tool_words
    _unused_tools(calls, words, name, notices)
    if not calls and words:
        for _, tool, line, column in words:
            text = f"T{tool} with no M6 in the program: "
            if cutter is not None:
                text += f"cutter {cutter}, stated for it, is taken to cut"
            else:
                text += f"cutter {tool} is taken to be in the spindle from here on"
            notices.add("tool", Place(name, line, column), text)
        if cutter is None:
            calls = words
    # Number 0 stands for an empty spindle.
    before, *behind = _spans(len(table), [(row, tool) for row, tool, _, _ in calls], cutter or 0)
    bare = [(begin, end) for begin, end, tool in behind if tool == 0]
    row = _first_cut(table, [before[:2], *bare] if cutter is None else bare)
    if row is None or "cutter" in state.told:  # told: the word that should choose it was refused
        pass
    elif not state.options.needs_cutter:
        text = "a cutting move with no cutter chosen: for a check, the job or --cutter has to name it"
        notices.add("cutter", _block_place(state, table, row), text)
    else:
        return Problem(
            _block_place(state, table, row),
            "a cutting move with no cutter chosen",
            "a cutter, for its shape decides what is cut",
            "write T1 M6, with its number, or "
            + state.options.where_to_say(
                "state the cutter for this program in the job", "give one --cutter alone"
            ),
        )
    rows_before = before[1]
    is_unknown = cutter is None and row is not None and row < rows_before  # something cuts before any call
    if calls and rows_before and not is_unknown:
        first = calls[0][1]
        if cutter is None:
            before = (0, rows_before, first)
            text = f"rapids before the first change of cutter are taken as made with cutter {first}"
        else:
            text = (
                f"moves before the first change of cutter are taken as made with cutter {cutter}, as stated"
            )
        place = _block_place(state, table, 0)
        if rows_before > 1 or cutter is not None:
            notices.add("before", place, text, is_stated=cutter is not None)
    return _column([before, *behind], np.int32), tuple(call[1:] for call in calls)


def _unused_tools(calls, words, name: str, notices: Notices) -> None:
    """Tell of every T that no M6 follows before the next T, or the end, of a program with changes.

    calls, words: as in State.  A T acts before an M6 in its own block.
    """
    lines = [line for _, _, line, _ in calls]
    for k, (_, tool, line, column) in enumerate(words if calls else ()):
        following = words[k + 1] if k + 1 < len(words) else None
        call = bisect.bisect_left(lines, line)  # the first change that can be to this T
        is_used = call < len(calls) and (following is None or lines[call] < following[2])
        in_spindle = calls[call - 1][1] if call else None
        if is_used or tool == in_spindle or (following is not None and following[1] == tool):
            continue
        text = f"T{tool} is chosen but no M6 changes to it: "
        if call == len(calls):
            text += f"cutter {in_spindle} stays in the spindle"
        else:
            text += f"line {following[2]} chooses T{following[1]} before the next M6"
        notices.add("tool", Place(name, line, column), text)


def _warn_of_spindle(state: Interpreter, table: Rows, notices: Notices) -> None:
    """Warn of the first cut in each stretch of the program in which the spindle stands."""
    if not any(on == ON for _, _, on in state.spindle):
        row = _first_cut(table, [(0, len(table))])
        has_speed_zero = any(on == NO_SPEED for _, _, on in state.spindle)
        if row is None or (state.options.spindle_by_hand and not has_speed_zero):
            return
        place = state.options.where_to_say("spindle_by_hand = true in the job", "--spindle-by-hand")
        text = f"no M3 in the program: the spindle has to be switched on by hand ({place} says that it is)"
        if has_speed_zero:
            text = "a cutting move with the spindle standing, for S0 is the only speed"
        notices.add("spindle", _block_place(state, table, row), text)
        return
    first_on = next(row for row, _, on in state.spindle if on == ON)
    events = [(0, OFF), *((row, on) for row, _, on in state.spindle)]
    changes = [event for before, event in itertools.pairwise([(0, None), *events]) if event[1] != before[1]]
    for begin, end, on in _spans(len(table), changes, OFF):
        row = None if on == ON else _first_cut(table, [(begin, end)])
        if row is None:
            continue
        text = "no M3 since it was last stopped" if row >= first_on else "M3 comes only later"
        if on == NO_SPEED:
            text = "S0 is in force"
        place = partial(_block_place, state, table, row)
        notices.add("spindle", place, f"a cutting move with the spindle off: {text}")


def _lengths(state: Interpreter, table: Rows, tool: np.ndarray, notices: Notices) -> None:
    """Warn of the first cut in each stretch whose length offset is not that of its cutter."""
    spans = _spans(len(table), [(row, event) for row, *event in state.lengths], (None, 0, 0))
    for begin, end, (number, line, column) in spans:
        if number is None or end == begin:
            continue
        others = np.flatnonzero((tool[begin:end] != number) & ~_is_rapid(table.code[begin:end]))
        cutters, first = np.unique(tool[begin:end][others], return_index=True)
        rows = (begin + others[first]).tolist()
        for cutter, row in sorted(zip(cutters.tolist(), rows, strict=True), key=itemgetter(1)):
            takes, off = (
                f"the length of cutter {number}",
                f"the difference of the lengths {number} and {cutter}",
            )
            remedy = f"write H{cutter}, or call T{number}"
            if number == 0:  # NISTIR 6556, section 3.5.9: H0 is a length of zero
                takes, off, remedy = "no length", f"the length of cutter {cutter}", f"write H{cutter}"
            text = (
                f"H{number} is in force where cutter {cutter} cuts in line {int(table.line[row])}: the "
                f"control takes {takes} for it, so every cut is too deep or too high by {off}; {remedy}"
            )
            notices.add("H of another", Place(state.name, line, column), text)
