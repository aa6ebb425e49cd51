"""Kernels: faces of the target over a square: how they stand, and how far from the cut they may be."""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.compare.between_kernels import (
    EDGE,
    is_apart,
    is_beside,
    most_near,
    narrowed,
    near,
    triangle_high,
)
from simkit.target.closest_kernels import bin_of

EVEN = 0.02  # sine of an angle, a degree: what a plane's tilt may grow by as it is fitted to more


@kernel
def _uphill(px, py, e, corners, boxes, slopes, layout, start, items):
    """Return the direction in plan in which the faces over a square rise; 0, 0 where they do not."""
    origin_x, origin_y, edge, nx, ny = layout
    a = b = 0.0
    for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
        for bx in range(bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx) + 1):
            for k in range(start[by * nx + bx], start[by * nx + bx + 1]):
                t = items[k]
                wide = min(px + e, boxes[t, 3]) - max(px - e, boxes[t, 0])
                deep = min(py + e, boxes[t, 4]) - max(py - e, boxes[t, 1])
                if wide <= 0.0 or deep <= 0.0:
                    continue
                gx, gy, area = slopes[t, 0], slopes[t, 1], slopes[t, 2]
                if area != 0.0 and not is_beside(corners[t], area, px, py, e):
                    a, b = a + wide * deep * gx, b + wide * deep * gy
    length = math.sqrt(a * a + b * b)
    return (a / length, b / length) if length > 1e-12 else (0.0, 0.0)


@kernel
def _relief(px, py, e, least, corners, boxes, slopes, layout, start, items, faces, is_over):
    """Return how far apart two parallel planes lie that hold the faces over a square, and their sine.

    Along their normal; 0 where there is no face; no more is looked through once it is more than `least`.
    The sine: of the angle at which they are tilted.  faces (n, 3), is_over (n,): room.
    """
    count = near(px, py, e, layout, start, items, faces)
    count, a, b = narrowed(px, py, e, faces, count, corners, boxes, slopes, layout, faces, is_over)
    steep = a * a + b * b
    root, sine = math.sqrt(1.0 + steep), math.sqrt(steep / (1.0 + steep))
    high = low = -math.inf
    for i in range(count):
        if not is_over[i]:
            continue
        t = faces[i, 0]
        high = max(high, triangle_high(corners[t], boxes[t], slopes[t], px, py, e, a, b, 1.0))
        low = max(low, triangle_high(corners[t], boxes[t], slopes[t], px, py, e, -a, -b, -1.0))
        if (high + low) / root > least:
            return (high + low) / root, sine
    return max(high + low, 0.0) / root, sine


@entry_kernel
def target_relief(
    first, last, x, y, half, reach, least, corners, boxes, slopes, layout, start, items, relief
):
    """Fill relief (k,) with how far apart two parallel planes lie that hold the target's faces near a square.

    x, y (k,), half mm: squares.  reach, least (k,) mm: near is what a way of `reach` along the normal of the
    planes and one more in plan can lead to; what is more than `least` is told as any such distance.
    """
    most = 0
    for k in range(first, last):
        most = max(most, most_near(x[k], y[k], half + 2.0 * reach[k], layout, start))
    faces, is_over = np.empty((most, 3), np.int32), np.empty(most, np.bool_)
    for k in range(first, last):
        relief[k], sine = _relief(
            x[k], y[k], half + reach[k], least[k], corners, boxes, slopes, layout, start, items, faces,
            is_over,
        )  # fmt: skip
        wide = 0.0
        while relief[k] <= least[k] and sine > wide + EVEN:  # tilted planes: more of the target counts
            wide = min(sine + 2.0 * EVEN, 1.0)
            e = half + (1.0 + wide) * reach[k]
            relief[k], sine = _relief(
                x[k], y[k], e, least[k], corners, boxes, slopes, layout, start, items, faces, is_over
            )


@entry_kernel
def uphill(first, last, x, y, half, corners, boxes, slopes, layout, start, items, ways):
    """Fill ways (k, 2) with the direction in plan in which the target's faces over a square rise, or 0, 0.

    x, y (k,) mm, half mm: squares.  corners, boxes, slopes, layout, start, items: as for faces_off.
    """
    for k in range(first, last):
        ways[k, 0], ways[k, 1] = _uphill(x[k], y[k], half, corners, boxes, slopes, layout, start, items)


@kernel
def _clipped(t, sign, px, py, e, points, other):
    """Put the corners of the part of a triangle over a square into points (9, 3), and return how many.

    z is taken times sign.  other (9, 3): room.
    """
    count = 3
    for k in range(3):
        points[k, 0], points[k, 1], points[k, 2] = t[k, 0], t[k, 1], sign * t[k, 2]
    for cut in range(4):
        axis, way = cut >> 1, 1.0 - 2.0 * (cut & 1)
        edge = way * (px if axis == 0 else py) + e
        left = 0
        for k in range(count):
            after = k + 1 if k + 1 < count else 0
            here, there = edge - way * points[k, axis], edge - way * points[after, axis]  # inside: positive
            if here >= 0.0:
                for i in range(3):
                    other[left, i] = points[k, i]
                left += 1
            if (here >= 0.0) != (there >= 0.0):
                share = here / (here - there)
                for i in range(3):
                    other[left, i] = points[k, i] + share * (points[after, i] - points[k, i])
                left += 1
        count = left
        for k in range(count):
            for i in range(3):
                points[k, i] = other[k, i]
    return count


@entry_kernel
def faces_off(
    first, last, x, y, half, sign, places, cut, corners, boxes, slopes, layout, start, items, off, which,
):  # fmt: skip
    """Fill off (k,) with how far from the cut any part of the target's faces over a square may be, at most.

    x, y (k,) mm, half mm: squares.  sign: 1, how far from material (a gouge), -1, from air (leftover).
    places (k, n, 2) mm: where in plan the cut is known; cut (k, n) mm: its heights there.
    corners, boxes, slopes, layout, start, items: the target's triangles, TargetGrid.faces; upright ones are
    left out (what stands on them is seen from the cut).  which (k,): the place nearest to the face that is
    worst.
    Material, or air, fills the column under, or over, each known place: a convex set, so that the distance
    to it is largest at a corner of the part of a face that lies over the square.
    """
    origin_x, origin_y, edge, nx, ny = layout
    points, room = np.empty((9, 3)), np.empty((9, 3))
    for k in range(first, last):
        px, py, e, worst = x[k], y[k], half + EDGE, 0.0
        which[k] = 0
        for by in range(bin_of(py - e, origin_y, edge, ny), bin_of(py + e, origin_y, edge, ny) + 1):
            for bx in range(bin_of(px - e, origin_x, edge, nx), bin_of(px + e, origin_x, edge, nx) + 1):
                for i in range(start[by * nx + bx], start[by * nx + bx + 1]):
                    t = items[i]
                    if is_apart(boxes[t], px, py, e) or slopes[t, 2] == 0.0:
                        continue
                    if is_beside(corners[t], slopes[t, 2], px, py, e):
                        continue
                    count = _clipped(corners[t], sign, px, py, e, points, room)
                    if count == 0:
                        continue
                    best, nearest = math.inf, 0
                    for n in range(cut.shape[1]):
                        if best <= worst:  # a part that is worse was seen
                            break
                        most = 0.0
                        for j in range(count):
                            dx, dy = points[j, 0] - places[k, n, 0], points[j, 1] - places[k, n, 1]
                            rise = max(points[j, 2] - sign * cut[k, n], 0.0)
                            most = max(most, dx * dx + dy * dy + rise * rise)
                            if most >= best:
                                break
                        if most < best:
                            best, nearest = most, n
                    if best > worst:
                        worst, which[k] = best, nearest
        off[k] = math.sqrt(worst)
