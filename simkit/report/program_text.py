"""What `simkit read` tells of a program, drawn as text from the plain data of program_summary.py."""

from __future__ import annotations

import textwrap
from typing import Any

from simkit.report.lengths import Lengths
from simkit.report.program_summary import NEAR
from simkit.report.time_table import held_words, part_not_reached
from simkit.units import MM_PER_INCH

_PLACES = ("starts_at", "ends_at", "box", "cutting_box", "feeds")  # lengths and feeds alone
_UNIT_NAMES = {"mm": "millimetres", "in": "inches"}


def summary_text(summary: dict[str, Any]) -> str:
    """Return the summary as lines for the terminal, what matters first, in the unit of the program.

    A program that counts in both units, or in none that is known, is told in mm.
    """
    lengths = Lengths("in" if (summary["units"] or [summary["units_by_option"]]) == ["in"] else "mm")
    if lengths.is_inch:
        summary = _in_inches(summary)
    unit, far = lengths.name, "ft" if lengths.is_inch else "m"
    rows = [
        (
            "program",
            f"{summary['program']}, {_count(summary['lines'], 'line')}, {_count(summary['moves'], 'move')}",
        ),
        ("units", _units_text(summary)),
        ("zero", ", ".join(zero["name"] for zero in summary["work_zeros"]) or "no work zero called"),
        *_zero_rows(summary, lengths),
        ("starts", _start_text(summary, unit)),
        ("deepest cut", _depth_text(summary, unit)),
        ("lowest rapid", _lowest_rapid_text(summary, unit)),
        ("ends", _end_text(summary, unit)),
        ("cuts in", _box_text(summary["cutting_box"])),
        ("moves in", _box_text(summary["box"])),
        ("feeds", _range_text(summary["feeds"], f"{unit}/min", "no cutting moves")),
        ("speeds", _range_text(summary["speeds"], "rev/min", "none stated")),
        ("cutting", _cutting_text(summary, far)),
        ("rapids", _rapid_text(summary["rapid"], far)),
        ("time", _time_text(summary["time"])),
        *(("", part) for part in textwrap.wrap(lengths.text(summary["time"]["note"]), 96)),
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
        rows.append(
            ("arcs", f"radii differ by at most {mismatch['size']:.4f} {unit} (line {mismatch['line']})")
        )
    lines = [f"{name:<13} {text}" for name, text in rows]
    lines += ["", *_cutter_table(summary["cutters"], summary["time"], far)]
    lines += ["below F: the part of the way on moves that do not reach their feed"]
    lines += [lengths.text(words) for words in held_words(summary["time"])]
    if summary["warnings"]:
        lines += [
            "",
            *(
                f"{_place(summary, warning)}: {lengths.text(warning['text'])}"
                for warning in summary["warnings"]
            ),
        ]
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


def _zero_rows(summary: dict[str, Any], lengths: Lengths) -> list[tuple[str, str]]:
    """Return the rows of which zero the program seems to expect, or how it fits the one that is stated."""
    against = summary["blank"]
    rows = [("", f"it looks like {summary['zero']}")] if summary["zero"] else []
    if against is None:
        return rows
    size = " x ".join(f"{_round(value):g}" for value in against["size"])
    who = "as --zero says" if against["is_zero_stated"] else "unless --zero says otherwise"
    rows.append(("blank", f"{size} {lengths.name}, X0 Y0 Z0 at its {against['zero']} ({who})"))
    return rows + [("", f"that zero hardly fits: {lengths.text(text)}") for text in against["against_zero"]]


def _start_text(summary: dict[str, Any], unit: str) -> str:
    start, against = summary["starts_at"], summary["blank"]
    if start is None:
        return "the program moves nothing"
    text = f"at {_place_text(start)}, {_height_text(start[2], against, 'starts', unit)}"
    if not against and start[2] > 0 and summary["deepest_cut"] and summary["deepest_cut"]["z"] > -NEAR:
        text += "; whether it is above the blank, --blank LxWxT tells"
    return text


def _lowest_rapid_text(summary: dict[str, Any], unit: str) -> str:
    lowest = summary["lowest_rapid"]
    if lowest is None:
        return "none"
    height = _height_text(lowest["z"], summary["blank"], "lowest_rapid", unit)
    return f"Z{_round(lowest['z']):g} in line {lowest['line']}, {height}"


def _end_text(summary: dict[str, Any], unit: str) -> str:
    end = summary["ends_at"]
    if end is None:
        return "the program moves nothing"
    if end[2] is None:
        return f"at a height not known here, since {summary['ends_by']}"
    return f"at {_place_text(end)}, {_height_text(end[2], summary['blank'], 'ends', unit)}"


def _place_text(place: list[float | None]) -> str:
    known = zip("XYZ", place, strict=True)
    return " ".join(f"{axis}{_round(value):g}" for axis, value in known if value is not None)


def _height_text(height: float, against: dict[str, Any] | None, what: str, unit: str) -> str:
    """Return a height against the top of the blank, or Z0 where no blank is stated."""
    if against is None:
        return f"{'above' if height > 0 else 'NOT above'} Z0"
    above = _round(against[f"{what}_above_top_by"])
    if above > 0:
        return f"{above:g} {unit} above the blank"
    return f"NOT above the blank: {f'{-above:g} {unit} below' if above else 'level with'} its top"


def _depth_text(summary: dict[str, Any], unit: str) -> str:
    lowest, against = summary["deepest_cut"], summary["blank"]
    if lowest is None:
        return "none"
    text = f"Z{_round(lowest['z']):g} in line {lowest['line']}"
    if against is None:
        return text
    text += f", {_round(against['deepest_below_top_by']):g} {unit} below the top of the blank"
    through = against["deepest_below_bottom_by"]
    return f"{text}, {_round(through):g} {unit} below its bottom" if through > NEAR else text


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


def _cutting_text(summary: dict[str, Any], far: str) -> str:
    cutting = summary["cutting"]
    return f"{_far(cutting['length'], far)} {far}, at least {_minutes(cutting['minutes_at_least'])}"


def _rapid_text(rapid: dict[str, Any], far: str) -> str:
    length = f"{_far(rapid['length'], far)} {far}"
    if rapid["minutes"] is None:
        return f"{length} (--rapid MM/MIN tells their time)"
    return f"{length}, at least {_minutes(rapid['minutes'])}"


def _time_text(time: dict[str, Any]) -> str:
    cutters = [row for program in time["programs"] for row in program["cutters"]]
    parts = [
        f"{_minutes(sum(row[key] for row in cutters))} {key}" for key in ("cutting", "rapids", "standing")
    ]
    return f"about {_minutes(time['minutes'])}: {', '.join(parts)}"


def _far(length: float, far: str) -> str:
    """Return a long way, mm as m or inches as ft."""
    return f"{length / (12 if far == 'ft' else 1000):.2f}"


def _in_inches(summary: dict[str, Any]) -> dict[str, Any]:
    """Return a copy of a summary with its lengths and feeds in inches; words and times as they are."""
    shown = {key: _scaled(summary[key]) for key in _PLACES} | {
        name: summary[name] | {key: _scaled(summary[name][key])}
        for name, key in (("cutting", "length"), ("rapid", "length"), ("largest_arc_mismatch", "size"))
    }
    for name in ("deepest_cut", "lowest_rapid"):
        shown[name] = _scaled_lowest(summary[name])
    if blank := summary["blank"]:
        keys = [key for key in blank if key == "size" or key.endswith("_by")]
        shown["blank"] = blank | {key: _scaled(blank[key]) for key in keys}
    shown["cutters"] = [
        cutter
        | {key: _scaled(cutter[key]) for key in ("feeds", "cutting_length", "rapid_length")}
        | {key: _scaled_lowest(cutter[key]) for key in ("lowest", "lowest_cut")}
        for cutter in summary["cutters"]
    ]
    return summary | shown


def _scaled(value: Any) -> Any:
    """Return mm in inches: a number, a list or a dict of them; None stays."""
    if isinstance(value, dict):
        return {key: _scaled(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_scaled(one) for one in value]
    return None if value is None else value / MM_PER_INCH


def _scaled_lowest(lowest: dict[str, Any] | None) -> dict[str, Any] | None:
    return lowest and lowest | {"z": lowest["z"] / MM_PER_INCH}


def _minutes(minutes: float) -> str:
    seconds = round(minutes * 60)
    hours, rest = divmod(seconds, 3600)
    return f"{hours} h {rest // 60:02} min" if hours else f"{rest // 60} min {rest % 60:02} s"


def _cutter_table(cutters: list[dict[str, Any]], time: dict[str, Any], far: str) -> list[str]:
    heads = (
        "cutter",
        "lowest cut",
        "line",
        "feeds",
        "speeds",
        f"cutting {far}",
        "at least",
        "about",
        "below F",
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
                _far(cutter["cutting_length"], far),
                _minutes(cutter["cutting_minutes_at_least"]),
                _minutes(timed[cutter["number"]]["cutting"]),
                f"{100 * part_not_reached(timed[cutter['number']]):.0f} %",
            )
        )
    widths = [max(len(row[k]) for row in (heads, *rows)) for k in range(len(heads))]
    return [
        "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in (heads, *rows)
    ]


def _round(value: float) -> float:
    """Return a length to 0.0001 mm or in, with no minus before a zero."""
    return round(value, 4) + 0.0
