"""What a person should know of the glue lines: where they come out in a thin wall or to a feather edge."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import ndimage

from simkit.compare.feather import feathers
from simkit.compare.glue import FEATHER, GlueSpot, thin_glue_spots
from simkit.findings import thin_wall
from simkit.job.layup import glue_lines

MOST = 4  # places told of each sort


def glue_remarks(evidence: Any) -> list[str]:
    """Return the remarks on the glue lines of an Evidence; none without a layup."""
    layup = evidence.job.layup
    if layup is None:
        is_empty = "layup" in evidence.job.lines
        return ["[layup] states no boards: glue lines are not looked for"] if is_empty else []
    axis = layup.axis
    field = evidence.field
    lattice = field.lattice
    is_asked = np.ones(lattice.shape, bool)
    if evidence.envelopes is not None:
        is_asked = ndimage.binary_dilation(evidence.envelopes.is_part)
    thin: list[GlueSpot] = []
    feather: list[GlueSpot] = []
    is_bare = tuple(is_asked & ~field.is_resin(side) for side in (1, 2))
    for line in glue_lines(layup):
        feather += feathers(lattice, field.lower, field.upper, is_bare, evidence.columns, axis, line)
        if evidence.walls is not None:
            judged = thin_wall.is_judged(evidence)
            limit = evidence.job.limits.thinnest_wall
            is_section = (field.lower < line) & (line < field.upper) if axis == 2 else None
            thin += thin_glue_spots(evidence.walls, judged, limit, axis, line, is_section)
    name, cell = "xyz"[axis], lattice.cell
    words = [
        f"the glue line at {name} = {spot.line:g} mm runs in a wall of {spot.least:.2f} ± {spot.bound:.2f} "
        f"mm (thinner than limits.thinnest_wall) at {_place(spot, cell * evidence.walls.stride)}"
        for spot in _longest(thin)
    ]
    words += [
        f"the wood runs out to a feather edge at the glue line at {name} = {spot.line:g} mm: the surface "
        f"meets it at {_angle(spot)} degrees (told below {FEATHER:g}; the mean over {2 * cell:g} mm by exact "
        f"heights, ±: what half of that gives otherwise) at {_place(spot, spot.known)}"
        for spot in _longest(feather)
    ]
    rest = max(len(thin) - MOST, 0) + max(len(feather) - MOST, 0)
    if rest:
        words.append(f"glue lines: {rest} more such places, shorter ones")
    return words


def _longest(spots: list[GlueSpot]) -> list[GlueSpot]:
    return sorted(spots, key=lambda spot: -max(spot.size))[:MOST]


def _angle(spot: GlueSpot) -> str:
    return f"about {spot.least:.0f}" if spot.bound is None else f"{spot.least:.1f} ± {spot.bound:.1f}"


def _place(spot: GlueSpot, cell: float) -> str:
    x, y, z = spot.at
    return (
        f"x {x:.1f} y {y:.1f} z {z:.1f} mm, over {spot.size[0]:.1f} x {spot.size[1]:.1f} mm in plan, known "
        f"to {cell:g} mm (the cells looked at)"
    )
