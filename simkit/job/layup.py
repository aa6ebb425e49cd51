"""The boards that a blank is glued up from: what they must be, and what follows from them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.job.check import Checker, is_bad
from simkit.job.model import Blank, Layup

MISFIT = 0.5  # mm by which the boards together may differ from the blank


def layup_rules(checker: Checker, layup: dict[str, Any] | None, blank: dict[str, Any], stated: Any) -> None:
    """Check that there are boards and that together they make the blank.

    layup, blank: checked tables.  stated: the layup as it is in the file; one that is empty, as in the
    template, says nothing of the blank yet.
    """
    if is_bad(layup) or layup is None or is_bad(blank) or is_bad(layup["joined"], layup["boards"]):
        return
    across = "width" if layup["joined"] == "along y" else "thickness"
    if layup["boards"] is None:
        if stated:
            checker.problem(
                "layup",
                "a layup without 'boards'",
                "the thickness of each board, which is what says where glue lines run",
                "add boards = [...], or leave [layup] out",
            )
        return
    if is_bad(blank[across], *layup["boards"]):
        return
    total = sum(layup["boards"])
    if abs(total - blank[across]) > MISFIT:
        checker.problem(
            "layup.boards",
            f"boards that make {total:g} mm together",
            f"boards that make the {across} of the blank, {blank[across]:g} mm",
            "correct their thickness or number, counted as they are in the blank that is ready to cut",
        )


@dataclass(frozen=True, slots=True)
class Piece:
    """Boards to cut alike: how many; rough length, width and thickness, mm."""

    count: int
    length: float
    width: float
    thickness: float


def glue_lines(layup: Layup) -> list[float]:
    """Return where the glue lines run in the blank, mm along the direction in which the boards lie."""
    return np.cumsum(layup.boards)[:-1].tolist()


def pieces(layup: Layup, blank: Blank) -> list[Piece]:
    """Return the boards to cut, with what jointing, planing and the ends take, alike ones together.

    Every face that is glued loses `jointing`, every outer face of the blank `planing`, each end `ends`.
    """
    across = blank.thickness if layup.joined == "along y" else blank.width
    length, width = blank.length + 2 * layup.ends, across + 2 * layup.planing
    counts: dict[float, int] = {}
    for k, thickness in enumerate(layup.boards):
        outer = (k == 0) + (k == len(layup.boards) - 1)
        thick = thickness + outer * layup.planing + (2 - outer) * layup.jointing
        counts[thick] = counts.get(thick, 0) + 1
    return [Piece(count, length, width, thick) for thick, count in counts.items()]


def sawn_from(piece: Piece, saw: float) -> float:
    """Return how wide a board must be to saw such pieces from it side by side, mm.  saw: its kerf, mm."""
    return piece.count * piece.thickness + (piece.count - 1) * saw
