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
    if is_bad(layup) or layup is None or is_bad(blank):
        return
    _run_rules(checker, layup, blank)
    if is_bad(layup["joined"], layup["boards"], layup["run"], blank["grain"]):
        return
    across = {"along x": "length", "along y": "width", "along z": "thickness"}[_joined(layup, blank)]
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


def _run_rules(checker: Checker, layup: dict[str, Any], blank: dict[str, Any]) -> None:
    """Check that the boards run as their fibres do, and lie side by side across that."""
    run, grain = layup["run"], blank["grain"]
    if is_bad(run, grain):
        return
    if run and grain and run != grain:
        checker.problem(
            "layup.run",
            f"boards that run {run}",
            f"boards that run as blank.grain says their fibres do, {grain}",
            "correct one of the two, or leave run out",
        )
        return
    run = _run(layup, blank)
    if not is_bad(layup["joined"]) and layup["joined"] == run:
        why = "" if layup["run"] or not grain else ", as blank.grain says"
        checker.problem(
            "layup.joined",
            f"boards side by side {run}, the direction of their length{why}",
            f'"{_beside(run)}" or "along z"',
            'say with run = "along x" or "along y" how the boards run, and with joined where the next one '
            "lies",
        )


def _run(layup: dict[str, Any], blank: dict[str, Any]) -> str:
    return layup["run"] or blank["grain"] or Layup.run


def _beside(run: str) -> str:
    return "along y" if run == "along x" else "along x"


def _joined(layup: dict[str, Any], blank: dict[str, Any]) -> str:
    return layup["joined"] or _beside(_run(layup, blank))


def made_layup(layup: dict[str, Any] | None, blank: dict[str, Any]) -> Layup | None:
    """Return the layup of checked tables, what is left out filled in; None where no boards are stated."""
    if not layup or not layup.get("boards"):
        return None
    return Layup(**{**layup, "run": _run(layup, blank), "joined": _joined(layup, blank)})


@dataclass(frozen=True, slots=True)
class Piece:
    """Boards to cut alike: how many; rough length, width and thickness, mm.

    beside mm: which of the last two lies along the direction in which they are joined.
    """

    count: int
    length: float
    width: float
    thickness: float
    beside: float


def glue_lines(layup: Layup) -> list[float]:
    """Return where the glue lines run in the blank, mm along the direction in which the boards lie."""
    return np.cumsum(layup.boards)[:-1].tolist()


def pieces(layup: Layup, blank: Blank) -> list[Piece]:
    """Return the boards to cut, with what jointing, planing and the ends take, alike ones together.

    Every face that is glued loses `jointing`, every outer face of the blank `planing`, each end `ends`.
    A board glued by its edges has its width along the direction it is joined in, one glued by its faces
    its thickness.
    """
    length = (blank.length if layup.run == "along x" else blank.width) + 2 * layup.ends
    across = layup.across(blank) + 2 * layup.planing
    counts: dict[tuple[float, bool], int] = {}
    for k, size in enumerate(layup.boards):
        outer = (k == 0) + (k == len(layup.boards) - 1)
        rough = size + outer * layup.planing + (2 - outer) * layup.jointing
        key = rough, layup.is_edge_to_edge(size, blank)
        counts[key] = counts.get(key, 0) + 1
    return [
        Piece(count, length, *((rough, across) if is_edge else (across, rough)), beside=rough)
        for (rough, is_edge), count in counts.items()
    ]


def sawn_from(piece: Piece, saw: float) -> float:
    """Return how wide a board must be to saw such pieces from it side by side, mm.  saw: its kerf, mm."""
    return piece.count * piece.beside + (piece.count - 1) * saw
