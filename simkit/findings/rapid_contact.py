"""rapid-contact: a rapid that met wood standing at that moment."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.machine.room import TOUCH
from simkit.machine.stops import END

# A rapid that leaves the surface it has just cut touches it by rounding; float32 heights of 50 mm
# are good to 4e-6 mm, three decimals of a program to 1e-3 mm: less than TOUCH is no contact.
MOST = 20  # one lost digit can make every later rapid plough; more than this tells nothing new
AT_CELLS = (
    "greatest depth of wood removed along the cutter's axis, at cell centres; where wood stands steeper than "
    "45 degrees it can be more between them"
)
AT_POINTS = "depth of wood met along the cutter's axis, exact there; beside it, it can be more"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each rapid that met more than TOUCH mm, in the order they run."""
    findings = []
    cell = evidence.field.lattice.cell
    for index, (met, one) in enumerate(zip(evidence.replays, evidence.rows, strict=True)):
        hit = np.flatnonzero(evidence.moves.rapid[one] & (met.depth > TOUCH))
        # The greatest depth is read at cell centres; between them it can only be greater, by what a
        # surface can rise over half a cell's diagonal at slope 1.
        told = [
            (one.start + int(local), float(met.depth[local]), met.at[local], AT_CELLS, cell * np.sqrt(0.5))
            for local in hit
        ]
        told += [
            (graze.row, graze.depth, graze.at, AT_POINTS, 0.5 * cell * np.sqrt(0.5))
            for graze in evidence.grazes[index]
        ]
        told.sort(key=lambda contact: contact[0])
        for nth, (row, depth, at, measure, bound) in enumerate(told[:MOST]):
            more = len(told) - MOST if nth == MOST - 1 else 0
            others = f" (and {more} more rapids after it)" if more > 0 else ""
            verb = "ploughs" if measure == AT_CELLS else "grazes what stands beside or under it,"
            findings.append(
                Finding(
                    kind="rapid-contact",
                    severity="safety",
                    message=f"a rapid {verb} {depth:.2f} mm deep through standing wood{others}",
                    advice=(
                        "Raise this rapid above the wood, or make it a feed move if it is meant to cut; "
                        "look for a lost digit or sign in Z on this line and the lines before it."
                    ),
                    value=depth,
                    bound=float(bound),
                    limit=TOUCH,
                    measure=measure,
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.place_of(at, index),
                    **evidence.source_of(row),
                )
            )
        findings += _first_ways(evidence, index)
    return findings


def _first_ways(evidence: Evidence, index: int) -> list[Finding]:
    """Return one finding for each program that starts low where the one before it ended."""
    findings = []
    ends = {stop.row for stop in evidence.stops[index] if stop.what == END}
    for way in evidence.first_ways[index]:
        graze = way.graze
        if graze.row - 1 in ends:
            continue  # that end is told as it is
        source = evidence.source_of(graze.row) | {"line": way.line}
        findings.append(
            Finding(
                kind="rapid-contact",
                severity="safety",
                message=(
                    f"'{way.ended}' ends low, and the first rapid from there ploughs {graze.depth:.2f} mm "
                    "deep through standing wood"
                ),
                advice=(
                    f"Begin this program with a rapid to a safe height, and end '{way.ended}' with one; "
                    "only then go to X and Y."
                ),
                value=graze.depth,
                bound=float(0.5 * evidence.field.lattice.cell * np.sqrt(0.5)),
                limit=TOUCH,
                measure=AT_POINTS,
                side=1 if evidence.frames[index].up > 0 else 2,
                **evidence.place_of(graze.at, index),
                **source,
            )
        )
    return findings
