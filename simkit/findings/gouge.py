"""gouge: material removed inside the target."""

from __future__ import annotations

from simkit.findings import break_through, made, shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.link_words import link_words
from simkit.units import area_words

MEASURE = "the larger of the distances cut to target and target to cut, to the surface it entered through"

STEEP = 1.2  # where the depth along the axis is so many times the depth, it is told as well


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected spot cut deeper into the part than the limit."""
    findings = []
    for side, deviation in evidence.deviations.items():
        told, lesser = shape.looked_spots(evidence, side, is_gouge=True, mask=~evidence.break_through.mask)
        for nth, one in enumerate(told):
            more = shape.lesser_words(lesser) if nth == len(told) - 1 else ""
            if break_through.is_narrow(evidence, one):
                findings.append(break_through.narrow(evidence, one, more))
                continue
            deep, along = abs(one.look.value), -float(deviation.vertical[one.spot.cell])
            told_of = made.gouge_words(evidence, one)
            message, advice = told_of or (
                f"cut {deep:.2f} mm into the part over {area_words(one.spot.area)}"
                f"{_along_words(deep, along)}",
                "Check the zero and the depth in this setup first; if the rest of this side is "
                "right, correct the pass on this line, or keep this cutter out of the place.",
            )
            linked = None if told_of else link_words(evidence, one)
            if linked is not None:
                message, advice = message + linked[0], linked[1]
            fields = shape.common_fields(evidence, one, MEASURE) | made.source_fields(evidence, one)
            findings.append(Finding(kind="gouge", message=message + more, advice=advice, **fields))
    return findings


def _along_words(deep: float, along: float) -> str:
    """Return how deep it is along the cutter's axis, mm, in words: at a steep place that is much more."""
    return f" ({along:.2f} mm along the cutter's axis)" if along > STEEP * deep else ""
