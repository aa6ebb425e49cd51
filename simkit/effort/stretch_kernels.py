"""Stretches of feed moves, and what is summed up of them, in two passes over the moves (bite.py)."""

import math

import numpy as np

from simkit._jit import entry_kernel, kernel
from simkit.effort.motion_kernels import is_apart

NOTHING = 1e-9  # as in motion.py
STEEP = 1.0  # rise over run: steeper than this a move is a plunge or a lift, no pass
# Columns of a cutter: numbers of its outline (in_wood.outline_rows), 0 for a part that it does not have.
RADIUS, BASE, LINE_TO, FLAT, RISE, ARC_TO, ARC_R2, ARC_E, ARC_F, ARC_TOP, SIDE_Z, SIDE_RISE, REACH = range(13)
OUTLINE = 13
# What is summed up of a stretch, or the most of it.
LONG, SECONDS, VOLUME, WOOD_LONG, WOOD_SECONDS, DOWN, WOOD_LEVEL, RIGHT, UNDER, TOP, DEPTH = range(11)
SUMS = 11


@kernel
def _place_of(numbers, number, last):
    """Where a tool number stands among those of the cutters, -1 for nowhere; last: a place to try first."""
    if last >= 0 and numbers[last] == number:
        return last
    for k in range(len(numbers)):
        if numbers[k] == number:
            return np.int64(k)
    return np.int64(-1)


@kernel
def _effective_radius(o, depth):
    """As chips.effective_radius; o: the columns of a cutter."""
    h = max(depth - o[BASE], 0.0)
    radius = o[RADIUS]
    if o[SIDE_RISE] > 0.0:
        radius = min(o[ARC_TO] + (h - o[SIDE_Z]) / o[SIDE_RISE], radius)
    if o[ARC_R2] > 0.0 and h <= o[ARC_TOP]:
        below = o[ARC_F] - min(h, o[ARC_F])
        radius = min(o[ARC_E] + math.sqrt(max(o[ARC_R2] - below * below, 0.0)), o[ARC_TO])
    if o[RISE] > 0.0 and h <= o[LINE_TO]:
        radius = o[FLAT] + h / o[RISE]
    return radius


@entry_kernel
def line_spans(first, last, start, end, tool, volume, along, top, numbers, outlines, span):
    """Write between which parts (n, 2) of its length each of the moves [first, last) takes wood, as lines.

    start, end (n, 3), tool (n,): of all moves; volume (n,), along (n, 2), top (n,): of their replay.
    numbers (k,), outlines (k, OUTLINE): of the cutters.  As in_wood.parts_in_wood.
    """
    k = np.int64(-1)
    for i in range(first, last):
        if not volume[i] > 0.0:
            span[i, 0] = span[i, 1] = 0.0
            continue
        z0, z1 = start[i, 2], end[i, 2]
        rise = z1 - z0
        is_down, is_up = rise < -NOTHING, rise > NOTHING
        crossing = min(max((top[i] - z0) / (rise if is_down or is_up else 1.0), 0.0), 1.0)
        begin, stop = crossing if is_down else 0.0, crossing if is_up else 1.0
        x, y = end[i, 0] - start[i, 0], end[i, 1] - start[i, 1]
        level = math.sqrt(x * x + y * y)
        k = _place_of(numbers, tool[i], k)
        if k >= 0 and math.isfinite(along[i, 0]) and level > NOTHING:
            radius = _effective_radius(outlines[k], top[i] - min(z0, z1))
            begin = max(begin, (along[i, 0] - radius) / level)
            stop = min(stop, (along[i, 1] + (radius if is_down else 0.0)) / level)
        span[i, 0] = min(max(begin, 0.0), 1.0)
        span[i, 1] = min(max(max(stop, begin), 0.0), 1.0)


@entry_kernel
def stretches(
    start, end, length, rapid, columns, speed, feed, numbers, outlines, span, of, first, is_pass, ends,
    members,
):  # fmt: skip
    """Write which stretch each move belongs to, and the first move of each; return how many there are.

    columns (program, tool); span (n, 2): of line_spans, arcs put right.  numbers, outlines: of the cutters.
    Written: of (n,), -1 for none; first, is_pass (n,): as many as there are; ends (n, 2): how far along all
    moves its first and its last wood lies; members (n,): how many moves.
    """
    n = len(length)
    count, k = np.int64(0), np.int64(-1)
    so_far, began, behind = 0.0, 0.0, 0.0
    was_pass, was_own, part_before = False, False, 0.0
    for i in range(n):
        long = length[i]
        rise = end[i, 2] - start[i, 2]
        level = math.sqrt(max(long * long - rise * rise, 0.0))
        passes = level * STEEP >= abs(rise)
        is_own = (not rapid[i]) & (long > NOTHING)
        begins = i == 0 or passes != was_pass or is_own != was_own
        begins = begins or is_apart(i, start, end, *columns, speed) or feed[i] != feed[i - 1]
        k = _place_of(numbers, columns[1][i], k)
        widest = outlines[k, REACH] if k >= 0 else 0.0
        # A long one stands for itself: a short way down before it would be a mean over both.
        begins = begins or long >= widest
        if begins:
            began = so_far
        # A move belongs to the stretch in which it begins; those that begin behind a long one start anew.
        part = math.floor((so_far - began) / max(widest, 1e-6) + 1e-9)
        behind += long
        of[i] = -1
        if is_own:
            if begins or part != part_before:
                first[count], is_pass[count], members[count] = i, passes, 0
                ends[count, 0], ends[count, 1] = math.inf, -math.inf
                count += 1
            own = count - 1
            of[i] = own
            members[own] += 1
            if span[i, 1] > 0.0:
                ahead = behind - long
                ends[own, 0] = min(ends[own, 0], ahead + long * span[i, 0])
                ends[own, 1] = max(ends[own, 1], ahead + long * span[i, 1])
            so_far += long
        was_pass, was_own, part_before = passes, is_own, part
    return count


@entry_kernel
def sums(
    start, end, length, seconds, top, volume, right, under, depth, of, ends, members, cell, share, row, found
):  # fmt: skip
    """Write which part of each move is in wood, and what is summed up of the stretches.

    seconds, top (n,): of its time; volume, right, under, depth (n,): of the replay.  of, ends, members: of
    stretches.  cell mm: moves shorter than that take nothing now and then, so where there are several a cell
    more counts on both sides.  Written: share (n,); row (m,): the move that takes most, the first on ties;
    found (SUMS, m).  One after the other: a sum has the same bits however many there are.
    """
    behind, own = 0.0, np.int64(-1)
    first, last, largest = 0.0, 0.0, 0.0
    for i in range(len(length)):
        long = length[i]
        behind += long
        share[i] = 0.0
        if of[i] < 0:
            continue
        if of[i] != own:
            own = of[i]
            more = cell if members[own] > 1 else 0.0
            first, last, largest = ends[own, 0] - more, ends[own, 1] + more, -math.inf
            for q in range(SUMS):
                found[q, own] = 0.0
        both = min(behind, last) - max(behind - long, first)
        part = min(max(both / long, 0.0), 1.0)
        share[i] = part
        rise = end[i, 2] - start[i, 2]
        level = math.sqrt(max(long * long - rise * rise, 0.0))
        fall = max(-rise, 0.0)
        found[LONG, own] += long
        found[SECONDS, own] += seconds[i]
        found[VOLUME, own] += volume[i]
        found[WOOD_LONG, own] += long * part
        found[WOOD_SECONDS, own] += seconds[i] * part
        found[DOWN, own] += fall * part
        found[WOOD_LEVEL, own] += level * part
        found[RIGHT, own] += right[i]
        # Of a way in short moves each one finds what the last has left: no more than it comes down itself.
        found[UNDER, own] += min(under[i], fall)
        found[TOP, own] = max(found[TOP, own], top[i])
        found[DEPTH, own] = max(found[DEPTH, own], np.float64(depth[i]))
        if volume[i] > largest:
            largest, row[own] = volume[i], i
