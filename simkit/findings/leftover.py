"""leftover-cutter and leftover-program: material still standing outside the target.

The first where no cutter of that side's programs can get in, the second where one could have.
"""

from __future__ import annotations

from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding

MEASURE = "the larger of the distances cut to target and target to cut, to the surface seen from this side"
