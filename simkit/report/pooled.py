"""A field on fewer cells, for views that would not show more."""

from __future__ import annotations

import math

import numpy as np

from simkit.report import colours


def pooled(lower, upper, class_lower, class_upper, most: int, is_even: bool = False):
    """Return the same solid on at most about `most` cells, and how many old cells make the edge of a new one.

    lower, upper (ny, nx) mm, no wood where upper <= lower; class_lower, class_upper (ny, nx) as
    colours.class_index gives them.  Returns lower, upper float32 mm, both classes int8, fold.
    Keeps the highest upper, the lowest lower surface and the worst class; 0 and 0 where nothing is left.
    is_even: wood outside the part (NO_TARGET on both sides) of which less than half a block is left is none:
    every block it touches would make the rims of frames ragged, and no sliver of it means anything.
    """
    ny, nx = upper.shape
    fold = math.ceil(math.sqrt(ny * nx / most))
    if fold <= 1:
        return lower, upper, class_lower, class_upper, 1
    surfaces = pooled_columns(lower, upper, fold)
    classes = []
    for index in (class_lower, class_upper):
        worst = np.full(surfaces[1].shape, colours.NO_TARGET, np.int8)
        for part in _blocks(index, fold, colours.NO_TARGET):
            worst = colours.worse(worst, part)
        classes.append(worst)
    if is_even:
        is_outside = (classes[0] == colours.NO_TARGET) & (classes[1] == colours.NO_TARGET)
        is_rim = is_outside & (pooled_share(upper > lower, fold) < 0.5)
        surfaces = tuple(np.where(is_rim, np.float32(0), end) for end in surfaces)
    return (*surfaces, *classes, fold)


def pooled_columns(lower, upper, fold: int) -> tuple[np.ndarray, np.ndarray]:
    """Return where the columns of blocks of `fold` x `fold` begin and end, float32 mm; 0 and 0 for none."""
    is_solid = upper > lower
    high = _blocks(np.where(is_solid, upper, -np.inf), fold, -np.inf).max(0)
    low = _blocks(np.where(is_solid, lower, np.inf), fold, np.inf).min(0)
    is_left = high > low
    return tuple(np.where(is_left, end, 0).astype(np.float32) for end in (low, high))


def pooled_target(target, stands_out: np.ndarray | None, fold: int) -> tuple[np.ndarray, np.ndarray]:
    """Return where the target begins and ends on blocks of `fold` x `fold`, float32 mm; 0 and 0 for nothing.

    target: (lower, upper) (ny, nx) mm.  stands_out (ny, nx): classes of wood on its outer wall, or None.
    Where such wood beyond its limit lies in a block there is no target: all of its wall stands off.
    """
    low, high = pooled_columns(*(np.asarray(end, np.float32) for end in target), fold)
    if stands_out is None:
        return low, high
    is_off = pooled_share(stands_out > colours.WITHIN, fold) > 0
    return np.where(is_off, np.float32(0), low), np.where(is_off, np.float32(0), high)


def pooled_wood(lower, upper, wood_lower, wood_upper, fold: int):
    """Return where wood begins and ends in the columns of a solid that `pooled` has folded so, each mm.

    All (ny, nx) mm; wood_lower, wood_upper: as in a field.  The lowest and the highest wood of each block:
    resin may look a cell smaller than it is, and none is shown where there is none.
    """
    top = np.clip(wood_upper, lower, np.maximum(lower, upper))
    bottom = np.clip(wood_lower, lower, top)
    is_solid = upper > lower
    high = _blocks(np.where(is_solid, top, -np.inf), fold, -np.inf).max(0)
    low = _blocks(np.where(is_solid, bottom, np.inf), fold, np.inf).min(0)
    is_left = np.isfinite(high) & np.isfinite(low)
    return (np.where(is_left, part, 0).astype(np.float32) for part in (low, high))


def pooled_most(values: np.ndarray, fold: int) -> np.ndarray:
    """Return the highest of each block of `fold` x `fold` values (ny / fold, nx / fold)."""
    return _blocks(values, fold, values.min()).max(0)


def pooled_share(is_true: np.ndarray, fold: int) -> np.ndarray:
    """Return which part of each block of `fold` x `fold` cells is true (ny / fold, nx / fold), 0 to 1."""
    return _blocks(is_true, fold, False).mean(0)


def _blocks(array, fold, fill):
    """The array as (fold * fold, ny / fold, nx / fold), filled up at its far ends."""
    ny, nx = array.shape
    padded = np.pad(array, ((0, -ny % fold), (0, -nx % fold)), constant_values=fill)
    split = padded.reshape(padded.shape[0] // fold, fold, padded.shape[1] // fold, fold)
    return split.transpose(1, 3, 0, 2).reshape(fold * fold, *split.shape[::2])
