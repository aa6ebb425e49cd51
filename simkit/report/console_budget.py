"""The budget as the terminal shows it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from simkit.report.budget_words import (
    BEYOND,
    axis_rows,
    chance_lines,
    far_text,
    head,
    size_words,
    without_words,
)
from simkit.report.lengths import lengths_of


def budget_parts(result: dict[str, Any]) -> Iterator[Any]:
    """Give what to print of `budget` of a result, nothing where it is None."""
    budget, lengths = result["budget"], lengths_of(result)
    if budget is None:
        return
    yield Text(head(budget))
    if budget["beyond"] is not None:
        words = budget["binds"][budget["beyond"]]["words"]
        yield Padding(Text(lengths.text(f"{BEYOND} ({words})")), (0, 0, 0, 2))
    else:
        table = Table(box=None, padding=(0, 1), show_edge=False)
        for name, justify in (("way", "left"), ("bears", "right"), ("what breaks first", "left")):
            table.add_column(name, justify=justify, overflow="fold")
        for direction, far, unit, words in axis_rows(budget):
            table.add_row(direction, far_text(far, unit, lengths), lengths.text(words))
        yield Padding(table, (0, 0, 0, 2))
    if budget["contributions"]:
        table = Table(box=None, padding=(0, 1), show_edge=False)
        for name, justify in (("error", "left"), ("size", "left"), ("all hold without it", "right")):
            table.add_column(name, justify=justify, overflow="fold")
        for part in budget["contributions"]:
            table.add_row(part["words"], lengths.text(size_words(part)), without_words(part))
        yield Padding(table, (0, 0, 0, 2))
    for line in chance_lines(budget):
        yield Padding(Text(lengths.text(line)), (0, 0, 0, 2))
