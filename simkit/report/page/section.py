"""Cross-sections through the blank: stock, what is left of it, and the part that was wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.findings.finding import SEVERITIES
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes

SAMPLES = 900  # places along a section
CLOSE = 9.0  # mm to each side of the finding in a close-up
CLOSE_SAMPLES = 600
FAILING = SEVERITIES[:3]
APART = 5.0  # mm: sections nearer than this show the same


@dataclass(frozen=True)
class Section:
    """An upright cut through the blank, in the blank frame, mm.

    axis: 0 when the section runs along x (the length), 1 along y.  at: the other coordinate.
    along (n,): places on it.  lower, upper (n,): what is left, none where upper <= lower.
    target_lower, target_upper (n,): the part, NaN where there is none.  stock: low and high end of the blank
    along the section.  thickness: of the blank.  mark (along, z): of the finding, None for none.
    number: of the finding, None for none.
    wood_lower, wood_upper (n,): what is left is wood between these, else resin; None without a pour.
    """

    axis: int
    at: float
    along: np.ndarray
    lower: np.ndarray
    upper: np.ndarray
    target_lower: np.ndarray
    target_upper: np.ndarray
    stock: tuple[float, float]
    thickness: float
    mark: tuple[float, float] | None = None
    number: int | None = None
    wood_lower: np.ndarray | None = None
    wood_upper: np.ndarray | None = None

    @property
    def is_solid(self) -> np.ndarray:
        """Places that still hold wood (n,) bool."""
        return self.upper > self.lower

    def resin(self) -> list[tuple[np.ndarray, np.ndarray]]:
        """Return the lower and upper ends (n,) mm of what is resin, under the wood and over it."""
        if self.wood_upper is None:
            return []
        top = np.clip(self.wood_upper, self.lower, self.upper)
        bottom = np.clip(self.wood_lower, self.lower, top)
        return [(self.lower, bottom), (top, self.upper)]


def section(
    evidence: Evidence,
    axis: int,
    at: float,
    low: float,
    high: float,
    count: int,
    mark: tuple[float, float] | None = None,
    number: int | None = None,
) -> Section:
    """Return the section along an axis (0: x, 1: y) at the other coordinate, from low to high mm.

    count: places, each in the middle of its share.  Error: none of its own: heights are those of the swept
    cutters and of the target's triangles at these very places, not of the nearest cells.
    """
    blank = evidence.job.blank
    step = (high - low) / count
    along = low + (np.arange(count) + 0.5) * step
    across = np.full(count, at)
    points = np.column_stack([along, across] if axis == 0 else [across, along])
    left = evidence.columns(points)
    is_poured = evidence.field.wood_upper is not None
    nothing = np.full(count, np.nan)
    target = (nothing, nothing)
    if evidence.target_grid is not None:
        # A lattice of one row: cells as wide as the step, their centres on the section.
        corner, size = (low, at - step / 2), (count, 1)
        if axis == 1:
            corner, size = (at - step / 2, low), (1, count)
        found = envelopes(evidence.target_grid, Lattice(corner, step, *size))
        target = (found.lower.ravel(), found.upper.ravel())
    return Section(
        axis=axis,
        at=at,
        along=along,
        lower=left.lower,
        upper=left.upper,
        target_lower=target[0],
        target_upper=target[1],
        stock=(0.0, blank.length if axis == 0 else blank.width),
        thickness=blank.thickness,
        mark=mark,
        number=number,
        wood_lower=left.wood_lower if is_poured else None,
        wood_upper=left.wood_upper if is_poured else None,
    )


def worst_places(findings: list[dict[str, Any]], most: int) -> list[dict[str, Any]]:
    """Return the findings to cut through: the first with a place of each cause; failing ones alone if any."""
    placed = [row for row in findings if row["at"] is not None]
    failing = [row for row in placed if row["severity"] in FAILING]
    chosen: list[dict[str, Any]] = []
    for row in failing or placed:
        is_new = all(row["cause"] != one["cause"] for one in chosen)
        if is_new and all(_apart(row, one) > APART for one in chosen):
            chosen.append(row)
    return chosen[:most]


def _apart(one: dict[str, Any], other: dict[str, Any]) -> float:
    return float(np.hypot(one["at"][0] - other["at"][0], one["at"][1] - other["at"][1]))


def sections(
    evidence: Evidence, findings: list[dict[str, Any]], most: int = 2
) -> list[tuple[Section, Section | None]]:
    """Return (whole section, close-up) through the worst findings; through the middle when there is none.

    The section goes the short way across the blank, where it is drawn larger.  A place outside the blank
    is passed over.
    """
    blank = evidence.job.blank
    axis = 1 if blank.length >= blank.width else 0
    end = (blank.length, blank.width)[axis]
    pairs: list[tuple[Section, Section | None]] = []
    for row in worst_places(findings, most):
        x, y, z = row["at"]
        if not (0 < x < blank.length and 0 < y < blank.width):
            continue
        at, along = (y, x) if axis == 0 else (x, y)
        mark = (along, z)
        near = (max(along - CLOSE, 0.0), min(along + CLOSE, end))
        whole = section(evidence, axis, at, 0.0, end, SAMPLES, mark, row["number"])
        close = section(evidence, axis, at, *near, CLOSE_SAMPLES, mark, row["number"])
        pairs.append((whole, close))
    if not pairs:
        x, y = _middle(evidence)
        pairs = [(section(evidence, axis, (y, x)[axis], 0.0, end, SAMPLES), None)]
        other = 1 - axis
        end = (blank.length, blank.width)[other]
        pairs.append((section(evidence, other, (y, x)[other], 0.0, end, SAMPLES), None))
    return pairs


def _middle(evidence: Evidence) -> tuple[float, float]:
    """Return the middle of the part in plan, of the blank without a part, mm."""
    blank = evidence.job.blank
    if evidence.target is None:
        return blank.length / 2, blank.width / 2
    corners = evidence.target.vertices
    x, y = (corners.min(axis=0) + corners.max(axis=0))[:2] / 2
    return float(x), float(y)
