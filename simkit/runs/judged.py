"""The verdict of a build: of a result as it is, with warnings that fail, or against a stored one."""

from __future__ import annotations

from typing import Any

from simkit.report.verdict import FAILING, scope_words
from simkit.runs.against import compared


def judged(
    result: dict[str, Any], strict: bool = False, stored: dict[str, Any] | None = None, name: str = ""
) -> dict[str, Any]:
    """Return the result with the verdict that is asked for.

    strict: warnings fail.  stored: a result it is held against, name: where it is kept; only what is new or
    worse then fails, and what is about safety.
    """
    fails = frozenset(FAILING) | ({"warning"} if strict else set())
    failing = [row for row in result["findings"] if row["severity"] in fails]
    told = dict(result, strict=strict, against=None)
    if stored is not None:
        told["against"] = compared(result, stored, fails, name)
        told["verdict"] = _against(told, failing)
    elif strict and failing and not result["verdict"]["exit_status"]:
        sentence = f"Warnings, and they fail this check: {_first(failing, 'warning')}."
        told["verdict"] = _verdict("warnings", sentence, result, 1)
    return told


def _verdict(status: str, sentence: str, result: dict[str, Any], exit_status: int) -> dict[str, Any]:
    sides = tuple(int(side) for side in result["zones"][0]["area"])
    return {"status": status, "sentence": sentence + scope_words(sides), "exit_status": exit_status}


def _against(result: dict[str, Any], failing: list[dict[str, Any]]) -> dict[str, Any]:
    found = result["against"]
    counting = {*found["new"], *found["worse"]}
    hurting = [row for row in failing if row["severity"] == "safety" and row["number"] not in counting]
    fail = [row for row in failing if row["number"] in counting] + hurting
    words = []
    known = len(found["known"]) - len(hurting)
    if known:
        words.append(f"{_counted(known, 'finding')} known from it and no worse.")
    if hurting:
        stands = "stands in both and fails" if len(hurting) == 1 else "stand in both and fail"
        words.append(f"{_counted(len(hurting), 'finding')} about safety {stands} all the same.")
    gone = [row for row in found["better"] if row["now"] is None]
    smaller = len(found["better"]) - len(gone)
    if found["better"]:
        parts = [f"{len(gone)} gone"] * bool(gone) + [f"{smaller} smaller"] * bool(smaller)
        words.append(f"Better: {', '.join(parts)}.")
    tail = f" {' '.join(words)}" if words else ""
    if not fail:
        status = "no worse" if failing else "within limits"
        lead = f"No worse than {found['file']}." if failing else result["verdict"]["sentence"]
        sentence = lead + tail
        return (
            _verdict(status, sentence, result, 0)
            if failing
            else {
                "status": status,
                "sentence": sentence,
                "exit_status": 0,
            }
        )
    severities = {row["severity"] for row in fail}
    status = "beyond limits" if severities & {"safety", "beyond"} else "undecided"
    status = "warnings" if severities == {"warning"} else status
    counts = [f"{len(found[sort])} {sort}" for sort in ("new", "worse") if found[sort]]
    lead = (
        f"Worse than {found['file']} ({', '.join(counts)})" if counts else f"Not safe, as in {found['file']}"
    )
    return _verdict(status, f"{lead}: {_first(fail, 'finding')}.{tail}", result, 1)


def _first(rows: list[dict[str, Any]], word: str) -> str:
    """Return how many there are and the first of them, in words."""
    first = rows[0]
    where = f" in {first['file']}:{first['line']}" if first["line"] else ""
    return f"{_counted(len(rows), word)} to put right, the first{where}: {first['message']}"


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"
