"""The connected pieces of what is left of a blank, and which of them nothing holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from simkit.errors import ShapeError
from simkit.stock.field import Field
from simkit.stock.piece_kernels import label_columns

JOIN = 0.001  # mm: wood that overlaps by less is the rounding of two cuts that meet
LEAST_VOLUME = 100.0  # mm3: what is smaller is a chip, not a piece (common practice, no source)
SOUGHT_VOLUME = 25.0  # mm3: so much of a piece may be left when it is looked for
EDGE = 3.0  # mm: wood that comes so near to the blank's edge is its frame


@dataclass(frozen=True)
class Pieces:
    """The connected pieces of a field.

    label (ny, nx) int32: 0 where there is no wood, else the piece, from 1.
    count: of pieces.  joined: pairs of neighbouring columns that hold together.
    """

    label: np.ndarray
    count: int
    joined: int

    def at(self, cells: np.ndarray) -> np.ndarray:
        """Return which pieces have wood in some of the cells (ny, nx) bool, as bool (count + 1,)."""
        found = np.zeros(self.count + 1, bool)
        found[self.label[cells]] = True
        found[0] = False
        return found

    def sums(self, values: np.ndarray) -> np.ndarray:
        """Return the sum of values (ny, nx) over each piece, (count + 1,) float64."""
        return np.bincount(self.label.ravel(), weights=values.ravel(), minlength=self.count + 1)


def pieces_of(field: Field, least: float = JOIN) -> Pieces:
    """Return the pieces that hold together by more than `least` mm of wood between neighbouring columns.

    Columns are neighbours along x and y, not across a corner: a bridge narrower than a cell may be missed,
    and a gap narrower than a cell holds nothing apart.
    """
    if field.lower.shape != field.upper.shape:
        raise ShapeError(f"surfaces of shape {field.lower.shape} and {field.upper.shape}")
    label = np.empty(field.lower.shape, np.int32)
    lower, upper = (np.ascontiguousarray(one, np.float32) for one in (field.lower, field.upper))
    count, joined = label_columns(lower, upper, np.float32(least), label)
    return Pieces(label, int(count), int(joined))


def volumes(field: Field, pieces: Pieces) -> np.ndarray:
    """Return the volume of each piece, mm3 (count + 1,): columns at cell centres."""
    thick = np.where(pieces.label > 0, field.upper.astype(np.float64) - field.lower, 0.0)
    return pieces.sums(thick) * field.lattice.cell**2


def main_piece(field: Field, pieces: Pieces, is_part: np.ndarray | None, prefers_part: bool) -> int:
    """Return the piece that the others come free of where nobody says what is held; 0 when there is none.

    is_part (ny, nx) bool: columns of the target, None without one.
    The piece with most of the part where that goes on to the blank's edge, or when `prefers_part`; else the
    largest that goes on to the edge, if that is more than all others there together (a frame in pieces is
    none); else that of the part; else the largest.
    """
    if not pieces.count:
        return 0
    size = volumes(field, pieces)
    at_edge = pieces.at(field.rim(EDGE))
    part = 0
    if is_part is not None and pieces.label[is_part].any():
        part = int(np.argmax(pieces.sums(is_part * (pieces.label > 0))[1:])) + 1
    if part and (prefers_part or at_edge[part]):
        return part
    frame = np.where(at_edge, size, 0.0)
    if frame.max() > frame.sum() / 2:
        return int(np.argmax(frame))
    return part or int(np.argmax(size))


def witnesses(field: Field, pieces: Pieces, is_free: np.ndarray) -> list[tuple[int, int]]:
    """Return for each free piece of SOUGHT_VOLUME its thickest column (iy, ix), the largest piece first.

    is_free (count + 1,) bool.  A column of the piece stands until the last of it is gone.
    """
    size = volumes(field, pieces)
    chosen = np.flatnonzero(is_free & (size >= SOUGHT_VOLUME))
    chosen = chosen[np.argsort(-size[chosen], kind="stable")]
    windows = ndimage.find_objects(pieces.label) if len(chosen) else []
    found = []
    for piece in chosen:
        here = windows[piece - 1]
        thick = np.where(pieces.label[here] == piece, field.upper[here] - field.lower[here], -np.inf)
        iy, ix = np.unravel_index(np.argmax(thick), thick.shape)
        found.append((here[0].start + int(iy), here[1].start + int(ix)))
    return found
