"""A whole side off its place, in words: by how much, which line is to be changed, and what to write there."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.compare.offset import SideOffset
from simkit.findings.evidence import Evidence
from simkit.program.origins import MOVES_ZERO
from simkit.units import job_words

LEAST_TOLD = 0.05  # mm: a shift that reads as 0.0 is not told
LEAST_FINE = 0.02  # mm: the same where it is told to 0.01 mm
FOLLOWS = "What is listed here follows from the shift."


@dataclass(frozen=True)
class OffsetWords:
    """What is said of a shift.

    message, advice: in words.  place: file, line, column of what is wrong where that is no cut, {} where it
    may be the cuts themselves.
    """

    message: str
    advice: str
    place: dict[str, Any]


def both_words(evidence: Evidence, offsets: Sequence[SideOffset]) -> OffsetWords:
    """Return what is said where both sides lie off the part alike, as one looks down on side 1."""
    first, second = (np.array(one.shift) for one in offsets)
    shift = (first + second) / 2
    bound = np.maximum(*(np.array(one.bound) for one in offsets)) + abs(first - second) / 2
    rough = max(one.rough for one in offsets)
    ways = (("right", "left"), ("back", "front"), ("top", "bottom"))
    is_told = abs(shift) >= LEAST_TOLD
    parts = [
        f"{abs(value):.1f} mm to the {names[int(value < 0)]}"
        for value, names, told in zip(shift, ways, is_told, strict=True)
        if told
    ]
    known = f", known to {rough:g} mm" if rough else ""
    message = (
        f"both sides lie {' and '.join(parts)} of the part{known}: the mesh is placed wrong in the blank, or"
        " both zeros are"
    )
    job, place = evidence.job, {}
    change = "Check where the part lies in the blank (`target.at`) first, then the zeros of all setups."
    if job.file and job.target is not None:
        at = _moved(job.target.at, shift, is_told, rough)
        place = _line(evidence, "target.at", "target")
        change = (
            f"If the zeros are right, write at = {_list(at, job.unit)} under [target] ({_where(place)}), each"
            f" known to ±{_digits(bound[is_told].max(), rough)} mm; else put the zeros of all setups right."
        )
    return OffsetWords(message, f"{change} {FOLLOWS}", place)


def side_words(evidence: Evidence, offset: SideOffset) -> OffsetWords:
    """Return what is said where all that one side cut lies off the part."""
    job = evidence.job
    mine = [k for k, one in enumerate(job.setups) if one.side_up == offset.side]
    shown = mine[0] if mine else None
    shift, bound, is_told = _in_program(evidence, offset, shown)
    frame = "blank frame" if shown is None else "as its program counts"
    by_seam = f"; measured at the seam against side {3 - offset.side}" if any(offset.by_seam) else ""
    parts = [
        f"{value:+.{1 if rough else 2}f} ±{_digits(error, rough)} mm in {name}"
        for name, value, error, told in zip("XYZ", shift, bound, is_told, strict=True)
        for rough in (_rough(offset, error),)
        if told
    ]
    message = f"all that side {offset.side} cut lies off the part by {', '.join(parts)} ({frame}{by_seam})"
    measure = ""
    if is_told[2]:
        measure = "Measure the blank first: if its thickness is as stated, the zero is wrong. "
    own = _own_zero(evidence, mine)
    if own is not None:
        return OffsetWords(
            message,
            f"{measure}The program moves its own zero in this line: move it by that much less, or take the"
            f" line out and state the zero in the job. {FOLLOWS}",
            own,
        )
    if not job.file or not mine:
        return OffsetWords(message, f"{measure}Check the zero of this side. {FOLLOWS}", {})
    writes, place = [], {}
    for index in mine:
        setup = job.setups[index]
        shift, bound, is_told = _in_program(evidence, offset, index)
        line = _line(evidence, f"setups[{index}].zero.offset", f"setups[{index}].zero", f"setups[{index}]")
        new = [
            _moved([one], np.array([-step]), [told], _rough(offset, error))[0]
            for one, step, told, error in zip(setup.zero.offset, shift, is_told, bound, strict=True)
        ]
        writes.append(f"offset = {_list(new, job.unit)} in the zero of '{setup.name}' ({_where(line)})")
        # What the job states beyond a corner of the blank was typed, and is the first to be doubted.
        if not place and any(
            stated and told for stated, told in zip(setup.zero.offset, is_told, strict=True)
        ):
            place = line
    worst = bound[is_told].max(initial=0.0)
    known = f"known to ±{_digits(worst, _rough(offset, worst))} mm"
    what = f"write {' and '.join(writes)}, {known}"
    if place:
        change = f"The offset that the job states for the zero looks wrong: {what}."
    else:
        change = (
            f"Either the programs count from another zero than the job says: have them made anew. Or the job"
            f" is wrong: {what}."
        )
    return OffsetWords(message, f"{measure}{change} {FOLLOWS}", place)


def _in_program(
    evidence: Evidence, offset: SideOffset, index: int | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return shift and bound (3,) mm as the program of a setup counts, and which parts are told.

    index: of the setup; None for the blank frame.
    """
    shift, bound = np.array(offset.shift), np.array(offset.bound)
    if index is not None:
        matrix = evidence.frames[index].inverse().matrix
        shift, bound = matrix @ shift, np.abs(matrix) @ bound
    least = [LEAST_TOLD if _rough(offset, error) else LEAST_FINE for error in bound]
    return shift, bound, abs(shift) >= least


def _rough(offset: SideOffset, bound: float) -> float:
    """Return how roughly a part of a shift with a bound is known, mm; 0 where it is told to 0.01 mm."""
    return offset.rough if bound >= offset.rough else 0.0


def _own_zero(evidence: Evidence, setups: list[int]) -> dict[str, Any] | None:
    """Return the place of a G92 in the only program of a side; None where there is none, or more programs."""
    reads = [read for index in setups for _, read in evidence.reads[index]]
    if len(reads) != 1:
        return None
    moved = [notice for notice in reads[0].warnings if notice.text.startswith(MOVES_ZERO)]
    if len(moved) != 1:
        return None
    place = moved[0].place
    return {"file": place.file, "line": place.line, "column": place.column}


def _moved(stated: Sequence[float], by: np.ndarray, is_told: Sequence[bool], rough: float) -> list[float]:
    """Return lengths, mm, moved by the told parts of a shift, to as many digits as it is told."""
    return [
        round(one + float(step), 1 if rough else 2) + 0.0 if told else one
        for one, step, told in zip(stated, by, is_told, strict=True)
    ]


def _digits(bound: float, rough: float) -> str:
    """Return a bound, mm, rounded up to as many digits as its value is told with."""
    digits = 1 if rough else 2
    step = 10.0**digits
    return f"{max(math.ceil(bound * step - 1e-9), 1) / step:.{digits}f}"


def _line(evidence: Evidence, *keys: str) -> dict[str, Any]:
    """Return the place of the first of some keys that stands in the job file."""
    return evidence.job_line(next((key for key in keys if key in evidence.job.lines), keys[-1]))


def _where(place: dict[str, Any]) -> str:
    parts = [place["file"], place["line"], place["column"]]
    return ":".join(str(part) for part in parts if part)


def _list(values: Sequence[float], unit: str) -> str:
    return f"[{', '.join(job_words(value, unit) for value in values)}]"
