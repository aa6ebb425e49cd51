"""The steps between the setups as the terminal shows them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simkit.report.lengths import Lengths, lengths_of
from simkit.units import MM_PER_INCH

HEADS = ("step", "after", "what", "{}", "mass", "most at one place", "blank then")
TEXTS = 3  # the first columns hold words


def step_cells(row: dict[str, Any], lengths: Lengths) -> list[str]:
    """Return the cells of one step of a result, for HEADS."""
    sign = "" if row["do"] == "pour" else "-"
    return [
        str(row["number"]),
        row["after"],
        lengths.text(row["words"]),
        f"{sign}{volume_words(row['volume'], row['bound'], lengths)}",
        "" if row["mass"] is None else f"{row['mass']:.1f} g",
        lengths.value(row["deepest"]),
        lengths.sizes(row["thickness_after"]),
    ]


def volume_words(volume: float, bound: float, lengths: Lengths) -> str:
    """Return a volume of a step, mm3, with its bound, without its unit: cm3 or in3."""
    scale = MM_PER_INCH**3 if lengths.is_inch else 1000.0
    return f"{volume / scale:.2f} ±{bound / scale:.2f}"


def step_parts(result: dict[str, Any]) -> Iterator[Any]:
    """Give what to print of `steps` of a result, nothing where there are none."""
    steps, lengths = result.get("steps"), lengths_of(result)
    if not steps:
        return
    table = Table(box=None, padding=(0, 1), show_edge=False)
    for k, head in enumerate(HEADS):
        table.add_column(
            head.format(lengths.volume_name), justify="left" if k < TEXTS else "right", overflow="fold"
        )
    for row in steps["rows"]:
        table.add_row(*step_cells(row, lengths))
    yield Text("Steps between the setups (resin poured, faces taken off, sizes sawn)")
    yield Padding(table, (0, 0, 0, 2))
    if steps["bytes_per_cell"] > 16:
        left = f"{volume_words(steps['resin_left'], steps['resin_bound'], lengths)} {lengths.volume_name}"
        words = f"resin in what is left: {left}; mass by the density of the step (default: common practice)"
        yield Padding(Text(words, style="dim"), (0, 0, 0, 2))
