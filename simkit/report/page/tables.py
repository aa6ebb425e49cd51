"""Time and the tables of the whole part."""

from __future__ import annotations

from typing import Any

from simkit.effort.program_time import about
from simkit.findings.weak_hold import HELD_NOTE, grip_words
from simkit.report.console_tables import unused_words
from simkit.report.lengths import Lengths, program_lengths
from simkit.report.page.html import Html, el, path, prose
from simkit.report.part_limits import part_limits
from simkit.report.time_table import held_words, operation_words, part_not_reached


def table(name: str, heads: list[str], rows: list[list[Any]], texts: int = 1) -> Html:
    """Return a table that may be pushed sideways in its own box; the first `texts` columns hold words.

    name: what a screen reader calls it.
    """
    head = el(
        "tr",
        [el("th", words, scope="col", class_=None if k < texts else "n") for k, words in enumerate(heads)],
    )
    body = [
        el("tr", [el("td", cell, class_=None if k < texts else "n") for k, cell in enumerate(row)])
        for row in rows
    ]
    return el("div", el("table", el("thead", head), el("tbody", body), aria_label=name), class_="scroll")


def time_part(result: dict[str, Any], lengths: Lengths) -> Html:
    """Return how long each program and cutter takes, and what could be faster."""
    time = result["time"]
    note = "Minutes, with the machine's own figures."
    if time["note"]:
        note = f"Minutes; {lengths.text(time['note'])}"
    rows = []
    for program in time["programs"]:
        for index, row in enumerate(program["cutters"]):
            rows.append(
                [
                    path(program["program"]) if index == 0 else "",
                    "none" if row["cutter"] is None else f"T{row['cutter']}",
                    *(_minutes(row[key]) for key in ("minutes", "in_wood", "air", "rapids", "standing")),
                    f"{100 * part_not_reached(row):.0f} %",
                ]
            )
        if program["dwell"]:
            dwell = _minutes(program["dwell"])
            rows.append(["", "dwells", dwell, *["–"] * 3, dwell, "–"])
    heads = ["program", "cutter", "minutes", "in wood", "air", "rapids", "standing", "feed not reached on"]
    advice = [
        el("li", prose(f"{one['minutes']:.1f} min: {lengths.text(one['words'])}")) for one in result["faster"]
    ]
    return el(
        "section",
        el("h2", "Time"),
        el("p", f"About {about(time['minutes'])} in all, speeding up and slowing down counted."),
        table("Time of each program and cutter", heads, rows, 2),
        _operations(time, program_lengths(result)),
        [el("p", lengths.text(words)) for words in held_words(time)],
        el("p", note, class_="quiet"),
        (
            el("h3", "Could be faster"),
            el("ul", advice),
            el("p", "Minutes saved, each alone: estimates.", class_="quiet"),
        )
        if advice
        else None,
    )


def _operations(time: dict[str, Any], programs: dict[str, Lengths]) -> Any:
    """Return a table of the longest operations, None where no program has two."""
    if not any(len(program["operations"]) > 1 for program in time["programs"]):
        return None
    rows = []
    for program in time["programs"]:
        for index, row in enumerate(program["operations"]):
            lines, depth = operation_words(row, programs[program["program"]])
            cutter = "none" if row["cutter"] is None else f"T{row['cutter']}"
            parts = (_minutes(row[key]) for key in ("minutes", "in_wood", "air", "rapids"))
            rows.append(
                [
                    path(program["program"]) if index == 0 else "",
                    _whole(lines),
                    cutter,
                    _whole(depth),
                    *parts,
                ]
            )
        rest = program["other_operations"]
        if rest["count"]:
            rows.append(["", f"{rest['count']} others", "", "", _minutes(rest["minutes"]), *["–"] * 3])
    heads = ["program", "lines", "cutter", "down to", "minutes", "in wood", "air", "rapids"]
    return (
        el("h3", "Longest operations"),
        el(
            "p",
            "Each from one retract to the safe height to the next; levels over one place are taken together.",
            class_="quiet",
        ),
        table("Longest operations", heads, rows, 4),
    )


def tables_part(result: dict[str, Any], lengths: Lengths) -> Html:
    """Return the tables of what cutters leave, ridges and bite, and what else there is to know."""
    parts: list[Any] = [el("h2", "Tables")]
    if result["reach"]:
        parts += _reach(result["reach"], lengths)
    if result["cusps"] and result["cusps"]["rows"]:
        parts += _cusps(result["cusps"], lengths)
    if result["bite"]["rows"]:
        parts += _bite(result["bite"], lengths)
    if result["held"]:
        rows = [el("li", prose(lengths.text(grip_words(row)))) for row in result["held"]]
        parts += [
            el("h3", "Held from below"),
            el("ul", rows),
            el("p", f"{HELD_NOTE[0].upper()}{HELD_NOTE[1:]}.", class_="quiet"),
        ]
    parts += [el("h3", "Limits"), _limits(result, lengths)]
    if result["remarks"]:
        parts += [
            el("h3", "Notes"),
            el("ul", [el("li", prose(lengths.text(words))) for words in result["remarks"]]),
        ]
    return el("section", *parts)


def _reach(reach: dict[str, Any], lengths: Lengths) -> list[Html]:
    rows = []
    for side in reach["sides"]:
        for row in side["rows"]:
            alone, together = row["alone"], row["with_it"]
            rows.append(
                [
                    str(side["side"]),
                    lengths.cutter(row["cutter"]) + unused_words(row),
                    "" if alone is None else lengths.value(alone["worst"], alone["bound"]),
                    "" if alone is None else _area(alone["area"], lengths),
                    lengths.value(together["worst"], together["bound"]),
                    _area(together["area"], lengths),
                    "" if row["minutes"] is None else _about(row["minutes"]),
                ]
            )
    heads = ["side", "cutter", "alone it leaves", "over the limit on", "with the job", "over it on", "longer"]
    return [
        el("h3", "What each cutter leaves at best"),
        el("p", "Proud at the worst place: alone, and added to the job."),
        table("What each cutter leaves at best", heads, rows, 2),
        el("p", f"Longer: {reach['note']}", class_="quiet"),
    ]


def _cusps(cusps: dict[str, Any], lengths: Lengths) -> list[Html]:
    rows = [
        [
            str(row["side"]),
            row["zone"],
            lengths.cutter(row["cutter"]),
            lengths.fine(row["typical"]),
            f"{lengths.fine(row['worst'])} ±{lengths.fine_up(row['bound'])}",
            "all ways" if row["direction"] is None else f"{row['direction'] % 180:.0f}° from X",
            lengths.bare(row["stepover"]),
            lengths.bare(row["wanted_stepover"]),
            _about(row["sanding"]),
        ]
        for row in cusps["rows"]
    ]
    heads = ["side", "zone", "cutter", "typical", "worst", "passes", "apart"]
    heads += [f"for {lengths.figure(cusps['wanted'])}", "sanding"]
    return [
        el("h3", "Ridges between passes"),
        el("p", f"Lengths in {lengths.word}; the last but one is the stepover for the wanted ridge."),
        table("Ridges between passes", heads, rows, 3),
        el("p", lengths.text(cusps["note"]), class_="quiet"),
    ]


def _bite(bite: dict[str, Any], lengths: Lengths) -> list[Html]:
    rows = []
    for row in bite["rows"]:
        usual = row["chip_range"]
        climb = row["climb"]
        rows.append(
            [
                row["setup"],
                lengths.cutter(row["cutter"]),
                lengths.value(row["depth"]),
                "–" if row["width"] is None else lengths.value(row["width"], row["width_bound"]),
                lengths.span(row["per_tooth"], "–"),
                "–"
                if usual is None
                else lengths.span(usual, "–") + ("" if row["chip_range_stated"] else "*"),
                lengths.volume(row["removal"], row["removal_bound"]),
                "–" if climb is None else f"{100 * climb:.0f}/{100 * row['conventional']:.0f} %",
                path(f"{row['file']}:{row['line']}"),
            ]
        )
    heads = [
        "setup",
        "cutter",
        "deep",
        "wide",
        f"a tooth ({lengths.name})",
        f"usual ({lengths.name})",
        f"{lengths.volume_name[:2]}³/min",
        "climb/conv.",
        "at peak",
    ]
    parts = [el("h3", "Bite"), el("p", "The most of each along the passes."), table("Bite", heads, rows, 2)]
    if any(not row["chip_range_stated"] for row in bite["rows"]):
        note = f"* {bite['hardness']} wood, {bite['usual_source']}; not judged unless chip_load states it"
        parts.append(el("p", note, class_="quiet"))
    return parts


def _limits(result: dict[str, Any], lengths: Lengths) -> Html:
    rows = []
    for zone in result["zones"]:
        side = f", side {zone['side']}" if zone["side"] else ""
        if not zone["is_judged"]:
            rows.append([zone["name"] + side, "not judged", "not judged", ""])
            continue
        left = zone["finish_allowance"]
        rows.append(
            [
                zone["name"] + side,
                lengths.value(zone["gouge"]),
                lengths.value(zone["leftover"]),
                lengths.value(left) if left else "",
            ]
        )
    limits = table("Limits", ["where", "gouge", "leftover", "left on purpose"], rows)
    others = ", ".join(f"{name} {lengths.sizes(limit)}" for name, limit in part_limits(result))
    return el("div", limits, el("p", f"And of the part: {others}."))


def _whole(words: str) -> Html:
    """Lines or a depth, with no break behind a minus."""
    return el("span", words, class_="whole")


def _area(area: float, lengths: Lengths) -> str:
    return lengths.area(area) if area else "–"


def _about(minutes: float) -> str:
    return "under 1 min" if minutes < 1 else f"about {minutes:.0f} min"


def _minutes(minutes: float | None) -> str:
    return "–" if minutes is None else f"{minutes:.1f}"
