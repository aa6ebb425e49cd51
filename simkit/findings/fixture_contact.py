"""fixture-contact: cutter, shank or holder comes too near a clamp, a stop, a dowel pin or the jig."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.machine.jig import JIG
from simkit.machine.pins import PIN

MEASURE = "greatest depth below the top of the fixture, the clearance included, along the axis"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each fixture and part of a cutter, at the move that goes deepest."""
    findings = []
    blank = evidence.job.blank
    for index, contacts in enumerate(evidence.fixture_contacts):
        back = evidence.frames[index].after(evidence.job.setups[index].to_table(blank).inverse())
        for one in contacts:
            rapid = "a rapid" if evidence.moves.rapid[one.row] else "a feed move"
            cutter = evidence.cutter_of(one.row)
            findings.append(
                Finding(
                    kind="fixture-contact",
                    severity="safety",
                    message=(
                        f"{rapid} takes the {one.part} of {cutter} {one.depth:.2f} mm deep into "
                        f"'{one.fixture}'{_clear(one.clearance)}"
                        f"{evidence.run_words(one.rows, one.row)}"
                    ),
                    advice=(
                        f"{_make_room(one.fixture)}, or lead the program round or over it; "
                        f"{'nothing may come so near' if one.clearance else 'nothing may cut into it'}."
                    ),
                    value=one.depth,
                    bound=evidence.field.lattice.cell * np.sqrt(2.0),
                    limit=0.0,
                    measure=MEASURE,
                    subject=one.fixture,
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.place_of(back.apply(one.at), index),
                    **evidence.source_of(one.row),
                )
            )
    return findings


def _clear(clearance: float) -> str:
    return f", counting the {clearance:g} mm that must stay clear round it" if clearance else ""


def _make_room(fixture: str) -> str:
    if fixture.startswith(JIG):
        return f"Make '{fixture.removeprefix(JIG)}' lower or wider there, and check its job anew"
    if fixture.startswith(PIN):
        return f"Take a shorter pin for '{fixture.removeprefix(PIN)}'"
    return f"Move '{fixture}' out of the way"
