"""Time, bite and what could be faster as the terminal shows them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simkit.effort.program_time import about
from simkit.findings.weak_hold import HELD_NOTE, grip_words
from simkit.report.console_tables import below_folders
from simkit.report.lengths import Lengths, lengths_of, program_lengths
from simkit.report.time_table import held_words, operation_words, part_not_reached


def faster_lines(result: dict[str, Any]) -> Iterator[Any]:
    """Give the advice on time: each thing once, with the minutes it costs."""
    if result["faster"]:
        yield Text("Could be faster (minutes saved, each alone, estimates):")
    for advice in result["faster"]:
        words = lengths_of(result).text(advice["words"])
        yield Padding(Text(f"{advice['minutes']:.1f} min  {words}"), (0, 0, 0, 2))


def effort_parts(result: dict[str, Any]) -> Iterator[Any]:
    """Give the tables of time and bite."""
    lengths = lengths_of(result)
    yield from _time(result["time"], lengths, program_lengths(result))
    if result["bite"]["rows"]:
        yield from _bite(result["bite"], lengths)
    if result["held"]:
        yield Text("Held from below at the end of each setup:")
        for row in result["held"]:
            yield Padding(Text(lengths.text(grip_words(row))), (0, 0, 0, 2))
        yield Padding(Text(HELD_NOTE, style="dim"), (0, 0, 0, 2))


def _time(time: dict[str, Any], lengths: Lengths, programs: dict[str, Lengths]) -> Iterator[Any]:
    table = _table("program", "cutter", "min", "in wood", "air", "rapids", "standing", "feed not reached on")
    for program in time["programs"]:
        for index, row in enumerate(program["cutters"]):
            table.add_row(
                program["program"] if index == 0 else "",
                "none" if row["cutter"] is None else f"T{row['cutter']}",
                _minutes(row["minutes"]),
                _minutes(row["in_wood"]),
                _minutes(row["air"]),
                _minutes(row["rapids"]),
                _minutes(row["standing"]),
                f"{100 * part_not_reached(row):.0f} % (+{row['lost']:.1f} min)",
            )
        if program["dwell"]:
            dwell = _minutes(program["dwell"])
            table.add_row("", "dwells", dwell, *["-"] * 3, dwell, "-")
    yield Text(f"Time: about {about(time['minutes'])} in all, speeding up and slowing down counted")
    yield Padding(table, (0, 0, 0, 2))
    if any(len(program["operations"]) > 1 for program in time["programs"]):
        yield from _operations(time, programs)
    for words in held_words(time):
        yield Padding(Text(lengths.text(words)), (0, 0, 0, 2))
    if time["note"]:
        yield Padding(Text(lengths.text(time["note"]), style="dim"), (0, 0, 0, 2))


def _operations(time: dict[str, Any], programs: dict[str, Lengths]) -> Iterator[Any]:
    """Give a table of the longest operations: from one retract to the safe height to the next."""
    table = _table("program", "lines", "cutter", "down to", "min", "in wood", "air", "rapids")
    for program in time["programs"]:
        for index, row in enumerate(program["operations"]):
            lines, depth = operation_words(row, programs[program["program"]])
            cutter = "none" if row["cutter"] is None else f"T{row['cutter']}"
            parts = (_minutes(row[key]) for key in ("minutes", "in_wood", "air", "rapids"))
            table.add_row(program["program"] if index == 0 else "", lines, cutter, depth, *parts)
        rest = program["other_operations"]
        if rest["count"]:
            table.add_row("", f"{rest['count']} others", "", "", _minutes(rest["minutes"]), *["-"] * 3)
    yield Text(
        "Longest operations, from one retract to the safe height to the next, levels over one place as one:"
    )
    yield Padding(table, (0, 0, 0, 2))


def _bite(bite: dict[str, Any], lengths: Lengths) -> Iterator[Any]:
    heads = ("setup", "cutter", "deep", "wide", "a tooth", "usual", "chip", f"{lengths.volume_name}/min")
    table = _table(*heads, "climb/conv.", "at peak")
    for row in bite["rows"]:
        usual = row["chip_range"]
        mark = "" if row["chip_range_stated"] else "*"
        removal = lengths.volume(row["removal"], row["removal_bound"])
        if row["power"] is not None:
            removal += f" ~{row['power']:.0f} W"
        width = "-"
        if row["width"] is not None:
            width = lengths.value(row["width"], row["width_bound"]).removesuffix(f" {lengths.name}")
        table.add_row(
            row["setup"],
            lengths.cutter(row["cutter"]),
            lengths.bare(row["depth"]),
            width,
            lengths.span(row["per_tooth"]),
            "-" if usual is None else lengths.span(usual) + mark,
            "-" if row["thickest_chip"] is None else lengths.fine(row["thickest_chip"]),
            removal,
            "-" if row["climb"] is None else f"{100 * row['climb']:.0f}/{100 * row['conventional']:.0f} %",
            below_folders(f"{row['file']}:{row['line']}"),
        )
    yield Text(f"Bite ({lengths.word}, the most in each column along passes; the chip at the speed reached)")
    yield Padding(table, (0, 0, 0, 2))
    note = f"* {bite['hardness']} wood, {bite['usual_source']}; not judged unless chip_load states it"
    if any(not row["chip_range_stated"] for row in bite["rows"]):
        yield Padding(Text(note, style="dim"), (0, 0, 0, 2))
    if bite["not_judged"]:
        yield Padding(
            Text(lengths.text(f"not judged: {'; '.join(bite['not_judged'])}"), style="dim"), (0, 0, 0, 2)
        )


def _minutes(minutes: float | None) -> str:
    return "-" if minutes is None else f"{minutes:.1f}"


def _table(*heads: str) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False)
    for head in heads:
        is_text = head in ("program", "setup", "cutter", "at peak")
        table.add_column(head, justify="left" if is_text else "right", overflow="fold")
    return table
