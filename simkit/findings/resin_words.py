"""Which findings about the shape lie in resin: their words say so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

OF_SURFACE = ("gouge", "leftover-cutter", "leftover-program", "cusp")
OF_COLUMN = ("thin-wall",)
LEAST = 0.01  # mm of resin in a column


def with_resin_words(evidence: Evidence, findings: list[Finding]) -> list[Finding]:
    """Return the findings, with a word behind the message of those whose surface or wall is resin."""
    if evidence.field.wood_upper is None:
        return findings
    by_step = Path(evidence.job.file).name  # its words say what it did
    asked = [
        k
        for k, one in enumerate(findings)
        if one.at and one.kind in (*OF_SURFACE, *OF_COLUMN) and one.file != by_step
    ]
    if not asked:
        return findings
    left = evidence.columns(np.array([findings[k].at[:2] for k in asked]))
    top = np.clip(left.wood_upper, left.lower, left.upper)
    bottom = np.clip(left.wood_lower, left.lower, top)
    resin = {1: left.upper - top, 2: bottom - left.lower}
    is_bare = top <= bottom  # no wood at all
    told = list(findings)
    for nth, k in enumerate(asked):
        one = findings[k]
        if not left.upper[nth] > left.lower[nth]:
            continue
        if one.kind in OF_COLUMN:
            is_resin = is_bare[nth] or resin[1][nth] + resin[2][nth] > LEAST
            words = ", with resin in it"
        else:
            is_resin = is_bare[nth] or resin[one.side or 1][nth] > LEAST
            words = ", in resin"
        if is_resin:
            told[k] = replace(one, message=one.message + words)
    return told
