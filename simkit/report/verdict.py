"""The verdict: one word, one sentence, one exit status."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from simkit.findings.finding import WORST, Cause, Finding
from simkit.report.forms import FAILING


def verdict_of(
    findings: list[Finding], sides: tuple[int, ...], causes: Sequence[Cause] = ()
) -> dict[str, Any]:
    """Return the verdict: status, one sentence, and the exit status.

    sides: those whose shape was judged against a target; none when the job names no target.
    causes: of the findings; a shift or a wrong cutter is told in place of the worst that it left.
    """
    failing = [finding for finding in findings if finding.severity in FAILING]
    decided = [finding for finding in failing if finding.severity != "undecided"]
    if decided:
        first = decided[0]
        cause = next((one for one in causes if one.number == first.cause), None)
        where = place_words(cause if cause is not None and cause.file else first)
        where = f" in {where}" if where else ""
        counted = _counted(failing, "finding")
        many = len({finding.cause for finding in failing})
        if many < len(failing):
            counted += " of one cause" if many == 1 else f" of {many} causes"
        status = "beyond limits"
        message, worst, _ = (cause.message if cause is not None else "").partition(WORST)
        message = message if worst else first.message
        sentence = f"Beyond limits: {counted} to put right, the first{where}: {message}."
    elif failing:
        status = "undecided"
        sentence = (
            f"Undecided: {_counted(failing, 'value')} so near the limit that the bound straddles it, the "
            f"first: {failing[0].message}; a finer --cell may tell."
        )
    else:
        status = "within limits"
        warned = sum(finding.severity == "warning" for finding in findings)
        sentence = "Within limits: nothing to fix was found"
        sentence += f", but {_counted(list(range(warned)), 'warning')} to look at." if warned else "."
    accepted = sum(finding.severity == "accepted" for finding in findings)
    if accepted:
        sentence += f" {_counted(list(range(accepted)), 'accepted finding')} left out."
    sentence += scope_words(sides)
    return {"status": status, "sentence": sentence, "exit_status": 1 if failing else 0}


def place_words(one: Finding | Cause) -> str:
    """Return the line that a finding or a cause points at, "" for none; with a column in a job file."""
    if not one.line:
        return ""
    has_column = one.column and one.file.endswith(".toml")
    return f"{one.file}:{one.line}" + (f":{one.column}" if has_column else "")


def scope_words(sides: tuple[int, ...]) -> str:
    """Return what of the shape was not judged, as a sentence behind a verdict; '' when all was."""
    if not sides:
        return " The shape was not judged: the job names no target."
    return f" Only side {sides[0]} was judged: no setup cuts the other." if len(sides) == 1 else ""


def _counted(items: list, word: str) -> str:
    return f"1 {word}" if len(items) == 1 else f"{len(items)} {word}s"


def status_of(record: dict[str, Any]) -> int:
    """Return the exit status that a result, or what stands for a job not checked, would have alone."""
    return record["exit_status"] if "exit_status" in record else record["verdict"]["exit_status"]
