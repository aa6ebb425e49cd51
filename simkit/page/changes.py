"""What got better or worse since the check before, in words."""

from __future__ import annotations

from typing import Any

from simkit.report.lengths import lengths_of
from simkit.runs.against import compared

_FAILS = frozenset(["safety", "beyond", "undecided"])
_MOST = 12  # rows of each sort


def changes(now: dict[str, Any], then: dict[str, Any]) -> list[str]:
    """Return sentences on two results of one page: the verdicts first, then finding by finding."""
    told = compared(now, then, _FAILS, "the check before")
    rows = {row["number"]: row for row in now["findings"]}
    before, after = then["verdict"]["status"], now["verdict"]["status"]
    same = f"As before: {after}." if before == after else f"Before: {before}. Now: {after}."
    words = [same]
    gone = [one for one in told["better"] if one["now"] is None]
    less = [one for one in told["better"] if one["now"] is not None]
    words += _some([f"Gone: {one['message']}." for one in gone])
    words += _some(
        [f"Better, from {_size(one['was'])} to {_size(one['now'])}: {one['message']}." for one in less]
    )
    words += _some([f"Worse: finding {number}, {rows[number]['message']}." for number in told["worse"]])
    words += _some([f"New: finding {number}, {rows[number]['message']}." for number in told["new"]])
    count = len(told["known"])
    if count:
        words.append(f"{count} finding{'' if count == 1 else 's'} as before.")
    elif len(words) == 1:
        words.append("Nothing that fails the check changed.")
    return [lengths_of(now).text(one) for one in words]


def _size(value: float | None) -> str:
    return "an unknown size" if value is None else f"{value:.2f}"


def _some(rows: list[str]) -> list[str]:
    rest = len(rows) - _MOST
    return rows if rest <= 0 else [*rows[:_MOST], f"And {rest} more like these."]
