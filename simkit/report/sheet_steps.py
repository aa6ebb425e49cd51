"""Resin and thicknessing on the sheet for the shop: how much, how deep, the size after each step."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.job.model import Job
from simkit.job.steps import POUR, SAW
from simkit.moves.table import join_moves
from simkit.report.lengths import Lengths
from simkit.report.steps_table import step_words
from simkit.stock.pour import Poured
from simkit.stock.steps import Done, steps_alone
from simkit.units import MM_PER_INCH

CELLS = 250_000  # over the blank: what is poured is then known to a few percent
FINEST = 0.2  # mm


def sheet_steps(job: Job, reads, done: list[list[Done]] | None) -> list[dict[str, Any]]:
    """Return a row for each step of a job, in order: mm, cm3, g.

    done: as the steps were done on the cells of a check; None: the programs are cut here, on CELLS cells.
    `after`: number of the setup, from 1.
    """
    done = _done(job, reads) if done is None else done
    rows = []
    for setup in range(len(job.setups)):
        for (number, step), one in zip(job.steps_after(setup), done[setup], strict=True):
            body = job.body(number + 1)
            is_pour = isinstance(one, Poured)
            rows.append(
                {
                    "number": number + 1,
                    "after": setup + 1,
                    "do": step.do,
                    "side": step.side,
                    "words": step_words(step),
                    "volume": one.volume / 1000,
                    "bound": one.bound / 1000,
                    "mass": one.mass if is_pour else None,
                    "density": step.density if is_pour else None,
                    "is_assumed": is_pour and f"steps[{number}].density" not in job.lines,
                    "deepest": one.deepest,
                    "most_depth": step.most_depth,
                    "spills": len(one.openings) if is_pour else 0,
                    "size": [body.length, body.width, body.thickness],
                    "outline": _outline(job, setup, step),
                }
            )
    return rows


def _outline(job: Job, setup: int, step) -> dict[str, Any] | None:
    """Return the corners of a pour's outline, mm from the left front corner, and how the blank lies to them.

    As it lay in the setup before where the side to pour lay up there, else with side 1 up.  None without one.
    """
    if step.outline is None:
        return None
    corners = np.column_stack([np.array(step.outline, float), np.zeros(len(step.outline))])
    one = job.setups[setup]
    as_it_lies = one.side_up == step.side
    if as_it_lies:
        corners = one.lie(job.blank).inverse().apply(corners)
    return {"corners": corners[:, :2].tolist(), "as_it_lies": as_it_lies}


def _done(job: Job, reads) -> list[list[Done]]:
    moves = [join_moves([read.moves for _, read in one]) for one in reads]
    cell = max(FINEST, float(np.sqrt(job.blank.length * job.blank.width / CELLS)))
    return steps_alone(job, moves, cell)


def resin_lines(rows: list[dict[str, Any]], lengths: Lengths) -> list[str]:
    """Return how much resin to mix for all pours together."""
    pours = [row for row in rows if row["do"] == POUR]
    if not pours:
        return []
    volume, mass = (sum(row[name] for row in pours) for name in ("volume", "mass"))
    text = (
        f"Resin: {_volume(volume, lengths)} in {len(pours)} pour{'s' if len(pours) > 1 else ''}, {mass:.1f} g"
    )
    return [f"{text}; nothing is added for what stays in the cup"]


def _volume(cm3: float, lengths: Lengths) -> str:
    return f"{cm3 * 1000 / MM_PER_INCH**3:.2f} in3" if lengths.is_inch else f"{cm3:.2f} cm3"


def step_lines(row: dict[str, Any], lengths: Lengths) -> list[str]:
    """Return what a step needs and what to look at, as lines."""
    box, thick = lengths.sizes(*row["size"], by="x"), lengths.sizes(row["size"][2])
    volume = f"{_volume(row['volume'], lengths).split()[0]} ±{_volume(row['bound'], lengths)}"
    if row["do"] == SAW:
        return [
            f"takes      {volume}, the saw's own cut outside",
            f"then       the blank is {box}",
            "mark       write the arrow again at the left front corner, side 1 up, if it was sawn off",
            f"measure    [ ] {lengths.sizes(*row['size'][:2], by='by')}, square, both diagonals alike",
        ]
    if row["do"] != POUR:
        again = "mark       write the arrow again at the left front corner, side 1 up: it goes with the face"
        return [
            *([again] if row["side"] == 1 else []),
            f"takes      up to {lengths.value(row['deepest'])}, {volume}",
            f"then       the blank is {box}",
            f"measure    [ ] {thick} at all four corners, and flat",
        ]
    most = "" if row["most_depth"] is None else f" (at most {lengths.size(row['most_depth'])})"
    deepest = row["deepest"] if lengths.is_inch else round(row["deepest"], 1)
    source = " (not stated, so common practice, no source)" if row.get("is_assumed") else ""
    lines = [
        f"resin      {volume}, {row['mass']:.1f} g at {row['density']:g} kg/m3{source}",
        f"deepest    {lengths.sizes(deepest)}{most}",
        f"then       the blank is still {box} between its faces",
        "measure    [ ] the blank lies level, hollows clean and dry",
    ]
    if row.get("outline"):
        lies = "as it lies now" if row["outline"]["as_it_lies"] else "as it lies with side 1 up"
        corners = [f"X{lengths.size(x)} Y{lengths.size(y)}" for x, y in row["outline"]["corners"]]
        lines.insert(0, "outline    fill what reaches into the corners " + ", ".join(corners))
        lines.insert(1, f"           right and back of the left front corner of the blank, {lies}")
    if row["spills"]:
        lines.insert(0, f"RUNS OUT   through {row['spills']} openings: run simkit check before you mix any")
    return lines
