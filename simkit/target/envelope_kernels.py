"""Kernels: the heights at which columns through cell centres cross a closed triangle mesh."""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel, kernel

BAND = 8  # rows of cells owned by one task


@entry_kernel
def count_bands(first_row, last_row, bands, band):
    """Return how many triangles meet each band of rows (bands,) int64.

    first_row, last_row (m,) int64: rows of each triangle, last not included; band: rows in a band.
    """
    count = np.zeros(bands, np.int64)
    for t in range(len(first_row)):
        if first_row[t] < last_row[t]:
            for b in range(first_row[t] // band, (last_row[t] - 1) // band + 1):
                count[b] += 1
    return count


@entry_kernel
def fill_bands(first_row, last_row, start, band):
    """Return the triangles of each band, in rising order; band b owns items[start[b]:start[b + 1]]."""
    items = np.empty(start[-1], np.int64)
    cursor = start[:-1].copy()
    for t in range(len(first_row)):
        if first_row[t] < last_row[t]:
            for b in range(first_row[t] // band, (last_row[t] - 1) // band + 1):
                items[cursor[b]] = t
                cursor[b] += 1
    return items


@kernel
def edge_at(vertices, i, j, y):
    """Return x and z where the edge between vertices i and j crosses the line of height y in plan.

    Evaluated from the lower vertex number to the higher, so that the two triangles of an edge get the
    same bits.
    """
    if i > j:
        i, j = j, i
    t = (y - vertices[i, 1]) / (vertices[j, 1] - vertices[i, 1])
    x = vertices[i, 0] + t * (vertices[j, 0] - vertices[i, 0])
    z = vertices[i, 2] + t * (vertices[j, 2] - vertices[i, 2])
    return x, z


@entry_kernel
def cross_columns(first, last, vertices, triangles, start, items, x, y, cell, band, lower, upper, wood):
    """Fill lowest and highest crossing and the summed length inside the mesh for every column.

    A triangle meets a row of centres where two of its edges cross it (a vertex counts as above only
    when its y is greater); between these crossings, the left one included and the right one not, it
    crosses the columns.  Each edge gives the same crossing to both its triangles, so over a closed
    mesh the upward and downward crossings of every column balance, whatever the rounding.
    lower (ny, nx) comes in as +inf, upper as -inf, wood as 0.  Bands first <= b < last are done.
    """
    rows, columns = upper.shape
    for b in range(first, last):
        for iy in range(b * band, min(rows, (b + 1) * band)):
            row_y = y[iy]
            for k in range(start[b], start[b + 1]):
                t = items[k]
                rising_x = rising_z = falling_x = falling_z = 0.0
                is_met = False
                for e in range(3):
                    i, j = triangles[t, e], triangles[t, (e + 1) % 3]
                    i_above, j_above = vertices[i, 1] > row_y, vertices[j, 1] > row_y
                    if j_above and not i_above:
                        rising_x, rising_z = edge_at(vertices, i, j, row_y)
                        is_met = True
                    elif i_above and not j_above:
                        falling_x, falling_z = edge_at(vertices, i, j, row_y)
                if not is_met or rising_x == falling_x:
                    continue
                # Counter-clockwise in plan: the rising edge is the right one and the face looks up.
                is_up = falling_x < rising_x
                left_x, left_z = (falling_x, falling_z) if is_up else (rising_x, rising_z)
                right_x, right_z = (rising_x, rising_z) if is_up else (falling_x, falling_z)
                if right_x <= x[0] or left_x > x[columns - 1]:
                    continue
                ix = int(max(0.0, min(columns - 1.0, np.floor((left_x - x[0]) / cell))))
                while ix > 0 and x[ix - 1] >= left_x:
                    ix -= 1
                while ix < columns and x[ix] < left_x:
                    ix += 1
                slope = (right_z - left_z) / (right_x - left_x)
                low, high = min(left_z, right_z), max(left_z, right_z)
                while ix < columns and x[ix] < right_x:
                    z = min(high, max(low, left_z + slope * (x[ix] - left_x)))
                    if z > upper[iy, ix]:
                        upper[iy, ix] = z
                    if z < lower[iy, ix]:
                        lower[iy, ix] = z
                    wood[iy, ix] += z if is_up else -z
                    ix += 1
