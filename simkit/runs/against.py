"""A result held against a stored one: what is new or worse, what stands in both, what got better."""

from __future__ import annotations

import json
import math
from pathlib import Path, PurePosixPath
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.job.files import file_problem
from simkit.kinds import LESS_IS_WORSE, family
from simkit.report.forms import VERSION

ROUNDING = 0.01  # mm: values are read to a hundredth, as they are printed
NEAR = 2.0  # mm: places this far apart still mean one finding when no id says otherwise


def stored_results(path: Path) -> list[dict[str, Any]]:
    """Return the results in a file that --json wrote: of one job, or of several.

    Raises InputProblems for what cannot be read, is no result, or is one of a later version.
    """
    place = Place(str(path), key="--against")
    again = "name a file that simkit check --json wrote"
    if problem := file_problem(path, str(path), place, "a stored result (JSON)"):
        raise InputProblems(problem)
    try:
        data = json.loads(path.read_bytes().decode("utf-8-sig"))
    except (ValueError, RecursionError) as reason:
        line, column = getattr(reason, "lineno", None), getattr(reason, "colno", None)
        found = Problem(
            Place(str(path), line, column, "--against"), "no JSON", "a stored result (JSON)", again
        )
        raise InputProblems(found) from None
    results = data if isinstance(data, list) else [data]
    for one in results:
        form, version = (one.get("form"), one.get("version")) if isinstance(one, dict) else (None, None)
        if form == "simkit unchecked" and isinstance(data, list):
            continue
        if form != "simkit result" or not isinstance(version, int):
            raise InputProblems(
                Problem(place, f"'{form}'" if form else "other JSON", "a stored result", again)
            )
        if version > VERSION:
            expected = f"a result of version {VERSION} at most"
            remedy = "write it again with this simkit (--json), or use the simkit that wrote it"
            raise InputProblems(Problem(place, f"a result of version {version}", expected, remedy))
        rows = one.get("findings")
        job = one.get("job")
        is_whole = isinstance(job, dict) and isinstance(job.get("file"), str) and isinstance(rows, list)
        if not is_whole or not all(isinstance(row, dict) and _is_finding(row) for row in rows):
            found = "a result that lacks keys, or holds what no result does"
            raise InputProblems(Problem(place, found, "a stored result", again))
    return [one for one in results if one["form"] == "simkit result"]


def _is_finding(row: dict[str, Any]) -> bool:
    """Return whether a row of a stored result has all that findings are held against each other by."""
    words = [row.get(key) for key in ("id", "kind", "severity", "message")]
    sizes = [row.get(key, "") for key in ("value", "bound", "side")]
    others, box, at = row.get("other_ids"), row.get("box", ""), row.get("at", "")
    return (
        all(isinstance(one, str) for one in words)
        and all(one is None or _is_number(one) for one in sizes)
        and isinstance(others, list)
        and all(
            place is None
            or (isinstance(place, list) and len(place) == count and all(_is_number(one) for one in place))
            for place, count in ((box, 4), (at, 3))
        )
    )


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def stored_for(job_file: str, results: list[dict[str, Any]], is_alone: bool) -> dict[str, Any] | None:
    """Return the stored result of a job, None when there is none.

    is_alone: only one job is checked; a single stored result is then meant for it, whatever its name.
    """
    if is_alone and len(results) == 1:
        return results[0]
    wanted = _on_any_system(job_file)
    return next((one for one in results if _on_any_system(one["job"]["file"]) == wanted), None)


def _on_any_system(job_file: str) -> PurePosixPath:
    """Return the path of a job file the same way, whichever system wrote it."""
    return PurePosixPath(job_file.replace("\\", "/"))


def compared(
    result: dict[str, Any], stored: dict[str, Any], fails: frozenset[str], name: str
) -> dict[str, Any]:
    """Return what differs, as report.forms.Against says.  fails: severities that fail a check.

    A finding stands in both when both fail and its id is one of those the stored one goes by, or else when it
    is of that kind and side and lies no farther than NEAR from it; it is worse when its value is beyond the
    stored one by more than either may be off.
    """
    now = [row for row in result["findings"] if row["severity"] in fails]
    then = [row for row in stored["findings"] if row["severity"] in fails]
    pairs = _pairs(now, then)
    new = [row["number"] for k, row in enumerate(now) if k not in pairs]
    worse = [now[k]["number"] for k, old in sorted(pairs.items()) if _beyond(now[k], then[old]) > 0]
    known = [now[k]["number"] for k in sorted(pairs) if now[k]["number"] not in worse]
    better = []
    met = {old: k for k, old in pairs.items()}
    for number, old in enumerate(then):
        row = now[met[number]] if number in met else None
        if row is not None and _beyond(row, old) >= 0:
            continue
        value = None if row is None else row["value"]
        same = {key: old[key] for key in ("id", "kind", "message")}
        better.append({**same, "was": old["value"], "now": value})
    return {"file": name, "new": new, "worse": worse, "known": known, "better": better}


def _pairs(now: list[dict[str, Any]], then: list[dict[str, Any]]) -> dict[int, int]:
    """Return which stored finding each finding is, each once, the surest first."""
    likely = []
    for k, row in enumerate(now):
        for old, stored in enumerate(then):
            if family(row["kind"]) != family(stored["kind"]) or row["side"] != stored["side"]:
                continue
            if row["id"] == stored["id"]:
                sure = 0
            elif row["id"] in stored["other_ids"] or stored["id"] in row["other_ids"]:
                sure = 1
            elif _gap(row, stored) <= NEAR:
                sure = 2
            else:
                continue
            likely.append((sure, abs((row["value"] or 0.0) - (stored["value"] or 0.0)), k, old))
    pairs: dict[int, int] = {}
    for _, _, k, old in sorted(likely):
        if k not in pairs and old not in pairs.values():
            pairs[k] = old
    return pairs


def _gap(row: dict[str, Any], stored: dict[str, Any]) -> float:
    """Return how far the places of two findings lie apart in plan, mm; infinite where one has none."""
    boxes = [one["box"] or (one["at"] and [*one["at"][:2], *one["at"][:2]]) for one in (row, stored)]
    if not all(boxes):
        return math.inf
    a, b = boxes
    return math.hypot(*(max(a[k] - b[k + 2], b[k] - a[k + 2], 0.0) for k in (0, 1)))


def _beyond(row: dict[str, Any], stored: dict[str, Any]) -> int:
    """Return 1 where a finding is worse than the stored one, -1 where better, 0 within what is known."""
    if row["value"] is None or stored["value"] is None:
        return 0
    room = max(row["bound"] or 0.0, stored["bound"] or 0.0) + ROUNDING
    more = row["value"] - stored["value"]
    more = -more if row["kind"] in LESS_IS_WORSE else more
    return int(more > room) - int(more < -room)
