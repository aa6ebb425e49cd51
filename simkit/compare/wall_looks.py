"""Which cells the thickness of walls is looked at from, and what a surface hides between their centres."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.compare.wall_points_kernels import STEP

THINNER = 0.02  # mm: a column lower by more than this than the one that stands for it is looked at, too
STRAIGHT = 0.25  # of a rise: a face goes on straight where the next rise differs by no more


def looked_from(
    stride: int, lower: np.ndarray, upper: np.ndarray, solid: np.ndarray, sides: np.ndarray
) -> np.ndarray:
    """Return the cells (ny, nx) bool to look from, of which every stride-th stands for those about it.

    lower, upper (ny, nx) mm, solid (ny, nx) bool: the columns.  sides (n,): flat indices of cells that own a
    side point.  Looked at are every stride-th cell in x and y; all of stride x stride cells where one lies
    beside an upright or steep face, so that no rib or groove falls between two looks; and the lowest
    column of the others where it is lower than the one that stands for them.
    """
    ny, nx = solid.shape
    if stride == 1:
        return np.ones(solid.shape, bool)
    rows, columns = -(-ny // stride), -(-nx // stride)

    def blocks(values, fill):
        padded = np.full((rows * stride, columns * stride), fill, values.dtype)
        padded[:ny, :nx] = values
        return padded.reshape(rows, stride, columns, stride).swapaxes(1, 2).reshape(rows, columns, -1)

    steep = np.zeros(solid.shape, bool)
    steep.reshape(-1)[sides] = True
    is_whole = blocks(ndimage.binary_dilation(steep, np.ones((3, 3))), False).any(axis=2)
    looked = is_whole.repeat(stride, axis=0).repeat(stride, axis=1)[:ny, :nx]
    looked[::stride, ::stride] = True
    column = blocks(np.where(solid, upper - lower, np.float32(np.inf)), np.inf)
    least = column.argmin(axis=2)
    value = np.take_along_axis(column, least[:, :, None], axis=2)[:, :, 0]
    iy, ix = np.nonzero(value < column[:, :, 0] - THINNER)
    place = least[iy, ix]
    looked[iy * stride + place // stride, ix * stride + place % stride] = True
    return looked


def stood_for(stride: int, looked: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Return a mask of looked-at cells (ny, nx) bool with the cells that they stand for."""
    if stride == 1:
        return mask
    ny, nx = mask.shape
    spread = mask[::stride, ::stride].repeat(stride, axis=0).repeat(stride, axis=1)[:ny, :nx]
    return np.where(looked, mask, spread)


def hidden_depth(z: np.ndarray, solid: np.ndarray, cell: float, iy: np.ndarray, ix: np.ndarray) -> np.ndarray:
    """Return how much lower a surface may be within half a cell of centres (iy, ix), as its faces go on, mm.

    z (ny, nx) mm: heights out of the wood (-lower for the lower surface).  iy, ix (k,).  Returns (k,).
    The bottom of a vee lies between centres: no lower than where its faces, as they run beyond the cells
    beside it, meet, and no lower than the steeper rise to a neighbour goes in half a cell.  Both axes
    are added up.  The foot of an upright wall is no such face.
    """
    found = np.zeros(len(iy))
    here = z[iy, ix].astype(np.float64)
    for dy, dx in ((1, 0), (0, 1)):
        faces = [_face(z, solid, cell, here, iy, ix, way * dy, way * dx) for way in (-1, 1)]
        (left, left_fall), (right, right_fall) = (face[1:] for face in faces)
        with np.errstate(invalid="ignore", divide="ignore"):
            meet = (left - right) / (left_fall + right_fall)
        lowest = np.full(len(iy), np.inf)
        for t in (-0.5, 0.5, np.where(np.isfinite(meet), np.clip(meet, -0.5, 0.5), 0.0)):
            lowest = np.minimum(lowest, np.maximum(left - t * left_fall, right + t * right_fall))
        rise = np.stack([face[0] for face in faces])
        deep = np.minimum(np.maximum(here - lowest, 0.0), 0.5 * rise.max(axis=0))
        found += np.where(np.isfinite(lowest) & (rise >= 0).all(axis=0), deep, 0.0)
    return found


def _face(z, solid, cell: float, here, iy, ix, dy: int, dx: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return rises to the next centre in one direction, and of the lines on beyond it: each (k,) mm.

    Of a line the height where it passes over the centre, -inf where the face does not go on so, and its fall
    in a cell inwards.
    """
    near, is_near = _at(z, solid, iy + dy, ix + dx)
    far, is_far = _at(z, solid, iy + 2 * dy, ix + 2 * dx)
    rise, beyond = np.where(is_near, near - here, 0.0), far - near
    is_face = is_near & is_far & ((rise <= STEP * cell) | (np.abs(beyond - rise) <= STRAIGHT * rise))
    return (
        np.where(is_face, rise, np.minimum(rise, 0.0)),
        np.where(is_face, near - beyond, -np.inf),
        np.where(is_face, beyond, 0.0),
    )


def _at(z: np.ndarray, solid: np.ndarray, iy: np.ndarray, ix: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return heights at cells, and which of them are in the lattice and solid."""
    ny, nx = z.shape
    is_in = (iy >= 0) & (iy < ny) & (ix >= 0) & (ix < nx)
    at = np.clip(iy, 0, ny - 1), np.clip(ix, 0, nx - 1)
    is_there = is_in & solid[at]
    return np.where(is_there, z[at], 0.0).astype(np.float64), is_there
