"""The steps between the setups as a part of the page."""

from __future__ import annotations

from typing import Any

from simkit.report.console_steps import volume_words
from simkit.report.lengths import Lengths
from simkit.report.page.html import Html, el, prose
from simkit.report.page.tables import table


def steps_part(result: dict[str, Any], lengths: Lengths) -> Html | None:
    """Return what each step does as a section, None for a job without steps."""
    steps = result.get("steps")
    if not steps:
        return None
    rows = []
    for row in steps["rows"]:
        most = "" if row["most_depth"] is None else f" (at most {lengths.size(row['most_depth'])})"
        rows.append(
            [
                str(row["number"]),
                row["after"],
                prose(lengths.text(row["words"])),
                volume_words(row["volume"], row["bound"], lengths),
                "–" if row["mass"] is None else f"{row['mass']:.1f}",
                f"{lengths.value(row['deepest'])}{most}",
                lengths.sizes(row["thickness_after"]),
            ]
        )
    cubic = f"{lengths.volume_name[:2]}³"
    heads = ["step", "after", "what", cubic, "g", "most at one place", "blank then"]
    note = (
        f"{cubic}, and most at one place: resin poured, or what is taken off. "
        "Mass by the density stated (default: common practice)."
    )
    return el(
        "section",
        el("h2", "Steps between the setups"),
        table("Steps between the setups", heads, rows, 3),
        el("p", note, class_="quiet"),
    )
