"""fragile: a rib, rim or spire that stands tall for its thickness while the cutting goes on."""

from __future__ import annotations

import math

from simkit.compare.standing import Standing, Stood
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.walls_told import run_words

MEASURE = (
    "height over the ground beside it, divided by the thickness, on coarse cells between runs of cutters"
)
AT_LEAST = "at least so many times: " + MEASURE
ACROSS = 45.0  # degrees between a feature and the grain from which its fibres are called short


def find(evidence: Evidence) -> list[Finding]:
    """Return one warning for each feature that stands taller than the limit times its thickness."""
    limit = evidence.job.limits.slenderness
    findings = []
    stood = [one for one in evidence.stood if one.feature.ratio + one.feature.bound > limit]
    for nth, one in enumerate(stood[: shape.MOST]):
        feature = one.feature
        row = max(feature.rows)
        rest = len(stood) - shape.MOST
        is_rough = not math.isfinite(feature.bound)
        lesser = (
            f" ({rest} lesser {'one is' if rest == 1 else 'ones are'} not listed)"
            if nth == shape.MOST - 1 and rest > 0
            else ""
        )
        side = 1 if feature.is_up else 2
        findings.append(
            Finding(
                kind="fragile",
                severity="warning",
                message=(
                    f"{_shape_words(one)} {_thickness_words(feature)} mm thick stands {feature.height:.1f} mm"
                    f" high{_moment_words(evidence, one)}{_grain_words(evidence, one)}{lesser}"
                ),
                advice=(
                    "It may chip out or break while it is cut: take light passes at full height on both "
                    "faces in turn, a sharp cutter, or leave it thicker until the last pass."
                ),
                value=_least(feature) if is_rough else feature.ratio,
                bound=None if is_rough else feature.bound,
                limit=limit,
                unit="",
                measure=AT_LEAST if is_rough else MEASURE,
                side=side,
                area=feature.area,
                cells=feature.cells,
                **evidence.place_of(feature.at, shape.setup_of_side(evidence, side, row)),
                **evidence.source_of(row),
            )
        )
    return findings


def _shape_words(one: Stood) -> str:
    feature = one.feature
    if feature.length < 2 * feature.thickness:
        return "a spire"
    return f"a rib {feature.length:.0f} mm long,"


def _least(feature: Standing) -> float:
    """Return the ratio that is certain."""
    return feature.lever / (feature.thickness + feature.thickness_bound)


def _thickness_words(feature: Standing) -> str:
    """Return the thickness in words; where it is less than coarse cells can tell, the most it may be."""
    if math.isfinite(feature.bound):
        return f"{feature.thickness:.1f}"
    return f"at most {feature.thickness + feature.thickness_bound:.1f}"


def _moment_words(evidence: Evidence, one: Stood) -> str:
    """Return when it stands so, in words."""
    if one.is_left:
        return ", in the finished part too"
    return f" after {run_words(**evidence.source_of(one.last_row))}"


def _grain_words(evidence: Evidence, one: Stood) -> str:
    """Return words where the fibres run across the feature; '' when the grain is not known."""
    grain = evidence.job.blank.grain
    if not grain or one.feature.length < 2 * one.feature.thickness:
        return ""
    along = one.feature.run[0 if grain == "along x" else 1]
    angle = math.degrees(math.acos(min(abs(along), 1.0)))
    if angle < ACROSS:
        return ""
    return f"; the grain runs across it at {angle:.0f} degrees (short fibres)"
