"""Kernels: is a cut anywhere over a square deeper than so much below the target?  Proved, not sampled."""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.record_kernels import (
    LENGTH,
    LOW,
    RADIUS,
    SHIFT,
    SLOPE,
    UX,
    UY,
    H,
    X,
    Y,
    is_line,
    profile_of,
)
from simkit.stock.slope_kernels import lowest_near
from simkit.target.closest_kernels import bin_of, triangle_distance2

EDGE = 1e-9  # mm: a triangle this near to a square counts as over it
STEEPEST = 4.0  # slope of the reference plane, at most
LEVELS = 8
NEAR_RIM = 1e-4  # share of the radius squared: nearer to its rim a ball has no useful tangent plane
MARGIN = 5e-5  # mm: rounding of heights to float32, and of slopes


@kernel
def gradient(t):
    """Return the slope of a triangle (3, 3) in x and y, and twice its signed area in plan."""
    ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    area = ux * vy - uy * vx
    if abs(area) <= 1e-12:
        return 0.0, 0.0, 0.0
    return (uz * vy - vz * uy) / area, (vz * ux - uz * vx) / area, area


@kernel
def is_beside(t, area, px, py, e):
    """Whether the square of half edge e about (px, py) lies wholly outside an edge of the triangle."""
    sign = 1.0 if area > 0.0 else -1.0
    for k in range(3):
        i, j = k, (k + 1) % 3
        nx, ny = sign * (t[j, 1] - t[i, 1]), sign * (t[i, 0] - t[j, 0])  # outwards
        length = math.sqrt(nx * nx + ny * ny)
        near = nx * (px - t[i, 0]) + ny * (py - t[i, 1]) - e * (abs(nx) + abs(ny))
        if near > EDGE * length:
            return True
    return False


@kernel
def is_apart(box, px, py, e):
    """Whether a box (x, y, z low, then high) lies beside the square of half edge e about (px, py)."""
    return box[0] > px + e or box[3] < px - e or box[1] > py + e or box[4] < py - e


@kernel
def triangle_high(t, box, px, py, e, a, b, sign):
    """Return the most that sign z - a (x - px) - b (y - py) of a triangle is over a square; -inf: not there.

    An upper bound: the triangle's plane over the part of the square inside the triangle's box, or its
    highest corner, whichever is less.
    """
    x0, x1 = max(px - e, box[0]), min(px + e, box[3])
    y0, y1 = max(py - e, box[1]), min(py + e, box[4])
    if x0 > x1 + EDGE or y0 > y1 + EDGE:
        return -math.inf
    mx, my, hx, hy = (x0 + x1) / 2 - px, (y0 + y1) / 2 - py, (x1 - x0) / 2, (y1 - y0) / 2
    hx, hy = max(hx, 0.0), max(hy, 0.0)
    capped = (
        max(sign * t[0, 2], max(sign * t[1, 2], sign * t[2, 2])) - a * mx - b * my + hx * abs(a) + hy * abs(b)
    )
    gx, gy, area = gradient(t)
    gx, gy = sign * gx, sign * gy
    if area == 0.0:
        return capped
    if is_beside(t, area, px, py, e):
        return -math.inf
    middle = sign * t[0, 2] + gx * (px + mx - t[0, 0]) + gy * (py + my - t[0, 1]) - a * mx - b * my
    return min(capped, middle + hx * abs(gx - a) + hy * abs(gy - b))


@kernel
def plane(px, py, e, corners, boxes, layout, start, items):
    """Return a reference slope a, b over a square: the mean of its triangles, weighed by their area."""
    origin_x, origin_y, edge, nx, ny = layout
    a = b = weight = 0.0
    for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
        for bx in range(bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx) + 1):
            for k in range(start[by * nx + bx], start[by * nx + bx + 1]):
                t = items[k]
                if is_apart(boxes[t], px, py, e):
                    continue
                gx, gy, area = gradient(corners[t])
                if (
                    area == 0.0
                    or gx * gx + gy * gy > STEEPEST * STEEPEST
                    or is_beside(corners[t], area, px, py, e)
                ):
                    continue
                wide = min(2 * e, boxes[t, 3] - boxes[t, 0]) * min(2 * e, boxes[t, 4] - boxes[t, 1])
                a, b, weight = a + wide * gx, b + wide * gy, weight + wide
    return (a / weight, b / weight) if weight > 0.0 else (0.0, 0.0)


@kernel
def target_high(px, py, e, a, b, sign, corners, boxes, layout, start, items):
    """Return the most that the binned triangles, times sign, stand above the plane of slope a, b."""
    origin_x, origin_y, edge, nx, ny = layout
    high = -math.inf
    for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
        for bx in range(bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx) + 1):
            for k in range(start[by * nx + bx], start[by * nx + bx + 1]):
                t = items[k]
                high = max(high, triangle_high(corners[t], boxes[t], px, py, e, a, b, sign))
    return high


@kernel
def _ball_low(record, dx, dy, e, a, b):
    """As move_low for a ball along a line, by its tangent plane over the middle; -inf near the rim."""
    ux, uy, length, m, radius = record[UX], record[UY], record[LENGTH], record[SLOPE], record[RADIUS]
    u, w = dx * ux + dy * uy, dy * ux - dx * uy
    q2 = radius * radius - w * w
    if q2 <= 0.0:
        return -math.inf
    q = math.sqrt(q2)
    s = min(max(u - record[SHIFT] * q, 0.0), length)
    along = u - s
    rest = q2 - along * along
    if rest <= NEAR_RIM * radius * radius:
        return -math.inf
    root = math.sqrt(rest)
    # The slope of the ball standing at s, where it is lowest over the middle.
    gx, gy = (along * ux - w * uy) / root, (along * uy + w * ux) / root
    g = record[H] + m * s + radius - root
    return g - e * (abs(gx - a) + abs(gy - b)) - MARGIN


@kernel
def _convex_low(code, record, px, py, e, a, b, heights, places, g):
    """As move_low for any line: twice the middle less the highest corner, as a sweep along it is convex."""
    for k in range(5):
        places[k], places[5 + k] = px, py
    places[1] = places[2] = px - e
    places[3] = places[4] = px + e
    places[6] = places[8] = py - e
    places[7] = places[9] = py + e
    heights(code, record, places, 5, g)
    high = max(max(g[1] + e * (a + b), g[2] + e * (a - b)), max(g[3] + e * (b - a), g[4] - e * (a + b)))
    return 2.0 * g[0] - high - MARGIN if high < math.inf else -math.inf


@kernel
def move_low(code, record, px, py, e, a, b, floor, heights, places, g):
    """Return what a sweep lies nowhere below over a square, over the plane of slope a, b; +inf: not there.

    Where that is `floor` or more, less than it may be, but no less than `floor`, is told as soon as it is
    known.  heights: cell_heights as a pointer; places (10,), g (5,): room for it.
    """
    dx, dy = px - record[X], py - record[Y]
    is_ball = is_line(code) and profile_of(code) == BALL
    low = _ball_low(record, dx, dy, e, a, b) if is_ball else -math.inf
    if low >= floor:
        return low
    low = max(low, lowest_near(code, record, dx, dy, e * math.sqrt(2.0)) - e * (abs(a) + abs(b)))
    is_sloped = profile_of(code) != FLAT or record[SLOPE] != 0.0
    if low < floor and is_line(code) and is_sloped and not is_ball:
        low = max(low, _convex_low(code, record, px, py, e, a, b, heights, places, g))
    return low


@entry_kernel
def lower_squares(
    first, last, x, y, half, below, levels, corners, boxes, layout, start, items,
    bucket_x, bucket_y, bucket, bucket_nx, starts, entries, codes, records, heights, low, slopes, busy,
):  # fmt: skip
    """Find the parts of squares over which some sweep may lie more than `below` under the target.

    x, y, half (k,) mm: squares.  below (k, n, n) mm, n = 2^levels: for each part, by row and column; +inf
    where nothing is asked.  layout, start, items: triangles in bins, corners and boxes in heights.
    starts, entries: moves of buckets of edge `bucket` from bucket_x, bucket_y; a square lies in one bucket,
    wholly: a move that passes beside the bucket is not among its moves.
    heights: cell_heights as a pointer.
    Writes low (k, n, n): over a part that may, what the sweeps lie nowhere below there; NaN where no sweep
    does.  slopes (k, n, n, 2): there, of a plane that they lie nowhere below either: it touches `low` at
    its lowest corner.  Halving goes on only where some sweep may.
    busy (k,): bounds computed.
    """
    most = 0
    for k in range(first, last):
        at = int((y[k] - bucket_y) / bucket) * bucket_nx + int((x[k] - bucket_x) / bucket)
        most = max(most, starts[at + 1] - starts[at])
    lists = np.empty((LEVELS + 2, most + 1), np.int32)
    counts = np.zeros(LEVELS + 2, np.int64)
    stack = np.empty((4 * LEVELS + 8, 3), np.int64)
    places, g = np.empty(10), np.empty(5, np.float32)
    n = 1 << levels
    for k in range(first, last):
        at = int((y[k] - bucket_y) / bucket) * bucket_nx + int((x[k] - bucket_x) / bucket)
        counts[0] = starts[at + 1] - starts[at]
        for i in range(counts[0]):
            lists[0, i] = entries[starts[at] + i]
        for iy in range(n):
            for ix in range(n):
                low[k, iy, ix] = math.nan
        stack[0, 0] = stack[0, 1] = stack[0, 2] = 0
        top = 1
        while top > 0:
            top -= 1
            level, row, column = stack[top, 0], stack[top, 1], stack[top, 2]
            size = n >> level
            limit = math.inf
            for iy in range(row * size, (row + 1) * size):
                for ix in range(column * size, (column + 1) * size):
                    limit = min(limit, below[k, iy, ix])
            if limit == math.inf or counts[level] == 0:
                continue
            e = half[k] / (1 << level)
            px = x[k] - half[k] + e * (2 * column + 1)
            py = y[k] - half[k] + e * (2 * row + 1)
            a, b = plane(px, py, e, corners, boxes, layout, start, items)
            high = target_high(px, py, e, a, b, 1.0, corners, boxes, layout, start, items)
            if high == -math.inf:
                continue
            floor, lowest, count, lean = high - limit, math.inf, 0, e * (abs(a) + abs(b))
            for i in range(counts[level]):
                j = lists[level, i]
                if records[j, LOW] - lean >= floor:
                    continue
                found = move_low(codes[j], records[j], px, py, e, a, b, floor, heights, places, g)
                busy[k] += 1
                if found < floor:
                    lists[level + 1, count] = j
                    count += 1
                    lowest = min(lowest, found)
            counts[level + 1] = count
            if count == 0:
                continue
            if size == 1:
                low[k, row, column] = lowest - lean
                slopes[k, row, column, 0], slopes[k, row, column, 1] = a, b
                continue
            for iy in range(2):
                for ix in range(2):
                    stack[top, 0], stack[top, 1], stack[top, 2] = level + 1, 2 * row + iy, 2 * column + ix
                    top += 1


@entry_kernel
def upper_squares(
    first, last, x, y, half, above, corners, boxes, layout, start, items, index, other, codes, records,
    heights, up, slopes,
):  # fmt: skip
    """Find the squares over which the cut may stand more than `above` over the target's lowest.

    x, y, half, above (k,) mm.  corners, boxes, layout, start, items: as for lower_squares.
    index (k,): a record whose sweep the cut lies nowhere above, -1 for none; only lines are used.  other (k,)
    mm: a height that the cut lies nowhere above over the square anyhow, +inf for none.
    Writes up (k,): a height that the cut lies nowhere above, NaN where it stands nowhere that high; slopes
    (k, 2): of a plane that it lies nowhere above either, which touches `up` at its highest corner.
    A sweep along a line is convex, so it is highest over a corner of the square.
    """
    places, g = np.empty(8), np.empty(4, np.float32)
    for k in range(first, last):
        px, py, e = x[k], y[k], half[k]
        up[k] = math.nan
        a, b = plane(px, py, e, corners, boxes, layout, start, items)
        low = -target_high(px, py, e, -a, -b, -1.0, corners, boxes, layout, start, items)
        if low == math.inf:
            continue
        lean = e * (abs(a) + abs(b))
        high = other[k] + lean
        j = index[k]
        if j >= 0 and is_line(codes[j]):
            places[0] = places[1] = px - e
            places[2] = places[3] = px + e
            places[4] = places[6] = py - e
            places[5] = places[7] = py + e
            heights(codes[j], records[j], places, 4, g)
            on_line = max(
                max(g[0] + e * (a + b), g[1] + e * (a - b)), max(g[2] + e * (b - a), g[3] - e * (a + b))
            )
            high = min(high, on_line + MARGIN)
        if high > low + above[k]:
            up[k] = high + lean
            slopes[k, 0], slopes[k, 1] = a, b


@entry_kernel
def corners_off(first, last, middles, half, slopes, nearest, corners, off):
    """Fill off (k,) with how far the corners of level or sloped squares lie off one triangle, at most.

    middles (k, 3) mm, half (k,) mm, slopes (k, 2): rise in x and y.  nearest (k,): the triangle, of corners.
    The distance to a triangle, a convex set, is a convex function: nowhere over the square is it larger.
    """
    for k in range(first, last):
        t, e = corners[nearest[k]], half[k]
        most = 0.0
        for corner in range(4):
            dx = e if corner & 1 else -e
            dy = e if corner & 2 else -e
            z = middles[k, 2] + slopes[k, 0] * dx + slopes[k, 1] * dy
            most = max(most, triangle_distance2(middles[k, 0] + dx, middles[k, 1] + dy, z, t))
        off[k] = math.sqrt(most)
