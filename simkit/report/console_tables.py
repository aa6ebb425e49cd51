"""The two tables of the whole part as the terminal shows them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simkit.report.lengths import Lengths, lengths_of

SHORT = 20  # characters of a place that a column of a table has room for


def below_folders(place: str) -> str:
    """Return a file of some folders and its line for a narrow column: the file on a line of its own."""
    folders, slash, name = place.rpartition("/")
    return f"{folders}/\n{name}" if slash and len(place) > SHORT else place


def surface_tables(result: dict[str, Any]) -> Iterator[Any]:
    """Give what to print of `reach` and `cusps` of a result, nothing where they are None."""
    lengths = lengths_of(result)
    if result["reach"]:
        yield from _reach(result["reach"], lengths)
    if result["cusps"]:
        yield from _cusps(result["cusps"], lengths)


def _reach(reach: dict[str, Any], lengths: Lengths) -> Iterator[Any]:
    """Give the table 'cutter, what is left, area, how much longer'."""
    table = _table(
        "side", "cutter", "alone it leaves", "over the limit on", "with the job", "over it on", "longer"
    )
    for side in reach["sides"]:
        for row in side["rows"]:
            alone = row["alone"]
            table.add_row(
                str(side["side"]),
                lengths.cutter(row["cutter"]) + unused_words(row),
                "" if alone is None else _standing(alone, lengths),
                "" if alone is None else _area(alone["area"], lengths),
                _standing(row["with_it"], lengths),
                _area(row["with_it"]["area"], lengths),
                "" if row["minutes"] is None else _minutes(row["minutes"]),
            )
    what = f"alone, and added to the job ({lengths.word} proud at the worst place)"
    yield Text(f"What each cutter leaves at best: {what}")
    yield Padding(table, (0, 0, 0, 2))
    if any(row["minutes"] is not None for side in reach["sides"] for row in side["rows"]):
        yield Padding(Text(f"longer, {reach['note']}", style="dim"), (0, 0, 0, 2))


def unused_words(row: dict[str, Any]) -> str:
    """Return what is said behind a cutter that a side does not use, "" behind others."""
    if row["used"] == "common size":
        return " (once those of the job went everywhere)"
    return " (not used on this side)" if row["used"] == "of the job" else ""


def _cusps(cusps: dict[str, Any], lengths: Lengths) -> Iterator[Any]:
    """Give the table of the ridges between passes."""
    wanted = f"for {lengths.figure(cusps['wanted'])}"
    table = _table("side", "zone", "cutter", "typical", "worst", "passes", "apart", wanted, "sanding")
    for row in cusps["rows"]:
        direction = row["direction"]
        table.add_row(
            str(row["side"]),
            row["zone"],
            lengths.cutter(row["cutter"]),
            lengths.fine(row["typical"]),
            f"{lengths.fine(row['worst'])} ±{lengths.fine_up(row['bound'])}",
            "all ways" if direction is None else f"{direction % 180:.0f} deg from X",
            lengths.bare(row["stepover"]),
            lengths.bare(row["wanted_stepover"]),
            _minutes(row["sanding"]),
        )
    yield Text(
        f"Ridges between passes ({lengths.word}, and the stepover in {lengths.word} for the wanted one)"
    )
    yield Padding(table, (0, 0, 0, 2))
    yield Padding(Text(lengths.text(cusps["note"]), style="dim"), (0, 0, 0, 2))


def _table(*heads: str) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False)
    for head in heads:
        is_number = head not in ("zone", "cutter", "passes")
        table.add_column(head, justify="right" if is_number else "left", overflow="fold")
    return table


def _standing(row: dict[str, Any], lengths: Lengths) -> str:
    if lengths.is_inch:
        bound = f" ±{lengths.fine_up(row['bound'])}" if row["bound"] else ""
        return f"{lengths.fine(row['worst'])}{bound}"
    bound = f" ±{math.ceil(row['bound'] * 100) / 100:.2f}" if row["bound"] else ""
    return f"{row['worst']:.2f}{bound}"


def _area(area: float, lengths: Lengths) -> str:
    return lengths.area(area) if area else "-"


def _minutes(minutes: float) -> str:
    return "under 1 min" if minutes < 1 else f"about {minutes:.0f} min"
