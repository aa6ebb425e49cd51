"""program: what the reader of the programs warned of."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding


def find(evidence: Evidence) -> list[Finding]:
    """Return each notice of the reader as a warning; it does not fail the check.

    What only says that the job was followed is a remark of the evidence instead.
    """
    return [
        Finding(
            kind="program",
            severity="warning",
            message=notice.text,
            subject=f"{notice.place.file}: {notice.text}",
            advice="Look at this line; if it is meant, nothing needs to change.",
            file=notice.place.file,
            line=notice.place.line,
            column=notice.place.column,
            setup=setup.name,
        )
        for setup, reads in zip(evidence.job.setups, evidence.reads, strict=True)
        for _, read in reads
        for notice in read.warnings
        if not notice.is_stated
    ]
