"""wrong-unit: a program that fits the blank only when its numbers are read in the other unit."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.frames import Frame
from simkit.job.steps import Body
from simkit.moves.table import Moves
from simkit.units import MM_PER_INCH

# All common practice, no source: told only where one reading is plainly mad and the other plainly fits.
TOO_FAR = 2.0  # as large as this many blanks, and as deep: too large
TOO_LITTLE = 0.1  # of the blank's length and width: too small
MOST, LEAST = 1.4, 0.3  # of length and width: what fits


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each program whose moves fit the blank in the other unit, and not as read.

    Too large: a danger.  Too small: the check fails where that side of the part is left standing, else a
    warning, for a program may cut a small place on purpose.
    """
    findings = []
    for index, own in enumerate(evidence.reads):
        setup, frame = evidence.job.setups[index], evidence.frames[index]
        body, first = setup.body(evidence.job.blank), evidence.rows[index].start
        for _, read in own:
            row, first = first, first + len(read.moves)
            units = set(read.units_seen) or {setup.program_units}
            if len(units) != 1 or not len(read.moves):
                continue
            unit = units.pop()
            size, deep = _reach(read.moves, 1.0, frame, body)
            factor = 1 / MM_PER_INCH if unit == "in" else MM_PER_INCH
            other_size, other_deep = _reach(read.moves, factor, frame, body)
            share, other_share = size / _plan(body), other_size / _plan(body)
            fits = (other_share <= MOST).all() and (other_share >= LEAST).all() and other_deep <= MOST
            is_large = (share >= TOO_FAR).any() and (deep >= TOO_FAR or deep <= 0)
            is_small = (share <= TOO_LITTLE).all() and other_deep > 0
            if not fits or not (is_large if unit == "in" else is_small):
                continue
            words = ("in inches (G20)", "mm", "G21") if unit == "in" else ("in mm (G21)", "inches", "G20")
            findings.append(
                Finding(
                    kind="wrong-unit",
                    severity=_severity(evidence, frame, is_large and deep > 0),
                    message=f"the program is read {words[0]} and covers {_sizes(size)}; with its numbers in"
                    f" {words[1]} it would cover {_sizes(other_size)}, as the blank has it",
                    advice=f"If its numbers are {words[1]}, write {words[2]} in it, and look at its feeds;"
                    " or have it made again in the unit that it states.",
                    measure="length and width that the cutting moves cover, in both units",
                    subject=read.name,
                    side=1 if frame.up > 0 else 2,
                    **evidence.source_of(row),
                )
            )
    return findings


def _reach(moves: Moves, factor: float, frame: Frame, body: Body) -> tuple[np.ndarray, float]:
    """Return what the cutting moves cover along x and y, mm (2,), and how deep they go, in thicknesses.

    factor: what the program's numbers are multiplied by.
    """
    cuts = np.concatenate([moves.start[~moves.rapid], moves.end[~moves.rapid]])
    if not len(cuts):
        return np.zeros(2), 0.0
    places = frame.apply(factor * cuts)
    depth = frame.up * (body.face(frame.up) - places[:, 2])
    return np.ptp(places[:, :2], axis=0), float(depth.max()) / body.thickness


def _sizes(size: np.ndarray) -> str:
    return f"{size[0]:.0f} x {size[1]:.0f} mm"


def _plan(body: Body) -> np.ndarray:
    return np.array([body.length, body.width])


def _severity(evidence: Evidence, frame: Frame, is_deep: bool) -> str:
    if is_deep:
        return "safety"
    side = 1 if frame.up > 0 else 2
    deviation = evidence.deviations.get(side)
    if deviation is None:
        return "warning"
    return "beyond" if (np.nan_to_num(deviation.normal) > evidence.job.limits.leftover).any() else "warning"
