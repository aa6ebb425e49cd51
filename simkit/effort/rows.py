"""Rows of a column that belong together."""

from __future__ import annotations

import numpy as np


def rows_by(column: np.ndarray) -> dict[int, slice | np.ndarray]:
    """Return where a column (n,) holds each of its values, the first one first.

    As a slice where that is one piece, for a part of a column is no copy; else the rows, growing.
    """
    if not len(column):
        return {}
    begin = np.append(0, np.flatnonzero(column[1:] != column[:-1]) + 1)
    values, end = column[begin].tolist(), np.append(begin[1:], len(column))
    pieces: dict[int, list[int]] = {}
    for k, value in enumerate(values):
        pieces.setdefault(value, []).append(k)
    return {
        value: slice(int(begin[own[0]]), int(end[own[0]])) if len(own) == 1 else ranges(begin[own], end[own])
        for value, own in pieces.items()
    }


def ranges(first: np.ndarray, stop: np.ndarray) -> np.ndarray:
    """Return the numbers from `first` (k,) on, below `stop` (k,), of all k ranges one behind the other."""
    size = stop - first
    return np.arange(size.sum()) + np.repeat(first - (np.cumsum(size) - size), size)
