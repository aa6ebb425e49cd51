"""What accepted findings of a job must say: which one, how large, and why."""

from __future__ import annotations

from typing import Any

from simkit.errors import nearest_word
from simkit.job.check import Checker, is_bad, shown
from simkit.job.model import Accepted
from simkit.job.zones import box_corners, box_problem
from simkit.kinds import KINDS, SAFETY_KINDS


def accepted_rules(checker: Checker, accepted: Any) -> None:
    """Check accepted findings: each names one, none is about safety, none is accepted twice."""
    seen: set[str] = set()
    for index, entry in enumerate(accepted or ()):
        if is_bad(entry):
            continue
        path = f"accepted[{index}]"
        kind, box, name = entry["kind"], entry["box"], entry["id"]
        if not is_bad(kind) and kind:
            _kind(checker, kind, f"{path}.kind")
        if not is_bad(box) and box is not None:
            box_problem(checker, box, f"{path}.box")
        if not is_bad(kind, box, name) and not name and (not kind or box is None):
            checker.problem(
                path,
                "no id, and not both kind and box",
                "an id, or a kind and a box",
                "paste the lines that --accept prints",
            )
        if not is_bad(entry["moves"], box) and entry["moves"] and box is None:
            checker.problem(
                f"{path}.moves",
                "a fingerprint of moves without a box",
                "the box in which they cut",
                "paste the lines that --accept prints",
            )
        if not is_bad(name) and name in seen:
            checker.problem(f"{path}.id", f"{shown(name)} again", "each finding once", "take one out")
        if not is_bad(name) and name:
            seen.add(name)


def _kind(checker: Checker, kind: str, path: str) -> None:
    if kind in SAFETY_KINDS:
        checker.problem(
            path,
            f"{shown(kind)}, a safety finding",
            "a kind that can be accepted",
            "take the entry out and put the cause right: contacts, travel, loose pieces and wrong turns are"
            " always told",
        )
    elif kind not in KINDS:
        near = nearest_word(kind.lower(), [each for each in KINDS if each not in SAFETY_KINDS])
        remedy = f"write '{near}'" if near else "copy it from the finding"
        checker.problem(path, shown(kind), "the kind of a finding", remedy)


def made_accepted(values: dict[str, Any]) -> Accepted:
    """Return the accepted finding of checked values."""
    box = None if values["box"] is None else box_corners(values["box"])
    return Accepted(**{**values, "box": box})
