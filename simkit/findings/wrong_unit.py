"""wrong-unit: a program, or the part, that fits only when its numbers are read in another unit."""

from __future__ import annotations

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.frames import Frame
from simkit.job.steps import Body
from simkit.units import MM_PER_INCH, MM_PER_UNIT, units_as_large

NAMES = {unit: "inches" if unit == "in" else unit for unit in MM_PER_UNIT}
# All common practice, no source: told only where one reading is plainly mad and the other plainly fits.
TOO_FAR = 2.0  # as large as this many blanks, and as deep: too large
TOO_LITTLE = 0.1  # of the blank's length and width: too small
MOST, LEAST = 1.4, 0.3  # of length and width: what fits


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each program that fits the blank in the other unit, and not as read.

    Where all do as they are read, the part is held against them in the same way.
    Too large: a danger.  Too small: the check fails where that side of the part is left standing, else a
    warning, for a program may cut a small place on purpose.
    """
    findings = []
    for index, own in enumerate(evidence.reads):
        row = evidence.rows[index].start
        for (_, read), box in zip(own, evidence.cut_boxes[index], strict=True):
            units = set(read.units_seen) or {evidence.job.setups[index].program_units}
            if len(units) == 1 and box is not None:
                line = read.unit_lines[0] if read.unit_lines else None
                findings += _program(evidence, index, box, units.pop(), read.name, row, line)
            row += len(read.moves)
    return findings or _part(evidence)


def _program(
    evidence: Evidence, index: int, box: np.ndarray, unit: str, name: str, row: int, line: int | None
) -> list[Finding]:
    """Return a finding for a program in the wrong unit, [] for another.

    box (2, 3) mm: how far its cutting moves go, as read.  row: of its first move.  line: where its
    unit is stated, None where the job does that.
    """
    setup, frame = evidence.job.setups[index], evidence.frames[index]
    body = setup.body(evidence.job.blank)
    size, deep = _reach(box, frame, body)
    other_size, other_deep = _reach(box * (1 / MM_PER_INCH if unit == "in" else MM_PER_INCH), frame, body)
    plan = np.array([body.length, body.width])
    share, other_share = size / plan, other_size / plan
    fits = (other_share <= MOST).all() and (other_share >= LEAST).all() and 0 < other_deep <= MOST
    if unit == "in":
        is_mad = (share >= TOO_FAR).any() and (deep >= TOO_FAR or deep <= 0)
    else:
        is_mad = (share <= TOO_LITTLE).all()
    if not fits or not is_mad:
        return []
    said, other, word = ("inches (G20)", "mm", "G21") if unit == "in" else ("mm (G21)", "inches", "G20")
    side = 1 if frame.up > 0 else 2
    is_danger = unit == "in" and deep > 0
    own = "G20" if unit == "in" else "G21"
    place = f"in {name}" if line is None else f"in place of {own} in {name}, line {line}"
    return [
        Finding(
            kind="wrong-unit",
            severity="safety" if is_danger else "beyond" if _is_left(evidence, side) else "warning",
            message=f"the program is read in {said} and covers {_sizes(size)}; with its numbers in"
            f" {other} it would cover {_sizes(other_size)}, which fits the blank",
            advice=f"If its numbers are {other}, write {word} {place}, and look at its feeds; or have it made"
            " again in the unit that it states.",
            measure="length and width that the cutting moves cover, in both units",
            subject=name,
            side=side,
            **evidence.source_of(row) | ({} if line is None else {"line": line}),
        )
    ]


def _part(evidence: Evidence) -> list[Finding]:
    """Return a finding for a part far smaller than what is cut, which is as large in another unit.

    A part that is too large stands out of the blank, and was refused before.
    """
    spec, mesh = evidence.job.target, evidence.target
    corners = [
        frame.apply(box)
        for frame, own in zip(evidence.frames, evidence.cut_boxes, strict=True)
        for box in own
        if box is not None
    ]
    if spec is None or mesh is None or not corners:
        return []
    size, cuts = np.ptp(mesh.bounds, axis=0)[:2], np.ptp(np.concatenate(corners), axis=0)[:2]
    plain = size / MM_PER_UNIT[spec.units]
    fitting = units_as_large(plain, cuts)
    if (size > TOO_LITTLE * cuts).any() or len(fitting) != 1:
        return []
    (unit,) = fitting
    is_left = any(_is_left(evidence, side) for side in evidence.deviations)
    return [
        Finding(
            kind="wrong-unit",
            severity="beyond" if is_left else "warning",
            message=f"the part is {_sizes(size)} with its mesh in {NAMES[spec.units]}, and the programs cut"
            f" {_sizes(cuts)}; with its mesh in {NAMES[unit]} it would be"
            f" {_sizes(plain * MM_PER_UNIT[unit])}, which fits them",
            advice=f'If the mesh is in {NAMES[unit]}, write units = "{unit}" under [target], and look where'
            " the part then lies.",
            measure="length and width of the part, in both units",
            subject=spec.mesh.name,
            **evidence.job_line("target.units"),
        )
    ]


def _reach(box: np.ndarray, frame: Frame, body: Body) -> tuple[np.ndarray, float]:
    """Return what a box (2, 3) mm of a program covers along x and y, mm (2,), and how deep, in thicknesses.

    Frames turn by quarters, but for a turn supposed by `whatif`, which is small.
    """
    places = frame.apply(box)
    depth = frame.up * (body.face(frame.up) - places[:, 2])
    return np.ptp(places[:, :2], axis=0), float(depth.max()) / body.thickness


def _sizes(size: np.ndarray) -> str:
    return f"{size[0]:.0f} x {size[1]:.0f} mm"


def _is_left(evidence: Evidence, side: int) -> bool:
    """Return whether the part is left standing beyond the limit on a side; False where it is not judged."""
    deviation = evidence.deviations.get(side)
    limit = evidence.job.limits.leftover
    return deviation is not None and bool((np.nan_to_num(deviation.normal) > limit).any())
