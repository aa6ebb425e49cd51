"""What is in a program, told without any job: as plain data and as text for the terminal."""

from __future__ import annotations

import textwrap
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

VERSION = 1  # of the summary's form; raised when a key changes its meaning
_NEAR = 1e-6  # mm; a height nearer to zero counts as zero
_UNIT_NAMES = {"mm": "millimetres", "in": "inches"}


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

    blank: where it starts and ends is then told against it.  zero: where X0 Y0 Z0 is on it.
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
        "zero": _zero_text(low, high, is_cut),
        "starts_at": start,
        "deepest_cut": lowest,
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
        "blank": _against_blank(start, lowest, blank, zero or Zero()) if blank else None,
        "warnings": [
            {"line": warning.line, "column": warning.column, "text": warning.text}
            for warning in read.warnings
        ],
    }
    for cutter in summary["cutters"]:
        lowest, cut = cutter["lowest"], cutter["lowest_cut"]
        if cut is not None and lowest["z"] < cut["z"] - _NEAR:
            text = f"a rapid goes down to Z{_round(lowest['z']):g}, below every cut of its cutter"
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
    if z0 < -_NEAR:
        height = "Z0 on top of the blank, or inside it: cuts go below Z0"
    else:
        height = "Z0 at the bottom of the blank (the table): no cut goes below Z0"
    sides = []
    for least, most, names in ((x0, x1, ("left", "right")), (y0, y1, ("front", "back"))):
        reach = 0.25 * (most - least)
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


def _against_blank(start, lowest, blank: Blank, zero: Zero) -> dict[str, Any]:
    """Return where the program starts and how deep it goes, against the blank as it lies."""
    up = float(Setup("", (), zero=zero).frame(blank).apply(np.zeros(3))[2])
    above = None if start is None else start[2] + up - blank.thickness
    return {
        "zero": f"{zero.corner} {zero.face}",
        "starts_above_top_by": above,
        "deepest_below_top_by": None if lowest is None else blank.thickness - (lowest["z"] + up),
        "deepest_below_bottom_by": None if lowest is None else -(lowest["z"] + up),
    }


# -- as text ----------------------------------------------------------------------------------------


def summary_text(summary: dict[str, Any]) -> str:
    """Return the summary as lines for the terminal, what matters first."""
    rows = [
        (
            "program",
            f"{summary['program']}, {_count(summary['lines'], 'line')}, {_count(summary['moves'], 'move')}",
        ),
        ("units", _units_text(summary)),
        ("zero", ", ".join(zero["name"] for zero in summary["work_zeros"]) or "no work zero called"),
        ("", f"it looks like {summary['zero']}"),
        ("starts", _start_text(summary)),
        ("deepest cut", _depth_text(summary)),
        ("cuts in", _box_text(summary["cutting_box"])),
        ("moves in", _box_text(summary["box"])),
        ("feeds", _range_text(summary["feeds"], "mm/min", "no cutting moves")),
        ("speeds", _range_text(summary["speeds"], "rev/min", "none stated")),
        ("cutting", _cutting_text(summary)),
        ("rapids", _rapid_text(summary["rapid"])),
        ("time", _time_text(summary["time"])),
        *(("", part) for part in textwrap.wrap(summary["time"]["note"], 96)),
    ]
    if summary["dwell"]:
        rows.append(("dwell", f"P {summary['dwell']:g} in all (seconds by the standard)"))
    deleted = summary["block_delete"]
    if deleted["blocks"]:
        rows.append(
            ("block delete", f"{deleted['blocks']} with /, {'skipped' if deleted['skipped'] else 'run'}")
        )
    mismatch = summary["largest_arc_mismatch"]
    if mismatch["line"] is not None and mismatch["size"] >= 0.00005:  # less would be told as nothing
        rows.append(("arcs", f"radii differ by at most {mismatch['size']:.4f} mm (line {mismatch['line']})"))
    lines = [f"{name:<13} {text}" for name, text in rows]
    lines += ["", *_cutter_table(summary["cutters"], summary["time"])]
    lines += ["too short: the part of the way on moves that end before they reach their feed"]
    if summary["warnings"]:
        lines += ["", *(f"{_place(summary, warning)}: {warning['text']}" for warning in summary["warnings"])]
    return "\n".join(lines)


def _units_text(summary: dict[str, Any]) -> str:
    if summary["units_by_option"]:
        unit = summary["units_by_option"]
        return f"{_UNIT_NAMES[unit]}, as --units {unit} says; the program states none"
    return ", then ".join(_UNIT_NAMES[unit] for unit in summary["units"]) or "none stated"


def _count(number: int, word: str) -> str:
    return f"{number:,} {word}" if number == 1 else f"{number:,} {word}s"


def _place(summary: dict[str, Any], warning: dict[str, Any]) -> str:
    parts = (summary["program"], warning["line"], warning["column"])
    return ":".join(str(part) for part in parts if part is not None)


def _start_text(summary: dict[str, Any]) -> str:
    start = summary["starts_at"]
    if start is None:
        return "the program moves nothing"
    text = "at X{:g} Y{:g} Z{:g}".format(*(_round(value) for value in start))
    against = summary["blank"]
    if against is None:
        above = f"{text}, {'above' if start[2] > 0 else 'NOT above'} Z0"
        if start[2] > 0 and summary["deepest_cut"] and summary["deepest_cut"]["z"] > -_NEAR:
            return f"{above}; whether it is above the blank, --blank LxWxT tells"
        return above
    above = against["starts_above_top_by"]
    if above > 0:
        return f"{text}, {_round(above):g} mm above the blank"
    return f"{text}, NOT above the blank: {_round(-above):g} mm below its top"


def _depth_text(summary: dict[str, Any]) -> str:
    lowest, against = summary["deepest_cut"], summary["blank"]
    if lowest is None:
        return "none"
    text = f"Z{_round(lowest['z']):g} in line {lowest['line']}"
    if against is None:
        return text
    text += f", {_round(against['deepest_below_top_by']):g} mm below the top of the blank"
    through = against["deepest_below_bottom_by"]
    return f"{text}, {_round(through):g} mm below its bottom" if through > _NEAR else text


def _box_text(box: dict[str, list[float]] | None) -> str:
    if box is None:
        return "nothing"
    return ", ".join(
        f"{axis} {_round(low):g} to {_round(high):g}"
        for axis, low, high in zip("XYZ", box["low"], box["high"], strict=True)
    )


def _range_text(values: list[float] | None, unit: str, none: str) -> str:
    if values is None:
        return none
    low, high = (f"{value:.6g}" for value in values)
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def _cutting_text(summary: dict[str, Any]) -> str:
    cutting = summary["cutting"]
    return f"{cutting['length'] / 1000:.2f} m, at least {_minutes(cutting['minutes_at_least'])}"


def _rapid_text(rapid: dict[str, Any]) -> str:
    length = f"{rapid['length'] / 1000:.2f} m"
    if rapid["minutes"] is None:
        return f"{length} (--rapid MM/MIN tells their time)"
    return f"{length}, at least {_minutes(rapid['minutes'])}"


def _time_text(time: dict[str, Any]) -> str:
    cutters = [row for program in time["programs"] for row in program["cutters"]]
    parts = [
        f"{_minutes(sum(row[key] for row in cutters))} {key}" for key in ("cutting", "rapids", "standing")
    ]
    return f"about {_minutes(time['minutes'])}: {', '.join(parts)}"


def _minutes(minutes: float) -> str:
    seconds = round(minutes * 60)
    hours, rest = divmod(seconds, 3600)
    return f"{hours} h {rest // 60:02} min" if hours else f"{rest // 60} min {rest % 60:02} s"


def _cutter_table(cutters: list[dict[str, Any]], time: dict[str, Any]) -> list[str]:
    heads = (
        "cutter",
        "lowest cut",
        "line",
        "feeds",
        "speeds",
        "cutting m",
        "at least",
        "about",
        "too short",
    )
    timed = {row["cutter"]: row for program in time["programs"] for row in program["cutters"]}
    rows = []
    for cutter in cutters:
        lowest = cutter["lowest_cut"]
        rows.append(
            (
                "none" if cutter["number"] is None else f"T{cutter['number']}",
                "-" if lowest is None else f"Z{_round(lowest['z']):g}",
                "-" if lowest is None else str(lowest["line"]),
                _range_text(cutter["feeds"], "", "-").strip(),
                _range_text(cutter["speeds"], "", "-").strip(),
                f"{cutter['cutting_length'] / 1000:.2f}",
                _minutes(cutter["cutting_minutes_at_least"]),
                _minutes(timed[cutter["number"]]["cutting"]),
                f"{100 * timed[cutter['number']]['feed_not_reached']:.0f} %",
            )
        )
    widths = [max(len(row[k]) for row in (heads, *rows)) for k in range(len(heads))]
    return [
        "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (heads, *rows)
    ]


def _round(value: float) -> float:
    """Return a length to 0.001 mm, with no minus before a zero."""
    return round(value, 3) + 0.0
