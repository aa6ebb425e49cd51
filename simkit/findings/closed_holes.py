"""Holes through the part that are not open: nothing of the part shows there, so no deviation tells it."""

from __future__ import annotations

import numpy as np

from simkit.compare.outline import OutlineStep
from simkit.compare.outside import STEP, WIDEST_TAB, Outside
from simkit.compare.spots import TIE, spots
from simkit.findings import shape
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.target.envelope import Envelopes
from simkit.units import area_words

HOLE_MEASURE = "how thick the wood is that is left in a hole through the part, at cell centres"


def closed_holes(evidence: Evidence) -> list[Finding]:
    """Return findings for holes through the part in which wood is left, thicker than the limit."""
    field, zones = evidence.field, evidence.zones
    if evidence.outside is None or evidence.wood_outside is None:
        return []
    closes = closing(evidence.envelopes, evidence.outside, evidence.wood_outside)
    if not closes.any():
        return []
    thickness = np.where(closes, field.upper.astype(np.float64) - field.lower, 0.0)
    is_upper = (field.upper_move >= field.lower_move) & (1 in evidence.deviations)
    index = np.where(is_upper, *(zones.index(field.lattice, side) for side in (1, 2)))
    findings = []
    for number, rule in enumerate(zones.rules):
        here = closes & (index == number) & (thickness > rule.leftover + rule.finish_allowance)
        if not rule.is_judged or not here.any():
            continue
        found = spots(thickness, here, field.lattice, shape.GAP)
        for nth, spot in enumerate(found[: shape.MOST]):
            side = 1 if is_upper[spot.cell] else 2
            z = float(field.upper[spot.cell] if side == 1 else field.lower[spot.cell])
            row = shape.owner_at(evidence, side, spot.cell, spot.at)
            lesser = found[shape.MOST :] if nth == shape.MOST - 1 else []
            findings.append(
                Finding(
                    kind="leftover-program",
                    severity="beyond",
                    message=(
                        f"wood up to {spot.value:.2f} mm thick is left in a hole through the part over "
                        + area_words(spot.area)
                        + shape.lesser_words(lesser)
                    ),
                    advice=(
                        "Cut the hole through, from this side or the other; where the wood is left on "
                        "purpose, to be taken out by hand, accept the finding."
                    ),
                    value=spot.value,
                    bound=TIE,
                    limit=rule.leftover,
                    measure=HOLE_MEASURE,
                    zone=rule.name,
                    **shape.cut_fields(evidence, spot, (*spot.at, z), side, row),
                )
            )
    return findings


def closing(envelopes: Envelopes, step: OutlineStep, outside: Outside) -> np.ndarray:
    """Return the wood that closes holes of the part (ny, nx) bool.

    envelopes, step, outside: on one lattice.
    Wood that hangs on the part alone and goes in from the rim of a hole without a gap, over more than
    WIDEST_TAB of the rim or all of it: less is a tab that holds an offcut.  A hole: columns without part
    that do not go on to the edge of the lattice.  Error: the rim is counted in cells, as that of tabs.
    """
    from scipy import ndimage

    hole, count = ndimage.label(~envelopes.is_part, ndimage.generate_binary_structure(2, 1))
    is_hole = np.ones(count + 1, bool)
    is_hole[np.concatenate([hole[0], hole[-1], hole[:, 0], hole[:, -1]])] = False
    is_hole[0] = False
    wood = (outside.kind == STEP) & step.is_reached & is_hole[hole]
    closes = np.zeros_like(wood)
    if not wood.any():
        return closes
    all_eight = np.ones((3, 3))
    beside = ndimage.binary_dilation(envelopes.is_part, all_eight)
    label, number = ndimage.label(wood, all_eight)
    rim = np.bincount(hole[beside], minlength=count + 1)
    joined = np.bincount(label[beside], minlength=number + 1)
    for nth, box in enumerate(ndimage.find_objects(label), 1):
        mine = label[box] == nth
        own = int(hole[box][mine][0])
        if joined[nth] * envelopes.lattice.cell > WIDEST_TAB or joined[nth] >= rim[own]:
            closes[box] |= mine
    return closes
