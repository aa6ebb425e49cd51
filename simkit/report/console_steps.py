"""The steps between the setups as the terminal shows them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

HEADS = ("step", "after", "what", "cm3", "mass", "most at one place", "blank then")
TEXTS = 3  # the first columns hold words


def step_cells(row: dict[str, Any]) -> list[str]:
    """Return the cells of one step of a result, for HEADS."""
    sign = "" if row["do"] == "pour" else "-"
    return [
        str(row["number"]),
        row["after"],
        row["words"],
        f"{sign}{row['volume'] / 1000:.2f} ±{row['bound'] / 1000:.2f}",
        "" if row["mass"] is None else f"{row['mass']:.1f} g",
        f"{row['deepest']:.2f} mm",
        f"{row['thickness_after']:g} mm",
    ]


def step_parts(result: dict[str, Any]) -> Iterator[Any]:
    """Give what to print of `steps` of a result, nothing where there are none."""
    steps = result.get("steps")
    if not steps:
        return
    table = Table(box=None, padding=(0, 1), show_edge=False)
    for k, head in enumerate(HEADS):
        table.add_column(head, justify="left" if k < TEXTS else "right", overflow="fold")
    for row in steps["rows"]:
        table.add_row(*step_cells(row))
    yield Text("Steps between the setups (resin poured, faces taken off, sizes sawn)")
    yield Padding(table, (0, 0, 0, 2))
    if steps["bytes_per_cell"] > 16:
        left = f"{steps['resin_left'] / 1000:.2f} ±{steps['resin_bound'] / 1000:.2f} cm3"
        words = f"resin in what is left: {left}; mass by the density of the step (default: common practice)"
        yield Padding(Text(words, style="dim"), (0, 0, 0, 2))
