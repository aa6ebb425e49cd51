"""What the operator is told who starts a broken-off program again."""

from __future__ import annotations

from typing import Any

from simkit.program.resume import InForce
from simkit.report.cautions import CAUTIONS

VERSION = 1


def resume_result(
    program: str,
    broken: int,
    safe: list[int],
    chosen: InForce | None,
    top: float,
    result: dict | None,
    field: dict | None = None,
) -> dict[str, Any]:
    """Return it as plain data.

    broken: the line in which it broke off.  safe: lines it may be started at.  chosen: what is in force at
    the one it is started at, None if there is none.  top mm: height clear of everything, from
    the setup's zero.  result: of the check of what is run then.
    field: what was taken from a kept field, None where all was cut: "file", "cell" mm, "setups" of
    fields.kept.Taken, and "ran_otherwise": in words how what is kept of this setup was another run up to
    the break.
    """
    before = [line for line in safe if line <= broken]
    after = [line for line in safe if line > broken]
    return {
        "form": "simkit resume",
        "version": VERSION,
        "program": program,
        "broken_off_in": broken,
        "start_at": chosen.line if chosen else None,
        "safe_before": before[-5:],
        "safe_after": after[:5],
        "clear_height": top,
        "in_force": None
        if chosen is None
        else {
            "words": list(chosen.words),
            "at": None if chosen.at is None else list(chosen.at),
            "written": None if chosen.written is None else list(chosen.written),
            "unit": chosen.unit,
            "notes": list(chosen.notes),
        },
        "field": field,
        "result": result,
        "cautions": list(CAUTIONS),
    }


def resume_text(told: dict[str, Any]) -> str:
    """Return what the terminal shows."""
    program, broken = told["program"], told["broken_off_in"]
    if told["start_at"] is None:
        return (
            f"{program}, broken off in line {broken}: no line before it is safe to start from; start at the "
            f"top of the program.\n{' '.join(told['cautions'])}"
        )
    now, state = told["start_at"], told["in_force"]
    lines = [f"{program}, broken off in line {broken}: start again at line {now}"]
    others = [str(line) for line in told["safe_before"] if line != now]
    if others:
        lines.append(f"  also safe, up to the break: lines {', '.join(others)}")
    lines.append("  before it, by hand:")
    lines.append("    the new cutter measured, its length or Z zero set anew; the blank not moved")
    if state["written"] is not None:
        place = "X{:g} Y{:g} Z{:g}".format(*(round(value, 4) + 0.0 for value in state["written"]))
        unit = {"mm": "mm", "in": "inches", None: "mm"}[state["unit"]]
        lines.append(f"    the tip straight up, then over everything to {place} ({unit}, zero in force)")
    lines.append("  what the control must have in force:")
    lines += [f"    {words}" for words in state["words"]]
    lines += [f"  note: {note}" for note in state["notes"]]
    if told.get("field"):
        lines += _field_lines(told["field"])
    if told["result"] is not None:
        lines.append(f"  all lines to {broken}, then from {now} on: {told['result']['verdict']['sentence']}")
    lines.append(" ".join(told["cautions"]))
    return "\n".join(lines)


def _field_lines(field: dict[str, Any]) -> list[str]:
    """Return what was taken from a kept field."""
    name, cell = field["file"], field["cell"]
    if not field["setups"]:
        lines = [
            f"  nothing is taken from {name}: no setup comes before this one; cells {cell:g} mm as there"
        ]
    else:
        lines = [f"  not cut again but taken from {name}, cells {cell:g} mm:"]
    for setup in field["setups"]:
        programs = ", ".join(_program_words(one) for one in setup["programs"])
        lines.append(f"    {setup['name']}: {programs or 'no program'}")
    if field["ran_otherwise"]:
        lines.append(
            f"  run as the job is now, where {name} has another: {', '.join(field['ran_otherwise'])}"
        )
    return lines


def _program_words(program: dict[str, Any]) -> str:
    words = {
        "same": "unchanged since",
        "moved": "unchanged since, but the job now runs it in another place of that setup",
        "changed": f"changed since, so findings in it name {program['named']}, line as then",
        "gone": f"no longer in the job, so findings in it name {program['named']}, line as then",
    }
    return f"{program['file']} ({words[program['state']]})"
