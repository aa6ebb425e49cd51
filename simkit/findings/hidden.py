"""hidden: target surface that neither side can see, and that no three-axis cut can make."""

from __future__ import annotations

from simkit.compare.spots import hidden
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.units import area_words


def find(evidence: Evidence) -> list[Finding]:
    """Return one warning for each connected spot of the target hidden from both sides."""
    if evidence.target is None:
        return []
    findings = []
    found = hidden(evidence.envelopes)
    for nth, spot in enumerate(found[: shape.MOST]):
        lesser = found[shape.MOST :] if nth == shape.MOST - 1 else []
        z = float(evidence.envelopes.upper[spot.cell] + evidence.envelopes.lower[spot.cell]) / 2
        findings.append(
            Finding(
                kind="hidden",
                severity="warning",
                message=(
                    f"the part is hollow or undercut by {spot.value:.2f} mm under "
                    f"{area_words(spot.area)} where neither side can see it{shape.lesser_words(lesser)}"
                ),
                advice=(
                    "No cut from these two sides can make it; it is not counted as leftover. Cut it by "
                    "other means or change the part."
                ),
                value=spot.value,
                bound=1e-4,
                measure="length of the column that is not part, between its two outer surfaces",
                **shape.spot_fields(spot, evidence.field.lattice),
                **evidence.place_of((*spot.at, z), None),
            )
        )
    return findings
