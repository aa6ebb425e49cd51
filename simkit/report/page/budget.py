"""How much error of the second side the job bears, as a part of the page."""

from __future__ import annotations

from typing import Any

from simkit.report.budget_words import (
    BEYOND,
    axis_rows,
    chance_lines,
    far_text,
    head,
    size_words,
    without_words,
)
from simkit.report.lengths import Lengths
from simkit.report.page.html import Html, el
from simkit.report.page.tables import table


def budget_part(result: dict[str, Any], lengths: Lengths) -> Html | None:
    """Return the budget of a result as a section, None where there is none."""
    budget = result["budget"]
    if budget is None:
        return None
    parts: list[Any] = [el("h2", "How much error the second side bears")]
    if budget["beyond"] is not None:
        words = budget["binds"][budget["beyond"]]["words"]
        parts.append(el("p", lengths.text(f"{BEYOND[:1].upper()}{BEYOND[1:]} ({words}).")))
    else:
        rows = [
            [direction, lengths.text(words), far_text(far, unit, lengths)]
            for direction, far, unit, words in axis_rows(budget)
        ]
        parts += [
            el("p", f"{head(budget)}."),
            table("How far the second side may land", ["way", "what breaks first", "bears"], rows, 2),
        ]
    if budget["contributions"]:
        rows = [
            [part["words"], lengths.text(size_words(part)), without_words(part)]
            for part in budget["contributions"]
        ]
        heads = ["error", "size", "all hold without it"]
        parts += [el("h3", "Errors that the job states"), table("Errors that the job states", heads, rows, 2)]
    parts += [
        el("p", f"{lengths.text(line)[:1].upper()}{lengths.text(line)[1:]}.") for line in chance_lines(budget)
    ]
    parts.append(el("p", f"How: {budget['note']}.", class_="quiet"))
    return el("section", *parts)
