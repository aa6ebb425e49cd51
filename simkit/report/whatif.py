"""Two results side by side: the job as it is stated, and with a change."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.frames import swung, turned
from simkit.job.change import moved_words, turned_words
from simkit.kinds import LESS_IS_WORSE
from simkit.report.lengths import Lengths, lengths_of, limit_of, measured

VERSION = 1


def whatif_result(change: str, stated: dict[str, Any], changed: dict[str, Any]) -> dict[str, Any]:
    """Return both results and what differs, as plain data.  change: in words."""
    return {
        "form": "simkit whatif",
        "version": VERSION,
        "change": change,
        "rows": whatif_rows(stated, changed),
        "measured_back": seam_words(changed),
        "stated": stated,
        "changed": changed,
    }


def whatif_rows(stated: dict[str, Any], changed: dict[str, Any]) -> list[dict[str, Any]]:
    """Return for each kind, side and zone that either result tells of its worst finding in both, or None.

    In the order of the changed result, worst first, what only the stated one has behind.
    """
    worst: list[dict[tuple, dict]] = []
    for result in (changed, stated):
        mine: dict[tuple, dict] = {}
        for finding in result["findings"]:
            key = (finding["kind"], finding["side"], finding["zone"])
            if key not in mine or _is_worse(finding, mine[key]):
                mine[key] = finding
        worst.append(mine)
    after, before = worst
    return [
        {
            "kind": key[0],
            "side": key[1],
            "zone": key[2],
            "limit": (after.get(key) or before[key])["limit"],
            "stated": _short(before.get(key)),
            "changed": _short(after.get(key)),
        }
        for key in {**after, **before}
    ]


def _is_worse(finding: dict[str, Any], other: dict[str, Any]) -> bool:
    """Return whether a finding is worse than another one of its kind, side and zone."""
    sign = -1.0 if finding["kind"] in LESS_IS_WORSE else 1.0
    value, its = (None if one["value"] is None else sign * one["value"] for one in (finding, other))
    return value is not None and (its is None or value > its)


def _short(finding: dict[str, Any] | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    return {name: finding[name] for name in ("value", "bound", "unit", "limit", "severity", "message", "id")}


def seam_words(result: dict[str, Any]) -> str:
    """Return how side 2 lies against side 1 as the seam shows it and its operator sees it, in words.

    In the same directions as --shift and --turn, about the middle of the blank where the turn is seen, else
    about the middle of the seam.  "" without a seam or a setup that lies turned over.
    """
    setup = next((one for one in result["setups"] if one["turn"] != "none"), None)
    seam = result["seam"]
    if setup is None or seam is None or seam["worst"] is None:
        return ""
    fit, blank = seam["side_1_against_side_2"], result["blank"]
    length, width = blank["length"], blank["width"]
    lie = turned(setup["turn"], length, width, blank["thickness"]).after(swung(setup["swing"], length, width))
    is_seen = np.array(fit["is_observable"])
    degrees = -fit["turn_degrees"] if is_seen[2] else 0.0
    away = np.array([length / 2, width / 2]) - np.array(fit["about"])
    shift = -np.array(fit["shift"]) + np.radians(degrees) * np.array([-away[1], away[0]])
    plan = lie.matrix[:2, :2]
    seen_as = np.abs(plan.T) @ is_seen[:2] > 0.5
    shift = np.where(seen_as, shift @ plan, 0.0)
    right, back = (round(float(one), 3) + 0.0 for one in shift)
    parts = moved_words((right, back, 0.0)) + turned_words(round(degrees * lie.plan_sense, 4) + 0.0)
    names = ("shift left and right", "shift front and back", "turn")
    hidden = [name for name, seen in zip(names, (*seen_as, is_seen[2]), strict=True) if not seen]
    if len(hidden) == 3:
        return f"the seam does not show how side 2 lies in '{setup['name']}'"
    where = ", ".join(parts) or "in place"
    words = f"measured back from the seam, side 2 as it lies in '{setup['name']}': {where}"
    return words + (f"; not observable: {', '.join(hidden)}" if hidden else "")


def whatif_text(result: dict[str, Any]) -> str:
    """Return what the terminal shows."""
    stated, changed = result["stated"], result["changed"]
    lengths = lengths_of(stated)
    lines = [f"What if {result['change']}?", ""]
    heads = ("finding", "side", "as stated", "then", "limit", "")
    rows = [heads]
    for row in result["rows"]:
        severity = (row["changed"] or row["stated"])["severity"]
        rows.append(
            (
                row["kind"] + (f" [{row['zone']}]" if len(changed["zones"]) > 1 and row["zone"] else ""),
                "" if row["side"] is None else str(row["side"]),
                _measured(row["stated"], lengths),
                _measured(row["changed"], lengths),
                limits_told(row, lengths),
                severity,
            )
        )
    if len(rows) > 1:
        widths = [max(len(row[k]) for row in rows) for k in range(len(heads))]
        lines += [
            "  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in rows
        ]
        lines.append("")
    if all(row["stated"] == row["changed"] for row in result["rows"]):
        what = "no finding" if not result["rows"] else "none of these findings"
        lines += [f"With this change {what} differs from the job as stated.", ""]
    if result["measured_back"]:
        lines.append(f"note: {lengths.text(result['measured_back'])}")
    lines += [
        f"note: {lengths.text(remark)}" for remark in changed["remarks"] if remark not in stated["remarks"]
    ]
    lines.append("Not simulated: " + "; ".join(changed["not_simulated"]) + ".")
    lines.append(" ".join(changed["cautions"]))
    lines.append(f"As stated: {lengths.text(stated['verdict']['sentence'])}")
    lines.append(f"Then: {lengths.text(changed['verdict']['sentence'])}")
    return "\n".join(lines)


def _measured(finding: dict[str, Any] | None, lengths: Lengths) -> str:
    return "-" if finding is None else measured(finding, lengths) or finding["severity"]


def limits_told(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the limit as a bare number, as mm have it, or in inches; both where the change moves it."""
    told = []
    for finding in (row["stated"], row["changed"]):
        if finding is not None and finding["limit"] is not None:
            words = limit_of(finding, lengths) if lengths.is_inch else f"{finding['limit']:g}"
            told += [words] if words not in told else []
    return ", then ".join(told)
