"""travel: a program asks for a place that the machine cannot reach."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.machine.room import AXES


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each end of an axis that a setup goes beyond, at the move that goes farthest."""
    findings = []
    for index, ends in enumerate(evidence.beyond_travel):
        for beyond in ends:
            worst, row = beyond.worst, int(beyond.rows[beyond.worst])
            end = "low" if beyond.side < 0 else "high"
            over = float(beyond.over[worst])
            more = evidence.run_words(beyond.rows, row)
            findings.append(
                Finding(
                    kind="travel",
                    severity="safety",
                    message=f"{AXES[beyond.axis]} goes {over:.2f} mm beyond the {end} end of travel{more}",
                    advice="Move the work on the table, or check the zero of this setup and machine_zero.",
                    value=over,
                    bound=0.0,
                    limit=0.0,
                    measure="farthest place of the tip beyond the end of the axis, machine coordinates",
                    subject=f"{AXES[beyond.axis]} {end}",
                    **evidence.place_of(evidence.frames[index].apply(beyond.at[worst]), index),
                    **evidence.source_of(row),
                )
            )
    return findings
