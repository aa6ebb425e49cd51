"""spill: resin runs out of what it is poured into: below, over an edge, into what the other side opened."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.made import step_name
from simkit.stock.pour import BELOW, EDGE, UNDER, Opening, Poured
from simkit.units import area_words

MOST = 20  # openings of one pour that are told, the deepest first


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each opening through which resin runs out, and for dowel holes that it fills."""
    findings = []
    for number, one in evidence.steps_done():
        if not isinstance(one, Poured):
            continue
        name = step_name(evidence.job, number)
        for k, opening in enumerate(one.openings[:MOST]):
            left_out = len(one.openings) - MOST
            more = f"; and {left_out} openings more" if k == MOST - 1 and left_out > 0 else ""
            findings.append(
                Finding(
                    kind="spill",
                    severity="beyond",
                    message=f"the resin of the {name} runs out {_where(opening)}{more}",
                    advice=_ADVICE[opening.what],
                    value=opening.depth,
                    bound=one.lattice.cell,
                    measure="depth of the opening's lowest place below the resin",
                    side=one.step.side,
                    subject=f"step {number + 1}, {opening.what}",
                    **evidence.place_of(opening.at, None),
                    **evidence.job_line(f"steps[{number}].do"),
                )
            )
        findings += _filled_holes(evidence, number, one)
    return findings


_ADVICE = {
    BELOW: "Close it with tape or a dam from below and write closed = true, or pour inside an `outline`.",
    EDGE: "Dam the edge and write closed = true, pour less high, or end the hollow before the edge.",
    UNDER: "Tape does not lie on the blank there: pour before that is cut, or pour inside an `outline`.",
}


def _where(opening: Opening) -> str:
    if opening.what == BELOW:
        return f"through an opening of {area_words(opening.size)} in the blank"
    if opening.what == EDGE:
        return f"over the edge of the blank, {opening.size:.1f} mm wide and {opening.depth:.2f} mm deep there"
    return f"under the wood, into what the other side opened, along {area_words(opening.size)}"


def _filled_holes(evidence: Evidence, number: int, one: Poured) -> list[Finding]:
    """Return a finding for each dowel hole that resin fills before a setup that needs it."""
    if all(setup <= one.step.after for setup in (pin.setup for pin in evidence.pins)):
        return []
    found = []
    for hole in evidence.holes:
        if hole.how == "not made" or not one.is_filled[one.lattice.cell_at(*hole.at)]:
            continue
        found.append(
            Finding(
                kind="dowel-miss",
                severity="beyond",
                message=f"the {step_name(evidence.job, number)} fills the dowel hole '{hole.dowel.name}'",
                advice="Pour inside an `outline` that leaves the holes out, or drill them after the pour.",
                measure="whether its centre is filled",
                side=one.step.side,
                subject=f"{hole.dowel.name}, filled",
                **evidence.place_of((*hole.at, one.level), None),
                **evidence.job_line(f"steps[{number}].do"),
            )
        )
    return found
