"""What the holding of a job must be: one outline each, and setups that exist."""

from __future__ import annotations

from typing import Any

from simkit.job.check import Checker, is_bad
from simkit.job.machine import setup_names
from simkit.job.model import FROM_BELOW
from simkit.job.zones import box_problem, outline_problem


def holding_rules(checker: Checker, holding: Any, setups: Any) -> None:
    """Check what keeps the wood in place.  holding, setups: checked tables."""
    if holding is None or is_bad(holding):
        return
    for index, one in enumerate(holding):
        if is_bad(one):
            continue
        path = f"holding[{index}]"
        setup_names(checker, one["setups"], setups, path)
        kind, grip = one["kind"], one["grip"]
        if not is_bad(kind, grip) and grip is not None and kind not in FROM_BELOW:
            checker.problem(
                f"{path}.grip",
                f"a grip for each square millimetre of a {kind}",
                "one for tape or vacuum alone",
                "take it out",
            )
        box, outline, at, diameter = (one[key] for key in ("box", "outline", "at", "diameter"))
        if is_bad(box, outline, at, diameter):
            continue
        is_round = at is not None or diameter is not None
        stated = (box is not None) + (outline is not None) + is_round
        if stated != 1:
            found = "no place" if not stated else "several places"
            checker.problem(
                path,
                f"{found} that it holds",
                "one of box, outline, or at and diameter",
                "say where it holds" if not stated else "write an entry of its own for each",
            )
        elif box is not None:
            box_problem(checker, box, f"{path}.box")
        elif outline is not None:
            outline_problem(checker, outline, f"{path}.outline", "two entries")
        elif at is None or diameter is None:
            missing = "at" if at is None else "diameter"
            checker.problem(
                path, f"something round without '{missing}'", "at and diameter", f"add {missing} = ..."
            )
