"""The two tables of the whole part as the terminal shows them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simkit.units import area_words


def surface_tables(result: dict[str, Any]) -> Iterator[Any]:
    """Give what to print of `reach` and `cusps` of a result, nothing where they are None."""
    if result["reach"]:
        yield from _reach(result["reach"])
    if result["cusps"]:
        yield from _cusps(result["cusps"])


def _reach(reach: dict[str, Any]) -> Iterator[Any]:
    """Give the table 'cutter, what is left, area, how much longer'."""
    table = _table(
        "side", "cutter", "alone it leaves", "over the limit on", "with the job", "over it on", "longer"
    )
    for side in reach["sides"]:
        for row in side["rows"]:
            alone = row["alone"]
            table.add_row(
                str(side["side"]),
                row["cutter"] + (" (not used on this side)" if row["used"] == "of the job" else ""),
                "" if alone is None else _standing(alone),
                "" if alone is None else _area(alone["area"]),
                _standing(row["with_it"]),
                _area(row["with_it"]["area"]),
                "" if row["minutes"] is None else _minutes(row["minutes"]),
            )
    yield Text("What each cutter leaves at best: alone, and added to the job (mm proud at the worst place)")
    yield Padding(table, (0, 0, 0, 2))
    if any(row["minutes"] is not None for side in reach["sides"] for row in side["rows"]):
        yield Padding(Text(f"longer, {reach['note']}", style="dim"), (0, 0, 0, 2))


def _cusps(cusps: dict[str, Any]) -> Iterator[Any]:
    """Give the table of the ridges between passes."""
    table = _table(
        "side", "zone", "cutter", "typical", "worst", "passes", "apart", f"for {cusps['wanted']:g}", "sanding"
    )
    for row in cusps["rows"]:
        direction = row["direction"]
        table.add_row(
            str(row["side"]),
            row["zone"],
            row["cutter"],
            f"{row['typical']:.3f}",
            f"{row['worst']:.3f} ±{math.ceil(row['bound'] * 1000) / 1000:.3f}",
            "all ways" if direction is None else f"{direction % 180:.0f} deg from X",
            f"{row['stepover']:.2f}",
            f"{row['wanted_stepover']:.2f}",
            _minutes(row["sanding"]),
        )
    yield Text("Ridges between passes (mm, and the stepover in mm for the wanted one)")
    yield Padding(table, (0, 0, 0, 2))
    yield Padding(Text(cusps["note"], style="dim"), (0, 0, 0, 2))


def _table(*heads: str) -> Table:
    table = Table(box=None, padding=(0, 1), show_edge=False)
    for head in heads:
        is_number = head not in ("zone", "cutter", "passes")
        table.add_column(head, justify="right" if is_number else "left", overflow="fold")
    return table


def _standing(row: dict[str, Any]) -> str:
    bound = f" ±{math.ceil(row['bound'] * 100) / 100:.2f}" if row["bound"] else ""
    return f"{row['worst']:.2f}{bound}"


def _area(area: float) -> str:
    return area_words(area) if area else "-"


def _minutes(minutes: float) -> str:
    return "under 1 min" if minutes < 1 else f"about {minutes:.0f} min"
