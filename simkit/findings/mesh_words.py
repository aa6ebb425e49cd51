"""Where the mesh's own coarseness matters against the limits, in words."""

from __future__ import annotations

import numpy as np

from simkit.compare.zones import is_inside
from simkit.findings.evidence import Evidence

MATTERS = 0.25  # of a limit


def mesh_words(evidence: Evidence) -> list[str]:
    """Return a remark for each zone whose facets stand off a smooth surface by much of its limit."""
    found = evidence.coarseness
    if found is None:
        return []
    zones, facing = evidence.zones, evidence.target_grid.facing
    x, y = found.centre[:, 0], found.centre[:, 1]
    words = []
    for number, rule in enumerate(zones.rules):
        limit = min(rule.gouge, rule.leftover)
        is_large = found.sagitta >= MATTERS * limit
        if not rule.is_judged or limit <= 0 or not is_large.any():
            continue
        mine = np.zeros(len(x), bool)
        for side in evidence.deviations:
            seen = np.flatnonzero(is_large & ((facing >= 0) if side == 1 else (facing <= 0)))
            index = np.zeros(len(seen), int)
            for other, zone in enumerate(zones.zones, 1):
                if zone.side in (None, side):
                    inside = [is_inside(x[k : k + 1], y[k : k + 1], zone.outline)[0, 0] for k in seen]
                    index[np.array(inside, bool)] = other
            mine[seen[index == number]] = True
        if mine.any():
            worst = int(np.argmax(np.where(mine, found.sagitta, 0.0)))
            at = "x {:.0f}, y {:.0f}, z {:.0f}".format(*found.centre[worst])
            where = f"in the zone '{rule.name}' " if number else ""
            words.append(
                f"{where}the flat facets of the mesh stand off a smooth surface by up to about "
                f"{found.sagitta[worst]:.2f} mm (estimate; at {at}, blank frame), the limit is {limit:g} mm: "
                "export the part with more triangles to judge closer"
            )
    return words
