"""table-contact: the tip goes below the lower face of the blank, deeper than a spoilboard allows."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.units import job_words

DEEPEST_BOARD = 25.0  # mm: nobody means to go deeper into a spoilboard; common practice, no source


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each setup in which a tip goes too deep, at the move that goes deepest."""
    findings = []
    for index, beyond in enumerate(evidence.below_table):
        if beyond is None:
            continue
        setup, worst = evidence.job.setups[index], beyond.worst
        row, over = int(beyond.rows[worst]), float(beyond.over[worst])
        deep = over + (setup.spoilboard or 0.0)
        allowed = (
            f"{setup.spoilboard:g} mm of spoilboard are allowed"
            if setup.spoilboard is not None
            else "the job states no spoilboard"
        )
        findings.append(
            Finding(
                kind="table-contact",
                severity="safety",
                message=(
                    f"the tip goes {deep:.2f} mm below the blank, and {allowed}"
                    f"{evidence.run_words(beyond.rows, row)}"
                ),
                advice=_advice(evidence, deep),
                value=over,
                bound=0.0,
                limit=0.0,
                measure="lowest place of the tip below what is allowed",
                side=1 if evidence.frames[index].up > 0 else 2,
                **evidence.place_of(evidence.frames[index].apply(beyond.at[worst]), index),
                **evidence.source_of(row),
            )
        )
    return findings


def _advice(evidence: Evidence, deep: float) -> str:
    if deep > DEEPEST_BOARD:
        return (
            "Check Z, the units of the program (a lost decimal point, inches for millimetres) and the zero."
        )
    said = (
        f"spoilboard = {job_words(round(deep + 0.5), evidence.job.unit)} in this setup"
        if evidence.job.file
        else f"--spoilboard {deep + 0.5:.0f}"
    )
    return (
        f"Check Z and the zero; if a board lies under the blank, say how deep cutters may go into it: {said}."
    )
