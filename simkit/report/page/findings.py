"""The findings as a numbered column: place, size, the line of the program, advice, a picture of its own."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from simkit.job.model import Job
from simkit.report.lengths import Lengths, limit_of, measured, program_lengths
from simkit.report.page.html import Html, el, path, prose
from simkit.report.page.program_lines import ProgramLines
from simkit.report.page.words import place_words, program_place

MOST_OF_CAUSE = 4  # findings of one cause that are told in full; the others are rows of a table
MOST_IN_FULL = 40
MOST_ROWS = 400
MOST_TURNED = 40  # as many as the 3-D view numbers, at least
MOST_OPEN = 10  # causes that stand open before those of a kind that was told are folded away
MOST_OPEN_OF_KIND = 3

SEVERITY_WORDS = {
    "safety": "danger",
    "beyond": "beyond the limit",
    "undecided": "undecided",
    "warning": "warning",
    "accepted": "accepted",
    "note": "note",
}


def first_to_fix(result: dict[str, Any], lengths: Lengths) -> Html | None:
    """Return what to fix first: the advice of the causes that fail the check, in the order to be read.

    And what the verdict says nothing of, in short: who starts a machine on it is to know.
    """
    unjudged = None
    if result.get("not_judged"):
        words = "; ".join(re.sub(r" \([^()]*\)$", "", one) for one in result["not_judged"])
        unjudged = el(
            "p", prose(f"Not judged, as the job does not say (how, below): {words}."), class_="quiet"
        )
    failing = [one for one in result["causes"] if one["severity"] in ("safety", "beyond", "undecided")]
    if not failing:
        return unjudged
    steps = []
    for cause in failing[:5]:
        first, last = cause["findings"][0], cause["findings"][-1]
        numbers = f"{first}" if first == last else f"{first} to {last}"
        link = el("a", numbers, href=f"#f{first}")
        steps.append(el("li", prose(lengths.text(cause["advice"])), " (finding ", link, ")"))
    rest = len(failing) - 5
    more = el("p", f"and {rest} more causes, below") if rest > 0 else None
    return el("section", el("h2", "What to fix first"), el("ol", steps), more, unjudged)


def findings_part(
    result: dict[str, Any],
    job: Job,
    lines: ProgramLines,
    picture: Callable[[dict[str, Any]], Html | None],
    lengths: Lengths,
) -> Html:
    """Return the column of findings.  picture: draws the close-up of one."""
    findings, parts, told = result["findings"], [], 0
    programs = program_lengths(result)
    left_out = 0
    opened: dict[str, int] = {}  # causes told openly, by kind
    folded: dict[str, list[tuple[list, list]]] = {}  # (markup, findings) of the others
    for cause in result["causes"]:
        mine = [findings[number - 1] for number in cause["findings"]]
        kind = mine[0]["kind"]
        before = opened.get(kind, 0)
        is_open = before < (MOST_OPEN_OF_KIND if sum(opened.values()) < MOST_OPEN else 1)
        full = mine[: max(min(MOST_OF_CAUSE, MOST_IN_FULL - told), int(is_open))]
        told += len(full)
        rest = mine[len(full) :]
        rows = rest[: max(MOST_ROWS - left_out, 0)]
        left_out += len(rest)
        drawn = [_finding(row, job, lines, picture, lengths, programs) for row in full]
        more = [*drawn[1:], _rows(rows, job, lengths) if rows else None, _unlisted(rest, rows)]
        shown = drawn[:1]
        if len(mine) > 1 or not drawn:
            shown.append(
                _fold(
                    f"{len(mine) - len(shown)} {'more ' if drawn else ''}of this cause",
                    mine[len(shown) :],
                    more,
                    lengths,
                )
            )
        if is_open:
            opened[kind] = before + 1
            parts += shown
        else:
            folded.setdefault(kind, []).append((shown, mine))
    for kind, blocks in folded.items():
        mine = [row for _, rows in blocks for row in rows]
        words = f"{len(mine)} more of {kind}, of {len(blocks)} {'cause' if len(blocks) == 1 else 'causes'}"
        parts.append(_fold(words, mine, [shown for shown, _ in blocks], lengths))
    if not findings:
        parts.append(el("p", "Nothing was found."))
    return el("section", el("h2", "Findings"), *parts, id="findings")


def _fold(words: str, mine: list[dict[str, Any]], inner: list, lengths: Lengths) -> Html:
    """Return findings that a tap opens; print shows them open.  mine: all of them, the worst first."""
    numbers = [row["number"] for row in mine]
    if len(numbers) > 1 and numbers[-1] - numbers[0] + 1 == len(numbers):
        words += f", {numbers[0]} to {numbers[-1]}"
    sizes = [measured(row, lengths) for row in mine if row["value"] is not None]
    if sizes:
        words += f": {sizes[0]}" + (" the first" if len(sizes) > 1 else "")
    return el("details", el("summary", words), inner, class_="fold")


def _unlisted(rest: list, rows: list) -> Html | None:
    unlisted = len(rest) - len(rows)
    return el("p", f"{unlisted} more are not listed here; --json writes all.") if unlisted else None


def _finding(row, job: Job, lines: ProgramLines, picture, lengths: Lengths, programs) -> Html:
    severity = row["severity"]
    value, limit = measured(row, lengths), limit_of(row, lengths)
    size = value + (f" against a limit of {limit}" if value and limit else "")
    zone = f"zone ‘{row['zone']}’" if row["zone"] not in ("", "whole part") else ""
    facts = [
        ("Where", place_words(row, job, lengths)),
        ("In the program", program_place(row, programs, lengths)),
        ("Size", size),
        ("Measured", row["measure"] if value else ""),
        ("Its faces", _faces(row, lengths)),
        ("How thick it was", _moments(row, lengths)),
        ("Zone", zone),
        ("Cutter", lengths.cutter(row["cutter"])),
        ("Why it may stand", row["reason"]),
        ("Why it counts again", row["returned"]),
    ]
    kept = {"In the program": "whole"}  # not broken behind a minus
    table = [(el("dt", name), el("dd", words, class_=kept.get(name))) for name, words in facts if words]
    advice = row["advice"]
    return el(
        "article",
        el(
            "h3",
            el("span", str(row["number"]), class_="no"),
            el("span", row["kind"], class_="kind"),
            el("span", SEVERITY_WORDS[severity], class_="severity"),
            _turning(row),
        ),
        el(
            "div",
            el(
                "div",
                el("p", prose(_sentence(lengths.text(row["message"])))),
                el("dl", table),
                _context(row, lines),
                el("p", el("b", "What to do: "), prose(lengths.text(advice)), class_="advice")
                if advice
                else None,
            ),
            _figure(row, picture),
            class_="beside",
        ),
        id=f"f{row['number']}",
        class_=f"finding {severity}",
    )


def _faces(row, lengths: Lengths) -> Html | None:
    """Return where the two faces of a wall are, and who made each, in words; None for what is no wall."""
    words = []
    for face in row["faces"]:
        side = "edge of the blank" if face["side"] is None else f"side {face['side']}"
        place = "X{} Y{} Z{} {}".format(*map(lengths.place, face["at"]), lengths.name)
        line = f", {face['file']}:{face['line']}" if face["line"] else ""
        cutter = f", {lengths.cutter(face['cutter'])} in ‘{face['setup']}’" if face["cutter"] else ""
        words.append(f"{side} at {place}{line}{cutter}")
    return _each(words)


def _moments(row, lengths: Lengths) -> Html | None:
    """Return how thick a wall was after each run of a cutter, in words; None for what is no wall."""
    words = []
    for one in row["moments"]:
        what = "the steps after" if one["has_steps"] else f"{lengths.cutter(one['cutter'])} in"
        least = "at least " if one["is_least"] else ""
        thickness = lengths.value(one["thickness"], None if one["is_least"] else one["bound"])
        words.append(f"{least}{thickness} after {what} ‘{one['setup']}’ ({one['file']}:{one['line']})")
    return _each(words)


def _each(words: list[str]) -> Html | None:
    """Return facts one below the other; None for none."""
    return el("ul", [el("li", one) for one in words]) if words else None


def _turning(row) -> Html | None:
    """Return the link to the 3-D view, which turns to the finding; None where it has no number there."""
    if row["at"] is None or row["number"] > MOST_TURNED:
        return None
    number = str(row["number"])
    words = f"See finding {number} in 3-D"
    return el("a", "in 3-D", href="#solid", data_turn=number, class_="turning screen-only", aria_label=words)


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
            el("td", path(f"{row['file']}:{row['line']}" if row["line"] else row["file"])),
            id=f"f{row['number']}",
        )
        for row in rows
    ]
    return el("div", el("table", el("thead", head), el("tbody", body)), class_="scroll")
