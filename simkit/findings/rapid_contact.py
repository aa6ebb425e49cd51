"""rapid-contact: a rapid that met wood standing at that moment."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

# A rapid that leaves the surface it has just cut touches it by rounding; float32 heights of 50 mm
# are good to 4e-6 mm, three decimals of a program to 1e-3 mm.
TOUCH = 0.01
MOST = 20  # one lost digit can make every later rapid plough; more than this tells nothing new


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each rapid that removed more than TOUCH mm, in the order they run."""
    findings = []
    for index, (met, one) in enumerate(zip(evidence.replays, evidence.rows, strict=True)):
        depth, place = met.depth, met.at
        hit = np.flatnonzero(evidence.moves.rapid[one] & (depth > TOUCH))
        for nth, local in enumerate(hit[:MOST]):
            row = evidence.rows[index].start + int(local)
            more = len(hit) - MOST if nth == MOST - 1 else 0
            others = f" (and {more} more rapids after it)" if more > 0 else ""
            findings.append(
                Finding(
                    kind="rapid-contact",
                    severity="safety",
                    message=f"a rapid ploughs {depth[local]:.2f} mm deep through standing wood{others}",
                    advice=(
                        "Raise this rapid above the wood, or make it a feed move if it is meant to cut; "
                        "look for a lost digit or sign in Z on this line and the lines before it."
                    ),
                    value=float(depth[local]),
                    # The greatest depth is read at cell centres; between them it can only be
                    # greater, by what a surface can rise over half a cell's diagonal at slope 1.
                    bound=float(evidence.field.lattice.cell * np.sqrt(0.5)),
                    limit=TOUCH,
                    measure="greatest depth of wood removed along the cutter's axis, at cell centres; "
                    "where wood stands steeper than 45 degrees it can be more between them",
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.place_of(place[local], index),
                    **evidence.source_of(row),
                )
            )
    return findings
