"""A cutter that is not the one the job states, or not the one a program means: what is said of it."""

from __future__ import annotations

from typing import Any

from simkit.compare.cutter_size import OUTER
from simkit.findings.evidence import Evidence
from simkit.findings.finding import WORST, Finding


def size_words(evidence: Evidence, worst: str) -> tuple[str, str]:
    """Return message and advice where a cutter seems to have another diameter than the job states."""
    size = evidence.other_size
    also = " or ".join(f"T{number}" for number in size.also)
    others = f" ({size.least:g} to {size.most:g} mm fit alike)" if size.least < size.most else ""
    meant = f", or call {also} where the programs mean it" if also else ""
    return (
        f"cutter T{size.number} looks as if it were {size.likely:g} mm wide{others}, not {size.stated:g} mm:"
        f" cut with that, {_shares(size)}{WORST}{worst}",
        f"Measure the cutter, and see which one the programs were made for. Then correct its diameter under"
        f" [cutters.{size.number}] of the job file{meant}; what is listed here follows from it.",
    )


def call_words(evidence: Evidence, worst: str) -> tuple[str, str, dict[str, Any]]:
    """Return message, advice and place where a program seems to call the wrong cutter, or lost a call."""
    call, job = evidence.wrong_call, evidence.job
    first = call.rows[0]
    file, line = _place(evidence)
    now, meant = job.cutters[call.tool], job.cutters[call.meant]
    fits = " or ".join(str(job.cutters[one]) for one in (call.meant, *call.also))
    cured = f"cut with {f'T{meant.number}' if call.also else 'that'}, {_shares(call)}{WORST}{worst}"
    place: dict[str, Any] = {"file": file, "line": line}
    if call.is_missing:
        message = (
            f"the call of another cutter seems to be missing before this line: {now} goes on, but what it"
            f" cuts from here fits {fits}: {cured}"
        )
        lift = int(evidence.moves.line[first])
        advice = (
            f"The program may have lost a change of cutter: see which one this part was made for, and call T"
            f"{meant.number} between line {lift} and the first cut in line {_first_cut(evidence)}."
        )
    else:
        is_called = line is not None and _call(evidence) is not None
        message = (
            f"the program seems to {'call' if is_called else 'run with'} the wrong cutter: {now} cuts here,"
            f" but the moves fit {fits}: {cured}"
        )
        where = "in this line" if is_called else f"before line {line}"
        advice = f"See which cutter this part was made for, and call T{meant.number} {where} if that is it."
    size = evidence.other_size
    if size is not None and size.number == call.tool:
        advice += (
            f" If T{size.number} is meant, measure it: the cuts fit {size.likely:g} mm, too, and"
            f" [cutters.{size.number}] of the job file says {size.stated:g} mm."
        )
    return message, f"{advice} What is listed here follows from it.", place


def in_run(evidence: Evidence, finding: Finding) -> bool:
    """Tell whether a finding is of a move in the stretch that seems to run with the wrong cutter."""
    first, last = evidence.wrong_call.rows
    moves = evidence.moves
    if finding.file != moves.programs[int(moves.program[first])] or finding.line is None:
        return False
    lines = moves.line[first : last + 1]
    return bool(lines.min() <= finding.line <= lines.max())


def _place(evidence: Evidence) -> tuple[str, int]:
    """Return file and line of the call, where there is one, else of the move before which it belongs."""
    first, last = evidence.wrong_call.rows
    moves = evidence.moves
    called = None if evidence.wrong_call.is_missing else _call(evidence)
    # The first move of such a stretch is the lift, behind which cutters are changed.
    behind = first + 1 if evidence.wrong_call.is_missing and first < last else first
    return moves.programs[int(moves.program[first])], called or int(moves.line[behind])


def _call(evidence: Evidence) -> int | None:
    """Return the line in which the wrong cutter was called, None where the program does not call it."""
    call, moves = evidence.wrong_call, evidence.moves
    first = call.rows[0]
    name, line = moves.programs[int(moves.program[first])], int(moves.line[_first_cut_row(evidence)])
    found = [
        at
        for _, read in evidence.reads[int(moves.setup[first])]
        if read.name == name
        for tool, at, _ in read.tools_called
        if tool == call.tool and at <= line
    ]
    return max(found, default=None)


def _first_cut(evidence: Evidence) -> int:
    return int(evidence.moves.line[_first_cut_row(evidence)])


def _first_cut_row(evidence: Evidence) -> int:
    """Return the row of the first feed move of the stretch."""
    first, last = evidence.wrong_call.rows
    feeds = (~evidence.moves.rapid[first : last + 1]).nonzero()[0]
    return first + int(feeds[0]) if len(feeds) else first


def _shares(one: Any) -> str:
    """Return how much lies beyond the limits as cut, and with the other cutter, in words."""
    return ", ".join(
        f"{_percent(one.after[side])} of {f'side {side}' if side != OUTER else 'the outer wall'} lie beyond"
        f" their limits instead of {_percent(one.before[side])}"
        for side in sorted(one.before)
    )


def _percent(part: float) -> str:
    return f"{100 * part:.0f} %" if part == 0 or part >= 0.01 else "under 1 %"
