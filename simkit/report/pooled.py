"""A field on fewer cells, for views that would not show more."""

from __future__ import annotations

import math

import numpy as np

from simkit.report import colours


def pooled(lower, upper, class_lower, class_upper, most: int):
    """Return the same solid on at most about `most` cells, and how many old cells make the edge of a new one.

    lower, upper (ny, nx) mm, no wood where upper <= lower; class_lower, class_upper (ny, nx) as
    colours.class_index gives them.  Returns lower, upper float32 mm, both classes int8, fold.
    Keeps the highest upper, the lowest lower surface and the worst class; 0 and 0 where nothing is left.
    """
    ny, nx = upper.shape
    fold = math.ceil(math.sqrt(ny * nx / most))
    if fold <= 1:
        return lower, upper, class_lower, class_upper, 1
    is_solid = upper > lower
    high = _blocks(np.where(is_solid, upper, -np.inf), fold, -np.inf).max(0)
    low = _blocks(np.where(is_solid, lower, np.inf), fold, np.inf).min(0)
    is_left = high > low
    surfaces = [np.where(is_left, low, 0), np.where(is_left, high, 0)]
    classes = []
    for index in (class_lower, class_upper):
        worst = np.full(high.shape, colours.NO_TARGET, np.int8)
        for part in _blocks(index, fold, colours.NO_TARGET):
            worst = colours.worse(worst, part)
        classes.append(worst)
    return (*(a.astype(np.float32) for a in surfaces), *classes, fold)


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


def pooled_share(is_true: np.ndarray, fold: int) -> np.ndarray:
    """Return which part of each block of `fold` x `fold` cells is true (ny / fold, nx / fold), 0 to 1."""
    return _blocks(is_true, fold, False).mean(0)


def _blocks(array, fold, fill):
    """The array as (fold * fold, ny / fold, nx / fold), filled up at its far ends."""
    ny, nx = array.shape
    padded = np.pad(array, ((0, -ny % fold), (0, -nx % fold)), constant_values=fill)
    split = padded.reshape(padded.shape[0] // fold, fold, padded.shape[1] // fold, fold)
    return split.transpose(1, 3, 0, 2).reshape(fold * fold, *split.shape[::2])
