"""witness-step: the walls that the two sides cut do not meet at the seam."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
