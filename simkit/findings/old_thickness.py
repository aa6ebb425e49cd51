"""old-thickness: the zero of a setup counts with the thickness that the blank had before it was planed."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.job.model import Job, Setup

NEAR = 0.05  # mm: heights nearer than this are the same height, written to a tenth


def find(evidence: Evidence) -> list[Finding]:
    """Return a finding for each setup whose zero fits an earlier thickness of the blank and not its own."""
    job, findings = evidence.job, []
    for index, setup in enumerate(job.setups):
        now = setup.body(job.blank).thickness
        olds = [one.body(job.blank).thickness for one in job.setups[:index]]
        for old in dict.fromkeys(olds):
            if abs(old - now) < 2 * NEAR or not (where := _relies(job, index, old)):
                continue
            key, words = where
            findings.append(
                Finding(
                    kind="old-thickness",
                    severity="beyond",
                    message=(
                        f"the zero of '{setup.name}' {words} {old:g} mm, the thickness before the blank was"
                        f" taken to {now:g} mm"
                    ),
                    advice=f"Set the zero on the wood as it is then, or count with {now:g} mm.",
                    value=abs(old - now),
                    bound=0.0,
                    measure="thickness then less thickness now",
                    setup=setup.name,
                    subject=setup.name,
                    **evidence.job_line(f"setups[{index}].{key}"),
                )
            )
            break
    return findings


def _relies(job: Job, index: int, old: float) -> tuple[str, str] | None:
    """Return the key by which a zero counts with an old thickness, and how in words; None where none does."""
    setup = job.setups[index]
    up = setup.zero.offset[2]
    if setup.zero.face == "bottom" and abs(up - old) < NEAR:
        return "zero", "is stated over the table by"
    if setup.zero.face == "top" and abs(up + old) < NEAR:
        return "zero", "is stated below the upper face by"
    if setup.machine_zero is None or setup.zero.face != "top":
        return None
    for other in job.setups[:index]:
        if other.machine_zero is None:
            continue
        table = _table(job, other, other.body(job.blank).thickness)
        if abs(_table(job, setup, old) - table) < NEAR:
            return "machine_zero", f"in machine coordinates fits the table of '{other.name}' with"
    return None


def _table(job: Job, setup: Setup, thickness: float) -> float:
    """Return the height of the table in machine coordinates that a zero and a thickness make, mm."""
    over = (thickness if setup.zero.face == "top" else 0.0) + setup.zero.offset[2]
    return setup.machine_zero[2] - over
