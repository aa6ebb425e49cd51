"""Resin and thicknessing on the sheet for the shop: how much, how deep, the size after each step."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.job.model import Job
from simkit.job.steps import POUR, SAW
from simkit.moves.table import join_moves
from simkit.report.steps_table import step_words
from simkit.stock.pour import Poured
from simkit.stock.steps import Done, steps_alone

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
                    "deepest": one.deepest,
                    "most_depth": step.most_depth,
                    "spills": len(one.openings) if is_pour else 0,
                    "size": [body.length, body.width, body.thickness],
                }
            )
    return rows


def _done(job: Job, reads) -> list[list[Done]]:
    moves = [join_moves([read.moves for _, read in one]) for one in reads]
    cell = max(FINEST, float(np.sqrt(job.blank.length * job.blank.width / CELLS)))
    return steps_alone(job, moves, cell)


def resin_lines(rows: list[dict[str, Any]]) -> list[str]:
    """Return how much resin to mix for all pours together."""
    pours = [row for row in rows if row["do"] == POUR]
    if not pours:
        return []
    volume, mass = (sum(row[name] for row in pours) for name in ("volume", "mass"))
    text = f"Resin: {volume:.2f} cm3 in {len(pours)} pour{'s' if len(pours) > 1 else ''}, {mass:.1f} g"
    return [f"{text}; nothing is added for what stays in the cup"]


def step_lines(row: dict[str, Any]) -> list[str]:
    """Return what a step needs and what to look at, as lines."""
    long, wide, thick = (f"{round(size, 2):g}" for size in row["size"])
    if row["do"] == SAW:
        return [
            f"takes      {row['volume']:.2f} cm3, the saw's own cut outside",
            f"then       the blank is {long} x {wide} x {thick} mm",
            "mark       write the arrow again at the left front corner, side 1 up, if it was sawn off",
            f"measure    [ ] {long} by {wide} mm, square, both diagonals alike",
        ]
    if row["do"] != POUR:
        again = "mark       write the arrow again at the left front corner, side 1 up: it goes with the face"
        return [
            *([again] if row["side"] == 1 else []),
            f"takes      up to {row['deepest']:.2f} mm, {row['volume']:.2f} cm3",
            f"then       the blank is {long} x {wide} x {thick} mm",
            f"measure    [ ] {thick} mm at all four corners, and flat",
        ]
    most = "" if row["most_depth"] is None else f" (at most {row['most_depth']:g})"
    volume = f"{row['volume']:.2f} ±{row['bound']:.2f} cm3"
    lines = [
        f"resin      {volume}, {row['mass']:.1f} g at {row['density']:g} kg/m3",
        f"deepest    {row['deepest']:.1f} mm{most}",
        f"then       the blank is still {long} x {wide} x {thick} mm between its faces",
        "measure    [ ] the blank lies level, hollows clean and dry",
    ]
    if row["spills"]:
        lines.insert(0, f"RUNS OUT   through {row['spills']} openings: run simkit check before you mix any")
    return lines
