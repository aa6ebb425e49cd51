"""Two results side by side: the job as it is stated, and with a change."""

from __future__ import annotations

from typing import Any

from simkit.report.console import measured_text

VERSION = 1


def whatif_result(change: str, stated: dict[str, Any], changed: dict[str, Any]) -> dict[str, Any]:
    """Return both results and what differs, as plain data.  change: in words."""
    return {
        "form": "simkit whatif",
        "version": VERSION,
        "change": change,
        "rows": whatif_rows(stated, changed),
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
            if key not in mine or (finding["value"] or 0.0) > (mine[key]["value"] or 0.0):
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


def _short(finding: dict[str, Any] | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    return {name: finding[name] for name in ("value", "bound", "unit", "severity", "message", "id")}


def whatif_text(result: dict[str, Any]) -> str:
    """Return what the terminal shows."""
    stated, changed = result["stated"], result["changed"]
    lines = [f"What if {result['change']}?", ""]
    heads = ("finding", "side", "as stated", "then", "limit", "")
    rows = [heads]
    for row in result["rows"]:
        severity = (row["changed"] or row["stated"])["severity"]
        rows.append(
            (
                row["kind"] + (f" [{row['zone']}]" if len(changed["zones"]) > 1 and row["zone"] else ""),
                "" if row["side"] is None else str(row["side"]),
                _measured(row["stated"]),
                _measured(row["changed"]),
                "" if row["limit"] is None else f"{row['limit']:g}",
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
    lines += [f"note: {remark}" for remark in changed["remarks"] if remark not in stated["remarks"]]
    lines.append("Not simulated: " + "; ".join(changed["not_simulated"]) + ".")
    lines.append(" ".join(changed["cautions"]))
    lines.append(f"As stated: {stated['verdict']['sentence']}")
    lines.append(f"Then: {changed['verdict']['sentence']}")
    return "\n".join(lines)


def _measured(finding: dict[str, Any] | None) -> str:
    if finding is None:
        return "-"
    return measured_text(finding) or finding["severity"]
