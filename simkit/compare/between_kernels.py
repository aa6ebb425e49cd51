"""Kernels: is a cut anywhere over a square deeper than so much below the target?  Proved, not sampled."""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.cutters import BALL, FLAT
from simkit.stock.profile_kernels import RIM
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
from simkit.stock.slope_kernels import height_and_slope, lowest_near
from simkit.target.closest_kernels import bin_of, triangle_distance2

EDGE = 1e-9  # mm: a triangle this near to a square counts as over it
LOOSE = 1e-6  # mm: so near to a square triangles are kept for its parts, whose edges are rounded otherwise
STEEPEST = 4.0  # slope of the reference plane, at most
LEVELS = 8
NEAR_RIM = 1e-4  # share of the radius squared: nearer to its rim a ball has no useful tangent plane
MARGIN = 5e-5  # mm: rounding of heights to float32, and of slopes


@kernel
def is_beside(t, area, px, py, e):
    """Whether the square of half edge e about (px, py) lies wholly outside an edge of the triangle."""
    sign = 1.0 if area > 0.0 else -1.0
    for k in range(3):
        i, j = k, (k + 1) % 3
        nx, ny = sign * (t[j, 1] - t[i, 1]), sign * (t[i, 0] - t[j, 0])  # outwards
        near = nx * (px - t[i, 0]) + ny * (py - t[i, 1]) - e * (abs(nx) + abs(ny))
        if near > 0.0 and near > EDGE * math.sqrt(nx * nx + ny * ny):
            return True
    return False


@kernel
def is_apart(box, px, py, e):
    """Whether a box (x, y, z low, then high) lies beside the square of half edge e about (px, py)."""
    return box[0] > px + e or box[3] < px - e or box[1] > py + e or box[4] < py - e


@kernel
def triangle_high(t, box, slope, px, py, e, a, b, sign):
    """Return the most of sign z - a (x - px) - b (y - py) of a triangle over a square, -inf: none.

    box, slope: of the triangle.  An upper bound, of a triangle that none of its edges keeps beside the
    square: its plane over the part of the square inside its box, or its highest corner, whichever is less.
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
    if slope[2] == 0.0:
        return capped
    gx, gy = sign * slope[0], sign * slope[1]
    middle = sign * t[0, 2] + gx * (px + mx - t[0, 0]) + gy * (py + my - t[0, 1]) - a * mx - b * my
    return min(capped, middle + hx * abs(gx - a) + hy * abs(gy - b))


@kernel
def most_near(px, py, e, layout, start):
    """Return how many entries of the bins `near` finds at most for a square."""
    origin_x, origin_y, edge, nx, ny = layout
    e += 2.0 * LOOSE
    first, last = bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx)
    count = 0
    for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
        count += start[by * nx + last + 1] - start[by * nx + first]
    return count


@kernel
def near(px, py, e, layout, start, items, found):
    """List the triangles of the bins that a square meets, in found (n, 3): number, bin along x and y.

    Returns how many; one stands there once for each of these bins.
    """
    origin_x, origin_y, edge, nx, ny = layout
    e += LOOSE
    count = 0
    for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
        for bx in range(bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx) + 1):
            for k in range(start[by * nx + bx], start[by * nx + bx + 1]):
                found[count, 0], found[count, 1], found[count, 2] = items[k], bx, by
                count += 1
    return count


@kernel
def narrowed(px, py, e, listed, count, corners, boxes, slopes, layout, found, is_over):
    """Keep of `count` listed triangles those over a square, and return how many, with a reference slope a, b.

    listed, found (n, 3): as `near` fills them, found perhaps the same; of the square itself or of one that it
    is a part of.  is_over (n,): whether a kept one counts, some are kept for parts of the square alone.
    a, b: the mean of the slopes of triangles, weighed by their area.
    """
    origin_x, origin_y, edge, nx, ny = layout
    x0, x1 = bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx)
    y0, y1 = bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny)
    wide = e + LOOSE
    wide_x0, wide_x1 = bin_of(px - wide, origin_x, edge, nx), bin_of(px + wide, origin_x, edge, nx)
    wide_y0, wide_y1 = bin_of(py - wide, origin_y, edge, ny), bin_of(py + wide, origin_y, edge, ny)
    kept = 0
    a = b = weight = 0.0
    for i in range(count):
        t, bx, by = listed[i, 0], listed[i, 1], listed[i, 2]
        box = boxes[t]
        if bx < wide_x0 or bx > wide_x1 or by < wide_y0 or by > wide_y1 or is_apart(box, px, py, wide):
            continue
        gx, gy, area = slopes[t, 0], slopes[t, 1], slopes[t, 2]
        if area != 0.0 and is_beside(corners[t], area, px, py, e):
            continue
        is_mine = x0 <= bx <= x1 and y0 <= by <= y1
        found[kept, 0], found[kept, 1], found[kept, 2] = t, bx, by
        is_over[kept] = is_mine
        kept += 1
        if not is_mine or area == 0.0 or gx * gx + gy * gy > STEEPEST * STEEPEST or is_apart(box, px, py, e):
            continue
        share = min(2 * e, box[3] - box[0]) * min(2 * e, box[4] - box[1])
        a, b, weight = a + share * gx, b + share * gy, weight + share
    return (kept, a / weight, b / weight) if weight > 0.0 else (kept, 0.0, 0.0)


@kernel
def target_high(px, py, e, a, b, sign, listed, is_over, count, corners, boxes, slopes):
    """Return the most that triangles, kept by `narrowed`, times sign, stand above the plane of slope a, b."""
    high = -math.inf
    for i in range(count):
        if is_over[i]:
            t = listed[i, 0]
            high = max(high, triangle_high(corners[t], boxes[t], slopes[t], px, py, e, a, b, sign))
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
def _tangent_low(code, record, dx, dy, e, a, b):
    """As move_low for any line: by its tangent plane over the middle, as a sweep along it is convex."""
    g, gx, gy = height_and_slope(code, record, dx, dy)
    return g - e * (abs(gx - a) + abs(gy - b)) - MARGIN if g < math.inf else -math.inf


@kernel
def move_low(code, record, px, py, e, a, b, floor):
    """Return what a sweep lies nowhere below over a square, over the plane of slope a, b; +inf: not there.

    Where that is `floor` or more, less than it may be, but no less than `floor`, is told as soon as it is
    known.
    """
    dx, dy = px - record[X], py - record[Y]
    if is_line(code):
        # Most moves of a list pass beside a small square: told by less than the bounds below take.
        u, w = dx * record[UX] + dy * record[UY], dy * record[UX] - dx * record[UY]
        reach = record[RADIUS] + RIM + e * math.sqrt(2.0) + LOOSE
        if abs(w) > reach or u < -reach or u > record[LENGTH] + reach:
            return math.inf
    is_ball = is_line(code) and profile_of(code) == BALL
    low = _ball_low(record, dx, dy, e, a, b) if is_ball else -math.inf
    if low >= floor:
        return low
    low = max(low, lowest_near(code, record, dx, dy, e * math.sqrt(2.0)) - e * (abs(a) + abs(b)))
    is_sloped = profile_of(code) != FLAT or record[SLOPE] != 0.0
    if low < floor and is_line(code) and is_sloped and not is_ball:
        low = max(low, _tangent_low(code, record, dx, dy, e, a, b))
    return low


@kernel
def _kept(px, py, e, least, entries, count, codes, records, a, b, high, is_last, kept):
    """Keep of `count` moves, entries, those whose sweep may lie more than `least` under the target.

    Over a square, where the target lies nowhere over `high`, over the plane of slope a, b.
    is_last: of a square that is not halved only the lowest is asked for.
    kept: room, perhaps `entries` of the square it is a part of.
    Returns how many, what the sweeps lie nowhere below over that plane, and how many bounds it took.
    """
    floor, lowest, found_count, asked, lean = high - least, math.inf, 0, 0, e * (abs(a) + abs(b))
    for i in range(count):
        j = entries[i]
        enough = min(floor, lowest) if is_last else floor
        if records[j, LOW] - lean >= enough:
            continue
        found = move_low(codes[j], records[j], px, py, e, a, b, enough)
        asked += 1
        if found < enough:
            kept[found_count] = j
            found_count += 1
            lowest = min(lowest, found)
    return found_count, lowest, asked


@entry_kernel
def lower_squares(
    first, last, x, y, half, below, levels, order, shared, least, corners, boxes, slopes, layout, start,
    items, bucket_x, bucket_y, bucket, bucket_nx, starts, entries, codes, records, low, leans, busy,
):  # fmt: skip
    """Find the parts of squares over which some sweep may lie more than `below` under the target.

    x, y, half (k,) mm: squares.  below (k, n, n) mm, n = 2^levels: for each part, by row and column; +inf
    where nothing is asked.  corners, boxes, slopes, layout, start, items: TargetGrid.faces.
    starts, entries: moves of buckets of edge `bucket` from bucket_x, bucket_y; a square lies in one bucket,
    wholly: a move that passes beside the bucket is not among its moves.
    order (k,): in which the squares are taken, first <= place < last of it.  shared (k,): how often the
    bucket is halved to the tile that a square shares with others that come before or after it; of each tile
    on the way the moves are looked through once for all of them.  least mm: nothing in `below` is less.
    Writes low (k, n, n): over a part that may, what the sweeps lie nowhere below there; NaN where no sweep
    does.  leans (k, n, n, 2): slopes there of a plane that they lie nowhere below either: it touches `low`
    at its lowest corner.  Halving goes on only where some sweep may, with the moves and the triangles that
    the larger square left.
    busy (k,): bounds computed, those of tiles for the first square in them.
    """
    most, most_faces, tiles = 0, 0, 0
    for place in range(first, last):
        k = order[place]
        at = int((y[k] - bucket_y) / bucket) * bucket_nx + int((x[k] - bucket_x) / bucket)
        most = max(most, starts[at + 1] - starts[at])
        wide = half[k] if shared[k] == 0 else bucket
        most_faces = max(most_faces, most_near(x[k], y[k], wide, layout, start))
        tiles = max(tiles, shared[k])
    faces = np.empty((tiles + LEVELS + 2, most_faces, 3), np.int32)
    face_counts, is_over = np.zeros(tiles + LEVELS + 2, np.int64), np.empty(most_faces, np.bool_)
    lists = np.empty((tiles + LEVELS + 2, most + 1), np.int32)
    counts = np.zeros(tiles + LEVELS + 2, np.int64)
    stack = np.empty((4 * LEVELS + 8, 3), np.int64)
    tile = np.full((tiles + 1, 2), -1, np.int64)  # of each size, the one whose lists are known
    n = 1 << levels
    bucket_at, known = -1, 0  # tiles down to this size are known
    for place in range(first, last):
        k = order[place]
        at = int((y[k] - bucket_y) / bucket) * bucket_nx + int((x[k] - bucket_x) / bucket)
        if at != bucket_at:
            bucket_at, known = at, 0
            counts[0] = starts[at + 1] - starts[at]
            for i in range(counts[0]):
                lists[0, i] = entries[starts[at] + i]
        depth = 0
        while depth < shared[k] and counts[depth] > 0:
            depth += 1
            e = bucket / (2 << depth)
            ix, iy = int((x[k] - bucket_x) / (2.0 * e)), int((y[k] - bucket_y) / (2.0 * e))
            if depth <= known and tile[depth, 0] == ix and tile[depth, 1] == iy:
                continue
            known, tile[depth, 0], tile[depth, 1] = depth, ix, iy
            px, py = bucket_x + e * (2 * ix + 1), bucket_y + e * (2 * iy + 1)
            if depth == 1:
                face_counts[0] = near(px, py, e, layout, start, items, faces[0])
            face_counts[depth], a, b = narrowed(
                px, py, e, faces[depth - 1], face_counts[depth - 1], corners, boxes, slopes, layout,
                faces[depth], is_over,
            )  # fmt: skip
            high = target_high(
                px, py, e, a, b, 1.0, faces[depth], is_over, face_counts[depth], corners, boxes, slopes
            )
            counts[depth] = 0
            if high > -math.inf:
                counts[depth], _, asked = _kept(
                    px, py, e, least, lists[depth - 1], counts[depth - 1], codes, records, a, b, high, False,
                    lists[depth],
                )  # fmt: skip
                busy[k] += asked
        if depth == 0:
            face_counts[0] = near(x[k], y[k], half[k], layout, start, items, faces[0])
        for iy in range(n):
            for ix in range(n):
                low[k, iy, ix] = math.nan
        stack[0, 0] = stack[0, 1] = stack[0, 2] = 0
        top = 1
        while top > 0:
            top -= 1
            level, row, column = stack[top, 0], stack[top, 1], stack[top, 2]
            size, mine = n >> level, depth + level
            limit = math.inf
            for iy in range(row * size, (row + 1) * size):
                for ix in range(column * size, (column + 1) * size):
                    limit = min(limit, below[k, iy, ix])
            if limit == math.inf or counts[mine] == 0:
                continue
            known = min(known, depth)  # the lists of smaller tiles make room
            e = half[k] / (1 << level)
            px = x[k] - half[k] + e * (2 * column + 1)
            py = y[k] - half[k] + e * (2 * row + 1)
            face_count, a, b = narrowed(
                px, py, e, faces[mine], face_counts[mine], corners, boxes, slopes, layout,
                faces[mine + 1], is_over,
            )  # fmt: skip
            face_counts[mine + 1] = face_count
            high = target_high(
                px, py, e, a, b, 1.0, faces[mine + 1], is_over, face_count, corners, boxes, slopes
            )
            if high == -math.inf:
                continue
            count, lowest, asked = _kept(
                px, py, e, limit, lists[mine], counts[mine], codes, records, a, b, high, size == 1,
                lists[mine + 1],
            )  # fmt: skip
            busy[k] += asked
            counts[mine + 1] = count
            if count == 0:
                continue
            if size == 1:
                low[k, row, column] = lowest - e * (abs(a) + abs(b))
                leans[k, row, column, 0], leans[k, row, column, 1] = a, b
                continue
            for iy in range(2):
                for ix in range(2):
                    stack[top, 0], stack[top, 1], stack[top, 2] = level + 1, 2 * row + iy, 2 * column + ix
                    top += 1


@entry_kernel
def upper_squares(
    first, last, x, y, half, above, corners, boxes, slopes, layout, start, items, index, other, codes,
    records, heights, up, leans,
):  # fmt: skip
    """Find the squares over which the cut may stand more than `above` over the target's lowest.

    x, y, half, above (k,) mm.  corners, boxes, slopes, layout, start, items: as for lower_squares.
    index (k,): a record whose sweep the cut lies nowhere above, -1 for none; only lines are used.  other (k,)
    mm: a height that the cut lies nowhere above over the square anyhow, +inf for none.
    Writes up (k,): a height that the cut lies nowhere above, NaN where it stands nowhere that high; leans
    (k, 2): slopes of a plane that it lies nowhere above either, which touches `up` at its highest corner.
    A sweep along a line is convex, so it is highest over a corner of the square.
    """
    places, g = np.empty(8), np.empty(4, np.float32)
    most = 0
    for k in range(first, last):
        most = max(most, most_near(x[k], y[k], half[k], layout, start))
    faces, is_over = np.empty((most, 3), np.int32), np.empty(most, np.bool_)
    for k in range(first, last):
        px, py, e = x[k], y[k], half[k]
        up[k] = math.nan
        count = near(px, py, e, layout, start, items, faces)
        count, a, b = narrowed(px, py, e, faces, count, corners, boxes, slopes, layout, faces, is_over)
        low = -target_high(px, py, e, -a, -b, -1.0, faces, is_over, count, corners, boxes, slopes)
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
            leans[k, 0], leans[k, 1] = a, b


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
