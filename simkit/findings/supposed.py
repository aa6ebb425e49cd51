"""What a what-if supposes, as the cause of what it brings about."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.compare.measured_back import MeasuredBack, measured_back
from simkit.compare.seam_fit import ShiftFit, fit_shift
from simkit.findings.finding import SEVERITIES, Finding
from simkit.findings.identity import known_by
from simkit.frames import IDENTITY
from simkit.kinds import LESS_IS_WORSE, family

NEAR = 2.0  # mm: spots of both checks that come so near each other are one
WORSE = 0.02  # mm: a place that stood before is worse by more than this and both bounds
ALIKE = 1e-6  # mm: setups of one side that lie the same way
ROUND = 1e-4  # mm and degrees: what was put in and what is measured agree to their bounds and this


@dataclass(frozen=True)
class Supposed:
    """A change of a job, and what a check says of the job without it.

    words: the change (`job.change.Change.words`).  stated: the findings of the job as it is stated.
    """

    words: str
    stated: tuple[Finding, ...]

    def follows(self, finding: Finding) -> bool:
        """Return whether a finding of the changed job is new, or worse than as stated: it follows then.

        The change is all that differs between both checks.
        """
        return not any(self._stood(finding, one) for one in self.stated)

    def _stood(self, finding: Finding, before: Finding) -> bool:
        if (family(finding.kind), finding.side, finding.zone, finding.subject) != (
            family(before.kind), before.side, before.zone, before.subject
        ):  # fmt: skip
            return False
        if not (known_by(finding) & known_by(before) or _meet(finding.box, before.box)):
            return False
        if SEVERITIES.index(before.severity) > SEVERITIES.index(finding.severity):
            return False
        if finding.value is None or before.value is None:
            return True
        worse = (finding.value - before.value) * (-1.0 if finding.kind in LESS_IS_WORSE else 1.0)
        return worse <= (finding.bound or 0.0) + (before.bound or 0.0) + WORSE


def _meet(a, b) -> bool:
    """Return whether two boxes (x low, y low, x high, y high) come within NEAR mm of each other."""
    if a is None or b is None:
        return False
    return all(a[k] <= b[k + 2] + NEAR and b[k] <= a[k + 2] + NEAR for k in (0, 1))


def supposed_words(evidence) -> tuple[str, str]:
    """Return message and advice of the cause that a change is."""
    words, back, is_put = evidence.supposed.words, None, False
    if evidence.seam is not None and evidence.seam.worst is not None:
        fit = fit_shift(evidence.seam)
        back, put = back_of(evidence, fit), put_in(evidence, fit)
        is_put = put is not None and put.any() and _agree(fit, put)
    follows = "What is listed here follows from it and was not there as stated: nothing of the job is to be"
    follows += " changed for it."
    told = back.words if back is not None else ""
    if is_put and told:
        return (
            f"{words}: the two sides meet off by what was put in, side 2 as it lies in '{back.setup}':"
            f" {told}",
            f"The two sides meet off by what was put in. {follows} How much of it the job bears, the budget"
            f" of a check says; set the zero of '{back.setup}' closer than that, check the pins for play.",
        )
    if told and put is not None and put.any():
        words += f"; measured back from the seam, side 2 as it lies in '{back.setup}': {told}"
    return words, follows


def back_of(evidence, fit: ShiftFit) -> MeasuredBack | None:
    """Return how side 2 lies in the first setup that holds the blank turned over; None without one."""
    setup = next((one for one in evidence.job.setups if one.turn != "none"), None)
    if setup is None:
        return None
    blank = evidence.job.blank
    return measured_back(
        fit, setup.name, setup.turn, setup.swing, (blank.length, blank.width, blank.thickness)
    )


def put_in(evidence, fit: ShiftFit) -> np.ndarray | None:
    """Return which shift and turn of side 1 against side 2 was put in: mm, mm, degrees, where the fit is.

    None where a side is cut in no setup, or in some that lie otherwise than others.
    """
    blank, places = evidence.job.blank, {1: [], 2: []}
    about = np.array([*fit.about, 0.0])
    for setup, frame in zip(evidence.job.setups, evidence.frames, strict=True):
        right = replace(setup, misplacement=IDENTITY).frame(blank)
        off = frame.after(right.inverse())
        moved = off.apply(about) - about
        degrees = np.degrees(np.arctan2(off.matrix[1, 0], off.matrix[0, 0]))
        places[setup.side_up].append(np.array([*moved[:2], degrees]))
    if not all(places.values()) or any(np.ptp(its, axis=0).max() > ALIKE for its in places.values()):
        return None
    return places[1][0] - places[2][0]


def _agree(fit: ShiftFit, put: np.ndarray) -> bool:
    """Return whether the seam shows what was put in, wherever it shows anything."""
    off = np.abs(np.array([fit.dx, fit.dy, fit.turn_degrees]) - put)
    seen = np.array(fit.is_observable)
    return bool(seen.any() and (off[seen] <= np.array(fit.bound)[seen] + ROUND).all())
