"""shank-contact and holder-contact: neck, shank or holder met wood that stood at that moment."""

from __future__ import annotations

import math

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.stock.replay import CLEAR

TOUCH = 0.02  # mm: twice what a part counts narrower, so that a slope of 2 makes no contact
KINDS = {"neck": "shank-contact", "shank": "shank-contact", "holder": "holder-contact"}
MEASURE = "greatest height of standing wood over the lowest place of that part, at cell centres"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each program, cutter and part that met wood, at the move that went deepest."""
    findings = []
    for index, (met, one) in enumerate(zip(evidence.replays, evidence.rows, strict=True)):
        for part, depth in met.rub_depth.items():
            hit = one.start + np.flatnonzero(depth > TOUCH)
            keys = np.column_stack([evidence.moves.program[hit], evidence.moves.tool[hit]])
            for key in np.unique(keys, axis=0):
                rows = hit[(keys == key).all(axis=1)]
                findings.append(_finding(evidence, index, part, rows))
    return findings


def _finding(evidence: Evidence, index: int, part: str, rows: np.ndarray) -> Finding:
    met, start = evidence.replays[index], evidence.rows[index].start
    depth = met.rub_depth[part][rows - start]
    worst = int(np.argmax(depth))
    row, cutter = int(rows[worst]), evidence.cutter_of(int(rows[worst]))
    # Between cell centres wood may stand higher, by what a surface rises over half a diagonal at slope 1.
    bound = float(evidence.field.lattice.cell * np.sqrt(0.5) + CLEAR)
    return Finding(
        kind=KINDS[part],
        severity="safety",
        message=(
            f"the {part} of {cutter} goes {depth[worst]:.2f} mm into wood that still stands"
            f"{evidence.run_words(rows, row)}"
        ),
        advice=_advice(cutter, part, float(depth[worst]), bound, evidence.job.machine.clearance),
        value=float(depth[worst]),
        bound=bound,
        limit=TOUCH,
        measure=MEASURE,
        side=1 if evidence.frames[index].up > 0 else 2,
        **evidence.place_of(met.rub_at[part][row - start], index),
        **evidence.source_of(row),
    )


def _advice(cutter, part: str, depth: float, bound: float, clearance: float) -> str:
    """Return what to do; lengths in mm.  A clearance covers the bound, edges have none: it counts."""
    if part == "holder":
        needed = cutter.stick_out + depth + max(clearance, bound)
        return (
            f"Let the cutter stick out {needed:.1f} mm or more instead of {cutter.stick_out:g} mm, which "
            f"keeps the holder {clearance:g} mm above the wood, or take a longer one."
        )
    reach = math.ceil((cutter.cutting_length + depth + bound) * 10) / 10
    return (
        f"Take a cutter with edges at least {reach:.1f} mm long (this one has {cutter.cutting_length:g} mm), "
        "or cut away first what stands above them: wider, or in more steps."
    )
