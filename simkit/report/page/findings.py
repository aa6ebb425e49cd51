"""The findings as a numbered column: place, size, the line of the program, advice, a picture of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from simkit.job.model import Job
from simkit.report.page.html import Html, el
from simkit.report.page.program_lines import ProgramLines
from simkit.report.page.words import Lengths, limit_of, measured, place_words, program_place

MOST_OF_CAUSE = 4  # findings of one cause that are told in full; the others are rows of a table
MOST_IN_FULL = 40
MOST_ROWS = 400

SEVERITY_WORDS = {
    "safety": "danger",
    "beyond": "beyond the limit",
    "undecided": "undecided",
    "warning": "warning",
    "accepted": "accepted",
    "note": "note",
}


def first_to_fix(result: dict[str, Any], lengths: Lengths) -> Html | None:
    """Return what to fix first: the advice of the causes that fail the check, in the order to be read."""
    failing = [one for one in result["causes"] if one["severity"] in ("safety", "beyond", "undecided")]
    if not failing:
        return None
    steps = []
    for cause in failing[:5]:
        first, last = cause["findings"][0], cause["findings"][-1]
        numbers = f"{first}" if first == last else f"{first} to {last}"
        link = el("a", numbers, href=f"#f{first}")
        steps.append(el("li", lengths.text(cause["advice"]), " (finding ", link, ")"))
    rest = len(failing) - 5
    more = el("p", f"and {rest} more causes, below") if rest > 0 else None
    return el("section", el("h2", "What to fix first"), el("ol", steps), more)


def findings_part(
    result: dict[str, Any],
    job: Job,
    lines: ProgramLines,
    picture: Callable[[dict[str, Any]], Html | None],
    lengths: Lengths,
) -> Html:
    """Return the column of findings.  picture: draws the close-up of one."""
    findings, parts, told = result["findings"], [], 0
    left_out = 0
    for cause in result["causes"]:
        mine = [findings[number - 1] for number in cause["findings"]]
        full = mine[: min(MOST_OF_CAUSE, max(MOST_IN_FULL - told, 0))]
        if len(mine) > 1:
            parts.append(
                el("p", f"{len(mine)} of one cause: {lengths.text(cause['message'])}", class_="cause")
            )
        parts += [_finding(row, job, lines, picture, lengths) for row in full]
        told += len(full)
        rest = mine[len(full) :]
        rows = rest[: max(MOST_ROWS - left_out, 0)]
        if rows:
            words = f"{len(rest)} more of this cause"
            parts.append(
                el("details", el("summary", words), _rows(rows, job, lengths), _unlisted(rest, rows))
            )
        elif rest:
            parts.append(_unlisted(rest, rows))
        left_out += len(rest)
    if not findings:
        parts.append(el("p", "Nothing was found."))
    return el("section", el("h2", "Findings"), *parts, id="findings")


def _unlisted(rest: list, rows: list) -> Html | None:
    unlisted = len(rest) - len(rows)
    return el("p", f"{unlisted} more are not listed here; --json writes all.") if unlisted else None


def _finding(row, job: Job, lines: ProgramLines, picture, lengths: Lengths) -> Html:
    severity = row["severity"]
    value, limit = measured(row, lengths), limit_of(row, lengths)
    size = value + (f" against a limit of {limit}" if value and limit else "")
    zone = f"zone ‘{row['zone']}’" if row["zone"] not in ("", "whole part") else ""
    facts = [
        ("Where", place_words(row, job, lengths)),
        ("In the program", program_place(row, lengths)),
        ("Size", size),
        ("Measured", row["measure"] if value else ""),
        ("Zone", zone),
        ("Cutter", row["cutter"]),
        ("Why it may stand", row["reason"]),
        ("Why it counts again", row["returned"]),
    ]
    table = [(el("dt", name), el("dd", words)) for name, words in facts if words]
    advice = row["advice"]
    return el(
        "article",
        el(
            "h3",
            el("span", str(row["number"]), class_="no"),
            el("span", row["kind"], class_="kind"),
            el("span", SEVERITY_WORDS[severity], class_="severity"),
        ),
        el(
            "div",
            el(
                "div",
                el("p", _sentence(lengths.text(row["message"]))),
                el("dl", table),
                _context(row, lines),
                el("p", el("b", "What to do: "), lengths.text(advice), class_="advice") if advice else None,
            ),
            _figure(row, picture),
            class_="beside",
        ),
        id=f"f{row['number']}",
        class_=f"finding {severity}",
    )


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "!", "?")) else ".")


def _figure(row, picture) -> Html | None:
    drawn = picture(row)
    if drawn is None:
        return None
    return el("figure", drawn, el("figcaption", f"The place of finding {row['number']}, seen from above"))


def _context(row, lines: ProgramLines) -> Html | None:
    if not row["file"]:
        return None
    name = f"{row['file']}, line {row['line']}" if row["line"] else row["file"]
    around = lines.around(row["file"], row["line"])
    if not around:
        return el("p", name, class_="file")
    shown = []
    for number, text in around:
        mine = number == row["line"]
        sign = el("span", "▶" if mine else " ", class_="sign")
        shown.append(
            el(
                "span",
                sign,
                el("span", f"{number}", class_="num"),
                f" {text}\n",
                class_="here" if mine else None,
            )
        )
    return el("figure", el("figcaption", name, class_="file"), el("pre", el("code", *shown)), class_="lines")


def _rows(rows: list[dict[str, Any]], job: Job, lengths: Lengths) -> Html:
    head = el("tr", [el("th", words) for words in ("no.", "size", "where", "line")])
    body = [
        el(
            "tr",
            el("td", str(row["number"])),
            el("td", measured(row, lengths)),
            el("td", place_words(row, job, lengths)),
            el("td", f"{row['file']}:{row['line']}" if row["line"] else row["file"]),
            id=f"f{row['number']}",
        )
        for row in rows
    ]
    return el("div", el("table", el("thead", head), el("tbody", body)), class_="scroll")
