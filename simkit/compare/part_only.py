"""The columns of the part alone, without the tabs, skin and frame that still hold it."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.target.envelope import Envelopes


def part_columns(
    lower: np.ndarray, upper: np.ndarray, envelopes: Envelopes, band: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return lower and upper surface (ny, nx) float32 mm of the part's own columns; others are empty.

    What stands proud of the part is left out too: it may be sanded away, it makes no wall stronger, and a
    ridge of it between two passes is no wall.

    lower, upper (ny, nx) mm: what is left, on the lattice of `envelopes`.  band mm: width along the
    outline in which a column may lie a hair inside the part and yet have been cut with the trench
    beside it.  There a column that lost more than twice the band of the part's height is taken as cut
    away; so the outer wall may stand up to the band farther in than it does, never farther out.
    """
    lattice = envelopes.lattice
    is_part = envelopes.is_part
    left = np.minimum(upper, envelopes.upper) - np.maximum(lower, envelopes.lower)
    lost = envelopes.upper - envelopes.lower - left
    to_outline = ndimage.distance_transform_edt(np.pad(is_part, 1, mode="edge"), sampling=lattice.cell)[
        1:-1, 1:-1
    ]
    is_own = is_part & (upper > lower) & ~((to_outline <= band + 1e-9) & (lost > 2 * band))
    return (
        np.where(is_own, np.maximum(lower, envelopes.lower), 0.0).astype(np.float32),
        np.where(is_own, np.minimum(upper, envelopes.upper), 0.0).astype(np.float32),
    )
