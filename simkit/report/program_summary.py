"""What is in a program, told without any job, as plain data; program_text.py draws it for the terminal."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from simkit.effort.motion import move_times
from simkit.effort.program_time import program_times
from simkit.job.meant import Meant
from simkit.job.model import WORK_ZEROS, Blank, Machine, Setup, Zero
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.program.reader import Options, ProgramRead, read_program
from simkit.report.time_table import DEFAULTS, assumed, time_table
from simkit.units import MM_PER_INCH

VERSION = 2  # of the summary's form; raised when a key changes its meaning
NEAR = 1e-6  # mm; a height nearer to zero counts as zero
_SHARE = 0.25  # of what is cut, or of the blank's thickness: so much beyond an edge may be meant


def read_alone(source: bytes, name: str, meant: Meant | None = None) -> ProgramRead:
    """Return what is in a program when no job says how it is meant, or raise InputProblems.

    source: the bytes of the file.  name: for messages.  meant: what is known of how it is meant.  No cutter
    is needed, and every work zero that `meant` does not place counts as lying at the zero.
    """
    meant = meant or Meant()
    options = Options(
        work_offsets=dict.fromkeys(WORK_ZEROS, (0.0, 0.0, 0.0)) | meant.work_offsets,
        skip_deleted=meant.block_delete == "skip",
        harmless_words=meant.harmless_words,
        arc_tolerance=meant.arc_tolerance,
        spindle_by_hand=meant.spindle_by_hand,
        needs_cutter=False,
        has_job_file=False,
    )
    return read_program(source, name, units=meant.program_units, options=options)


def summary_of(
    read: ProgramRead,
    *,
    blank: Blank | None = None,
    zero: Zero | None = None,
    rapid: float | None = None,
    placed: tuple[str, ...] = (),
    stated_units: str | None = None,
) -> dict[str, Any]:
    """Return what a person wants to see of a program, as plain data (dicts, lists, text, numbers, None).

    blank: where it starts and ends is then told against it.  zero: where X0 Y0 Z0 is on it; when it is
    stated nothing is guessed, but what the program does against it is told.
    rapid: mm/min of rapids; their time is told only when it is stated.  placed: work zeros whose place was
    stated; of the others it is told that it is not known.  stated_units: "mm" or "in" when the one who asks
    said it of a program that states none.
    Lengths mm, times minutes, feeds mm/min.  Error: rounding; boxes count arcs to their true extremes;
    `minutes_at_least` is a lower bound, for it knows no acceleration; `time` is what a machine with the
    default figures of the job file takes (rapids at `rapid` on every axis, where it is stated).
    """
    moves = read.moves
    low, high = extremes(moves)
    is_cut = ~moves.rapid
    length = moves.length()
    minutes = np.where(is_cut, length / np.where(is_cut, moves.feed, 1.0), 0.0)
    lowest = _lowest(moves, low, is_cut)
    rapid_length = float(length[moves.rapid].sum())
    start = moves.start[0].tolist() if len(moves) else None
    lowest_rapid = _lowest(moves, low, _goes_down_or_sideways(moves))
    summary = {
        "form": "simkit program",
        "version": VERSION,
        "program": read.name,
        "lines": read.line_count,
        "blocks": read.block_count,
        "moves": len(moves),
        "units": list(read.units_seen),
        "units_by_option": None if read.units_seen else stated_units,
        "work_zeros": [{"name": name, "line": line} for name, line, _ in read.work_zeros],
        "zero": None if blank and zero else _zero_text(low, high, is_cut),
        "starts_at": start,
        "ends_at": list(read.ends_at) if len(moves) else None,
        "ends_by": read.ends_by or None,
        "deepest_cut": lowest,
        "lowest_rapid": lowest_rapid,
        "box": _box(low, high, np.ones(len(moves), dtype=bool)),
        "cutting_box": _box(low, high, is_cut),
        "cutters": [_cutter(moves, read, tool, low, length, minutes) for tool in _in_order(moves.tool)],
        "feeds": _range(moves.feed[is_cut]),
        "speeds": _range(np.abs(moves.speed[is_cut & (moves.speed != 0)])),
        "cutting": {"length": float(length.sum() - rapid_length), "minutes_at_least": float(minutes.sum())},
        "rapid": {"length": rapid_length, "minutes": rapid_length / rapid if rapid else None},
        "time": _time(read, rapid),
        "dwell": read.dwell,
        "block_delete": {"blocks": read.deleted_count, "skipped": read.skips_deleted},
        "largest_arc_mismatch": {
            "size": read.largest_arc_mismatch,
            "line": read.largest_arc_mismatch_line,
        },
        "blank": None,
        "warnings": [
            {"line": warning.line, "column": warning.column, "text": warning.text}
            for warning in read.warnings
        ],
    }
    if blank:
        summary["blank"] = _against_blank(summary, blank, zero)
    for cutter in summary["cutters"]:
        lowest, cut = cutter["lowest"], cutter["lowest_cut"]
        if cut is not None and lowest["z"] < cut["z"] - NEAR:
            depth = lowest["z"] / (MM_PER_INCH if (read.units_seen or (stated_units,)) == ("in",) else 1.0)
            text = f"a rapid goes down to Z{round(depth, 4) + 0.0:g}, below every cut of its cutter"
            summary["warnings"].append({"line": lowest["line"], "column": None, "text": text})
    for name, line, column in read.work_zeros:
        if name not in ("G54", *placed):
            example = f"--work-offset {name}=X,Y,Z"
            text = (
                f"{name}: where it lies is not known; read here as if it were the zero ({example} places it)"
            )
            summary["warnings"].append({"line": line, "column": column, "text": text})
    summary["warnings"].sort(key=lambda warning: warning["line"])
    return summary


def _time(read: ProgramRead, rapid: float | None) -> dict[str, Any]:
    """Return where the time goes on a machine with the default figures."""
    machine, missing = Machine(), DEFAULTS
    if rapid:
        machine, missing = replace(machine, speed=(rapid, rapid, rapid)), DEFAULTS[1:]
    times = move_times(read.moves, machine)
    programs = program_times(read.moves, times, machine, [read.dwell])
    return time_table(programs, machine, assumed(missing, machine))


def _lowest(moves: Moves, low: np.ndarray, where: np.ndarray) -> dict[str, Any] | None:
    rows = np.flatnonzero(where)
    if not len(rows):
        return None
    row = rows[int(low[rows, 2].argmin())]
    return {"z": float(low[row, 2]), "line": int(moves.line[row])}


def _box(low: np.ndarray, high: np.ndarray, where: np.ndarray) -> dict[str, list[float]] | None:
    if not where.any():
        return None
    return {"low": low[where].min(axis=0).tolist(), "high": high[where].max(axis=0).tolist()}


def _range(values: np.ndarray) -> list[float] | None:
    return [float(values.min()), float(values.max())] if len(values) else None


def _in_order(tools: np.ndarray) -> list[int]:
    _, first = np.unique(tools, return_index=True)
    return [int(tools[row]) for row in sorted(first)]


def _cutter(moves: Moves, read: ProgramRead, tool: int, low, length, minutes) -> dict[str, Any]:
    is_own = moves.tool == tool
    is_cut = is_own & ~moves.rapid
    return {
        "number": tool or None,
        "called_in_line": next((line for number, line, _ in read.tools_called if number == tool), None),
        "lowest": _lowest(moves, low, is_own),
        "lowest_cut": _lowest(moves, low, is_cut),
        "feeds": _range(moves.feed[is_cut]),
        "speeds": _range(np.abs(moves.speed[is_cut & (moves.speed != 0)])),
        "cutting_length": float(length[is_cut].sum()),
        "cutting_minutes_at_least": float(minutes[is_cut].sum()),
        "rapid_length": float(length[is_own & moves.rapid].sum()),
    }


def _zero_text(low: np.ndarray, high: np.ndarray, is_cut: np.ndarray) -> str:
    """Return which zero the program seems to expect, told from where it cuts."""
    if not is_cut.any():
        return "nothing is cut, so nothing tells where the zero is"
    (x0, y0, z0), (x1, y1, _) = low[is_cut].min(axis=0), high[is_cut].max(axis=0)
    if z0 < -NEAR:
        height = "Z0 on top of the blank, or inside it: cuts go below Z0"
    else:
        height = "Z0 at the bottom of the blank (the table): no cut goes below Z0"
    sides = []
    for least, most, names in ((x0, x1, ("left", "right")), (y0, y1, ("front", "back"))):
        reach = _SHARE * (most - least)
        if least >= -reach:
            sides.append(names[0])
        elif most <= reach:
            sides.append(names[1])
        else:
            sides.append("middle")
    if sides == ["middle", "middle"]:
        place = "in the middle of the cuts"
    else:
        place = f"at the {' '.join(side for side in sides if side != 'middle')} of the cuts"
    return f"{height}; X0 Y0 {place}"


def _goes_down_or_sideways(moves: Moves) -> np.ndarray:
    """Return which rapids (n,) bool may meet what stands: not those straight up, nor back down a hole.

    Drilling in steps, by a cycle or written out, goes back down by a rapid, one to three rows behind the feed
    that ended there or deeper.  A rapid from a place nobody knows (an arrival) counts.
    """
    start, end = moves.start, moves.end
    is_upright = (start[:, :2] == end[:, :2]).all(axis=1)
    stays = np.zeros(len(moves), dtype=bool)
    stays[1:] = (start[1:] == end[:-1]).all(axis=1)
    is_idle = is_upright & (end[:, 2] >= start[:, 2]) & ((end[:, 2] > start[:, 2]) | stays)
    is_back = np.zeros(len(moves), dtype=bool)
    for k in (1, 2, 3):
        is_back[k:] |= (
            is_upright[k:]
            & ~moves.rapid[:-k]
            & (moves.tool[k:] == moves.tool[:-k])
            & (end[k:, :2] == end[:-k, :2]).all(axis=1)
            & (end[k:, 2] >= end[:-k, 2])
        )
    return moves.rapid & ~is_idle & ~is_back


def _against_blank(summary: dict[str, Any], blank: Blank, zero: Zero | None) -> dict[str, Any]:
    """Return where the program starts, cuts and ends against the blank as it lies."""
    at = zero or Zero()
    shift = Setup("", (), zero=at).frame(blank).apply(np.zeros(3))
    up = float(shift[2])
    start, end = summary["starts_at"], summary["ends_at"]
    lowest, rapid = summary["deepest_cut"], summary["lowest_rapid"]

    def above(height: float | None) -> float | None:
        return None if height is None else height + up - blank.thickness

    return {
        "size": [blank.length, blank.width, blank.thickness],
        "zero": f"{at.corner} {at.face}",
        "is_zero_stated": zero is not None,
        "against_zero": _against_zero(summary["cutting_box"], shift, blank),
        "starts_above_top_by": above(start and start[2]),
        "ends_above_top_by": above(end and end[2]),
        "lowest_rapid_above_top_by": above(rapid and rapid["z"]),
        "deepest_below_top_by": None if lowest is None else blank.thickness - (lowest["z"] + up),
        "deepest_below_bottom_by": None if lowest is None else -(lowest["z"] + up),
    }


def _against_zero(box: dict[str, list[float]] | None, shift: np.ndarray, blank: Blank) -> list[str]:
    """Return what the program does that it would hardly do with this zero.

    box: of the cuts.  shift (3,) mm: the zero, from the left front bottom corner of the blank.
    """
    if box is None:
        return []
    (x0, y0, z0), (x1, y1, _) = (np.add(box[end], shift).tolist() for end in ("low", "high"))
    found = []
    if z0 > blank.thickness - NEAR:
        found.append("no cut goes below the top of the blank")
    elif z0 < -_SHARE * blank.thickness - NEAR:
        found.append(f"cuts go {-z0:.4g} mm below the bottom of the blank")
    for least, most, size, names in (
        (x0, x1, blank.length, ("left", "right")),
        (y0, y1, blank.width, ("front", "back")),
    ):
        for outside, name in zip((-least, most - size), names, strict=True):
            if outside > _SHARE * (most - least) + NEAR:
                found.append(f"cuts reach {outside:.4g} mm beyond the {name} of the blank")
    return found
