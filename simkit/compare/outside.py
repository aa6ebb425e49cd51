"""What stands outside the part told apart: frame, tabs, skin, offcuts, and steps on the part itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare.outline import EDGE, OutlineStep
from simkit.errors import ShapeError
from simkit.stock.field import Field
from simkit.target.envelope import Envelopes

NAMES = ("frame", "tabs", "skin", "offcut", "step")  # by number, from 1
FRAME, TABS, SKIN, OFFCUT, STEP = range(1, 6)
LOW = 0.8  # of the frame's own thickness: what is thinner was cut down, and is no frame
FLANK = 3  # cells
WIDEST_TAB = 25.0  # mm along the outline; what is wider is a skin (common practice, no source)


@dataclass(frozen=True)
class Outside:
    """The wood outside the outline of the part.

    kind (ny, nx) int8: 0 where none stands, else the number of NAMES, from 1.
    area mm2, volume mm3, pieces: by name.  Areas are whole cells: off by half a cell along their rims.
    """

    kind: np.ndarray
    area: dict[str, float]
    volume: dict[str, float]
    pieces: dict[str, int]


def told_apart(field: Field, envelopes: Envelopes, step: OutlineStep) -> Outside:
    """Return what the wood outside the outline is.

    field, envelopes: on one lattice, which ends at the blank's edge.  step: of the same.
    frame: goes on to the blank's edge.  tabs: wood cut down (below LOW of the frame's thickness) that joins
    part and frame, up to WIDEST_TAB along the outline; a tab of full height cannot be told from frame.
    skin: the same, wider: what is left below a trench.  offcut: joined neither to the edge nor to the
    part.  step: hangs on the part alone, and is judged as leftover.
    """
    from scipy import ndimage

    if field.lattice != envelopes.lattice:
        raise ShapeError("field and envelopes stand on different lattices")
    lattice = field.lattice
    all_eight = np.ones((3, 3))
    is_standing = field.is_solid & ~envelopes.is_part
    thickness = np.where(is_standing, field.upper.astype(np.float64) - field.lower, 0.0)
    rim = field.rim(EDGE)
    kind = np.zeros(lattice.shape, np.int8)
    kind[is_standing] = OFFCUT
    label, count = ndimage.label(step.is_holding, all_eight)
    at_edge = np.zeros(count + 1, bool)
    at_edge[np.unique(label[rim])] = True
    at_edge[0] = False
    is_frame = at_edge[label]
    kind[is_frame] = FRAME
    beside = ndimage.binary_dilation(envelopes.is_part, all_eight)
    label, count = ndimage.label(is_standing & ~is_frame, all_eight)
    hangs = np.zeros(count + 1, bool)
    hangs[np.unique(label[beside])] = True
    hangs[0] = False
    kind[hangs[label]] = STEP
    if is_frame.any():
        own = float(np.median(thickness[is_frame & rim]))
        is_low = is_frame & (thickness < LOW * own)
        # Beside a gap the flank of a tab does not count as reached: take it in again.
        is_bridge = ndimage.binary_dilation(
            is_low & step.is_reached, all_eight, iterations=FLANK, mask=is_low
        )
        label, count = ndimage.label(is_bridge, all_eight)
        cells = np.bincount(label[beside], minlength=count + 1)
        for number, box in enumerate(ndimage.find_objects(label), 1):
            is_tab = cells[number] * lattice.cell <= WIDEST_TAB
            kind[box][label[box] == number] = TABS if is_tab else SKIN
    area, volume, pieces = {}, {}, {}
    for number, name in enumerate(NAMES, 1):
        mine = kind == number
        area[name] = float(mine.sum()) * lattice.cell**2
        volume[name] = float(thickness[mine].sum()) * lattice.cell**2
        pieces[name] = int(ndimage.label(mine, all_eight)[1])
    return Outside(kind, area, volume, pieces)
