"""Pieces of a ball over blocks, sixteen at a time: the best of each quarter, and those under a ceiling.

A vector is sixteen pieces of a list that follow each other, half a group of it.  The bounds are those of
hollow_kernels, with a ceiling that is known before them: what does not come under it is not written down.
Twin: tests/stock/test_groups.py, against hollow_kernels.
"""

import math

import numpy as np

from simkit._jit import bound_kernel, loop_kernel
from simkit.stock.bit_kernels import not_above_zero
from simkit.stock.list_kernels import (
    BIG,
    GROUP,
    PH,
    PLEN,
    POFF,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    WIDE,
    close_list,
    copy_pieces,
    piece_at,
)
from simkit.stock.wide_kernels import lane_of_least

QUARTERS = 4


@loop_kernel
def vector_at(base, vector):
    """Where the sixteen pieces are that are number `vector` of the list at `base`."""
    vector = np.uint64(vector)
    half = vector & np.uint64(1)
    return np.uint64(base) + (vector >> np.uint64(1)) * np.uint64(GROUP) + half * np.uint64(WIDE)


@loop_kernel
def vectors_of(n):
    """How many times sixteen pieces a list of n is."""
    return (np.int64(n) + np.int64(WIDE - 1)) // np.int64(WIDE)


@loop_kernel
def take_better(best, quarter, lane, over, place):
    """Keep a place in a lane of a quarter where it is lower than what is kept there."""
    k = np.uint64(quarter * WIDE) + lane
    names = k + np.uint64(QUARTERS * WIDE)
    is_better = over < best[k]
    best[names] = place if is_better else best[names]
    best[k] = over if is_better else best[k]


@loop_kernel
def begin_best(best):
    """No place is kept of any quarter; best (8 WIDE,) float32: numbers, then places."""
    for k in range(np.uint64(QUARTERS * WIDE)):
        best[k] = BIG
        best[k + np.uint64(QUARTERS * WIDE)] = np.float32(-1.0)


@loop_kernel
def place_of(best, quarter):
    """The place with the lowest number of all lanes of a quarter, -1 if there is none."""
    first = np.uint64(quarter * WIDE)
    return np.int64(best[first + np.uint64(QUARTERS * WIDE) + lane_of_least(best, first)])


@loop_kernel
def _piece_of(base, place):
    """Where a piece of the list at `base` is; -1 if there is none."""
    return np.int64(piece_at(base, place)) if place >= 0 else np.int64(-1)


@loop_kernel
def numbers_of(half_x, half_y, lean_x, lean_y, radius, margin):
    """What bounds of one slope over a block have in common: see hollow_kernels.hollow_bounds."""
    hollow = radius / math.sqrt(1.0 + lean_x * lean_x + lean_y * lean_y)
    half = math.sqrt(half_x * half_x + half_y * half_y)
    over = margin + margin * margin / (256.0 * 2.0**-24 * hollow)
    slopes = 1.0 + abs(lean_x) + abs(lean_y)
    foot = (radius - hollow) - (lean_x * lean_x + lean_y * lean_y) * hollow
    return hollow, foot, slopes, over, half


@bound_kernel
def best_pieces(
    lists, base, vectors, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin, share, best
):
    """Places of the pieces of a few vectors that are the lowest in the quarters of a block, -1 for none.

    As hollow_kernels.hollow_bounds tells of CHANCE, of those that cover the whole block; `share` of the way
    from its middle to its edges.
    """
    hollow, foot, slopes, _, half = numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    near = np.float32(radius - half - margin)
    foot, slopes, px, py = np.float32(foot), np.float32(slopes), np.float32(lean_x), np.float32(lean_y)
    vx, vy = np.float32(lean_x * hollow), np.float32(lean_y * hollow)
    x, y = np.float32(x), np.float32(y)
    quarter_x, quarter_y = np.float32(share * half_x), np.float32(share * half_y)
    bend, over = np.float32(0.5 / hollow), np.float32(1.0 / hollow)
    hollow, zero, wide = np.float32(hollow), np.float32(0.0), np.uint64(WIDE)
    begin_best(best)
    for place in range(np.uint64(count)):
        vector = np.uint64(vectors[place])
        at = vector_at(base, vector)
        for lane in range(wide):
            i = at + lane
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            off = lists[i + np.uint64(POFF)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u = min(max(-(bx * ux + by * uy), zero), length)
            rx, ry = bx + u * ux, by + u * uy
            away2 = rx * rx + ry * ry
            ax, ay = bx + vx, by + vy
            m = lists[i + np.uint64(PSLOPE)] - (px * ux + py * uy)
            s = min(max(-(ax * ux + ay * uy) - m * hollow, zero), length)
            qx, qy = ax + s * ux, ay + s * uy
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot + m * s - off * slopes
            inside = near - off
            chance = low + (qx * qx + qy * qy) * bend
            chance = chance if away2 <= inside * abs(inside) else BIG
            rise_x, rise_y = -quarter_x * over * qx, -quarter_y * over * qy
            name = np.float32(vector * wide + lane)
            take_better(best, 0, lane, chance - rise_x - rise_y, name)
            take_better(best, 1, lane, chance + rise_x - rise_y, name)
            take_better(best, 2, lane, chance - rise_x + rise_y, name)
            take_better(best, 3, lane, chance + rise_x + rise_y, name)
    return (
        _piece_of(base, place_of(best, 0)), _piece_of(base, place_of(best, 1)),
        _piece_of(base, place_of(best, 2)), _piece_of(base, place_of(best, 3)),
    )  # fmt: skip


@bound_kernel
def keep_pieces(
    lists, base, vectors, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin, limit, to, marks
):
    """Copy the pieces of some vectors whose bound is at most `limit` to the list at `to`; return its length.

    The bounds are those of hollow_kernels.hollow_bounds.  marks: room for sixteen.
    """
    hollow, foot, slopes, over, half = numbers_of(half_x, half_y, lean_x, lean_y, radius, margin)
    far = np.float32(radius + half + over)
    foot, slopes = np.float32(foot - over * slopes - limit), np.float32(slopes)
    px, py = np.float32(lean_x), np.float32(lean_y)
    vx, vy = np.float32(lean_x * hollow), np.float32(lean_y * hollow)
    x, y, half_x, half_y = np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y)
    bend, over = np.float32(0.5 / hollow), np.float32(1.0 / hollow)
    hollow, zero, wide = np.float32(hollow), np.float32(0.0), np.uint64(WIDE)
    kept = np.uint64(0)
    for place in range(np.uint64(count)):
        at = vector_at(base, vectors[place])
        for lane in range(wide):
            i = at + lane
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            off = lists[i + np.uint64(POFF)]
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u = min(max(-(bx * ux + by * uy), zero), length)
            rx, ry = bx + u * ux, by + u * uy
            away2 = rx * rx + ry * ry
            ax, ay = bx + vx, by + vy
            m = lists[i + np.uint64(PSLOPE)] - (px * ux + py * uy)
            s = min(max(-(ax * ux + ay * uy) - m * hollow, zero), length)
            qx, qy = ax + s * ux, ay + s * uy
            ex, ey = qx - min(max(qx, -half_x), half_x), qy - min(max(qy, -half_y), half_y)
            slope = m + (ex * ux + ey * uy) * over
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot + m * s - off * slopes
            low += (ex * ex + ey * ey) * bend + min(-slope * s, slope * (length - s))
            out = far + off
            marks[lane] = low if away2 <= out * out else BIG
        kept = copy_pieces(lists, at, not_above_zero(marks, np.uint64(0)), np.uint64(to), kept)
    close_list(lists, to, kept)
    return np.int64(kept)
