"""Two results side by side: the job as it is stated, and with a change."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.compare.measured_back import MeasuredBack, measured_back
from simkit.compare.seam_fit import ShiftFit
from simkit.findings.finding import WORST
from simkit.kinds import LESS_IS_WORSE
from simkit.report.lengths import Lengths, lengths_of, limit_of, measured

VERSION = 1


def whatif_result(change: str, stated: dict[str, Any], changed: dict[str, Any]) -> dict[str, Any]:
    """Return both results and what differs, as plain data.  change: in words."""
    lie = seam_lie(changed)
    return {
        "form": "simkit whatif",
        "version": VERSION,
        "change": change,
        "rows": whatif_rows(stated, changed),
        "follows": supposed_cause(change, changed),
        "measured_back": seam_words(lie),
        "side_2_lies": lie_row(lie),
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


def seam_lie(result: dict[str, Any]) -> MeasuredBack | None:
    """Return how side 2 lies against side 1 as the seam shows it and its operator sees it.

    None without a seam or a setup that lies turned over.
    """
    setup = next((one for one in result["setups"] if one["turn"] != "none"), None)
    seam = result["seam"]
    if setup is None or seam is None or seam["worst"] is None:
        return None
    fit, blank = seam["side_1_against_side_2"], result["blank"]
    bound = tuple(np.inf if one is None else one for one in fit["bound"])
    seen = np.array(fit["is_observable"])
    made = ShiftFit(*fit["shift"], fit["turn_degrees"], tuple(fit["about"]), seen, fit["rms"], bound)
    size = (blank["length"], blank["width"], blank["thickness"])
    return measured_back(made, setup["name"], setup["turn"], setup["swing"], size)


def seam_words(lie: MeasuredBack | None) -> str:
    """Return how side 2 lies against side 1 in words; "" without a seam."""
    if lie is None:
        return ""
    if not lie.words:
        return f"the seam does not show how side 2 lies in '{lie.setup}'"
    return f"measured back from the seam, side 2 as it lies in '{lie.setup}': {lie.words}"


def lie_row(lie: MeasuredBack | None) -> dict[str, Any] | None:
    """Return the same as plain data: what is not observable is None."""
    if lie is None:
        return None

    def told(values):
        return [round(v, 4) + 0.0 if seen else None for v, seen in zip(values, lie.is_seen, strict=True)]

    (right, back, degrees), (right_bound, back_bound, turn_bound) = (
        told((lie.right, lie.back, lie.degrees)), told(lie.bound)
    )  # fmt: skip
    return {
        "setup": lie.setup, "right": right, "right_bound": right_bound, "back": back,
        "back_bound": back_bound, "turn_degrees": degrees, "turn_bound": turn_bound,
    }  # fmt: skip


def supposed_cause(change: str, changed: dict[str, Any]) -> dict[str, Any] | None:
    """Return the cause in a changed result that the change is: number, words, what follows; or None."""
    for cause in changed["causes"]:
        message, worst, _ = cause["message"].partition(WORST)
        if worst and message.startswith(change):
            kinds = [changed["findings"][k - 1]["kind"] for k in cause["findings"]]
            counts = {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}
            return {"cause": cause["number"], "message": message, "fix": cause["advice"], "kinds": counts}
    return None


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
    if result["follows"]:
        follows = result["follows"]
        counts = ", ".join(f"{count} {kind}" for kind, count in follows["kinds"].items())
        lines += [
            f"Of this change: {lengths.text(follows['message'])}.",
            f"  fix: {lengths.text(follows['fix'])}",
            f"  under it: {counts}",
            "",
        ]
    elif result["measured_back"]:
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
            words = limit_of(finding, lengths)
            words = words if lengths.is_inch else words.removesuffix(f" {finding['unit']}")
            told += [words] if words not in told else []
    return ", then ".join(told)
