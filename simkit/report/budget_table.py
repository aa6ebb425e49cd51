"""How much error of the second side a job bears, as plain data."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.budget.budget import Budget
from simkit.budget.chance import verdict
from simkit.budget.motion import motion_of
from simkit.budget.region import FAR, plan_ways
from simkit.budget.rows import GOUGE, KINDS, LEFTOVER, STEP, TABLE
from simkit.target.sharp import MOST_TRIANGLES

NOTE = (
    "each place that could break a limit is moved in thought, bit by bit, and cut again where one breaks; "
    "misses of dowels do not count. The stated errors are taken to have nothing to do with each other: one "
    "is seldom at its worst when the others are, so together they make less than their sum (added as in the "
    "GUM, JCGM 100:2008, from memory; an error anywhere up to a counts as a/sqrt(3)). Dowels let the blank "
    "shift and turn together no farther than each hole can lie off its pin, every such place as likely"
)
NO_CORNERS = f"; sharp corners are left out, the mesh has more than {MOST_TRIANGLES:,} triangles"
_WORDS = {
    GOUGE: "cut too deep",
    LEFTOVER: "left standing",
    STEP: "step where the two sides meet",
    TABLE: "cutter deeper than the table or its spoilboard allows",
}


def budget_remarks(evidence) -> list[str]:
    """Return what a person should know of errors that the job states and no second side bears, in words."""
    job = evidence.job
    if job.budget is None or motion_of(job, evidence.frames) is not None:
        return []
    return ["[budget] is not judged: no side is cut after the blank was turned over"]


def budget_table(evidence) -> dict[str, Any] | None:
    """Return the budget of a check: region, what binds, contributions and chance; None without one."""
    budget: Budget | None = evidence.budget
    if budget is None:
        return None
    binds = _Binds(evidence, budget)
    is_told = budget.beyond < 0
    return {
        "side": budget.motion.side,
        "setup": evidence.job.setups[budget.motion.setup].name,
        "beyond": None if is_told else binds.of(budget.beyond),
        "axes": _axes(budget, binds) if is_told else [],
        "plan": _plan(budget, binds) if is_told else [],
        "bound": budget.off,
        "contributions": _contributions(budget),
        "left_out": budget.left_out,
        "chance": _chance(budget, binds),
        "binds": binds.rows,
        "note": NOTE + (NO_CORNERS if len(evidence.target.triangles) > MOST_TRIANGLES else ""),
    }


class _Binds:
    """Numbers the places that bind, each once, and says what they are in words."""

    def __init__(self, evidence, budget: Budget):
        self._evidence, self._budget = evidence, budget
        self._numbers: dict[tuple, int] = {}
        self.rows: list[dict[str, Any]] = []
        self._now = budget.rows.now

    def of(self, row: int) -> int | None:
        """Return the number of the place of a row, from 0; None for none."""
        if row < 0:
            return None
        rows, motion = self._budget.rows, self._budget.motion
        kind, side = int(rows.kind[row]), int(rows.side[row])
        at = rows.at[row]
        key = (kind, side, *np.round(at[:2] / 5).astype(int).tolist())
        if key not in self._numbers:
            self._numbers[key] = len(self.rows)
            x, y, _ = motion.lie.inverse().apply(at)
            what = _WORDS.get(kind, "wall too thin")
            of = f" on side {side}" if kind in (GOUGE, LEFTOVER) else ""
            of = f" with side {side} up" if kind == TABLE else of
            self.rows.append(
                {
                    "kind": KINDS[kind],
                    "side": side,
                    "at": at.tolist(),
                    "value": abs(float(self._now[row]))
                    if kind not in (GOUGE, LEFTOVER, TABLE)
                    else float(self._now[row]),
                    "limit": abs(float(rows.limit[row])),
                    "words": f"{what}{of}, {x:.0f} mm from the left, {y:.0f} mm from the front",
                }
            )
        return self._numbers[key]


def _axes(budget: Budget, binds: _Binds) -> list[dict[str, Any]]:
    axes, motion = [], budget.motion
    for k, (name, unit, step) in enumerate(motion.names):
        row: dict[str, Any] = {"name": name, "unit": unit}
        if step is not None:
            row["step"] = step + 1
        for word, nth, sign in (("low", 2 * k, -1.0), ("high", 2 * k + 1, 1.0)):
            is_bound = budget.axes.row[nth] >= 0
            # Told without a limit that breaks: there a step takes nothing off any more.
            is_end = is_bound or (k >= 4 and budget.far[nth] < FAR[-1])
            row[word] = sign * float(budget.axes.far[nth]) if is_end else None
            row[f"{word}_binds"] = binds.of(int(budget.axes.row[nth]))
        axes.append(row)
    return axes


def _plan(budget: Budget, binds: _Binds) -> list[dict[str, Any]]:
    """Return the corners of the region of shifts, without a turn, counter-clockwise from the right."""
    ways = plan_ways(count=len(budget.plan.far))
    return [
        {"shift": (far * way[:2]).tolist(), "binds": binds.of(int(row)) if far < FAR[0] else None}
        for far, way, row in zip(budget.plan.far, ways, budget.plan.row, strict=True)
    ]


def _contributions(budget: Budget) -> list[dict[str, Any]]:
    found = budget.chance
    shares, without = (found.shares, found.without) if found else ([], [])
    return [
        {
            "key": part.key,
            "words": part.words,
            "size": part.size,
            "unit": part.unit,
            "shape": part.shape,
            "standard": part.standard,
            "share": float(share),
            "holds_without": float(holds),
        }
        for part, share, holds in zip(budget.parts, shares, without, strict=True)
    ]


def _chance(budget: Budget, binds: _Binds) -> dict[str, Any] | None:
    found = budget.chance
    if found is None:
        return None
    return {
        "verdict": verdict(found),
        "holds": found.holds,
        "bound": found.bound,
        "breaks_first": binds.of(found.nearest),
        "work_on": budget.parts[found.work_on].together if found.work_on >= 0 else None,
        "holds_without": found.holds_without if found.work_on >= 0 else None,
    }
