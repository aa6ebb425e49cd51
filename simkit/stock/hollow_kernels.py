"""Lower bounds of a ball's sweep over blocks of cells without a root: hollows, paraboloids that fit under it.

Let f be the lower half of a sphere of radius R, f(r) = R - sqrt(R^2 - r^2), p any slope,
v = R p / sqrt(1 + p^2) the place where f has that slope, and z = R / sqrt(1 + p^2) the height of the centre
above the contact.  With t = 2 v d + d^2,
    f(v + d) - f(v) - p d = z - sqrt(z^2 - t) - v d / z >= t / (2 z) - v d / z = d^2 / (2 z),
as a square root lies below its tangent.  So for a straight move from (a, ha), in plan along u, of slope m and
length L, and every place x, with a' = a + v,
    g(x) - p x >= min over 0 <= s <= L of ha - p a + f(v) - p v + (m - p u) s + |x - a' - s u|^2 / (2 z).
Over a block the last term is at least e(s)^2 / (2 z), e(s) the vector from the block to a' + s u.  What is
left is convex in s, so it lies above its tangent at any s0: with F(s0) the value there and F' = (m - p u) +
e(s0) u / z, the least over the move is at least F(s0) + min(- F' s0, F' (L - s0)).
The result bounds g over the block by a plane of slope p: of all moves the same p, that of what will stand in
the block, from which their bounds are then measured.  Any p and s0 give bounds, good ones give close ones.
Source: own derivation.

Rounding: the sums of p . (x - a), heights and f stay within the margin of bound_kernels.  Beside them
e^2 / (2 z) and e u L / z are off by at most 16 e D^2 / z (e = 2^-24, D the largest coordinate, each made of
at most six operations on numbers off by 4 e D at most); as margin is at least 64 e D, that is less than
margin^2 / (256 e z).
Twin: tests/stock/test_bounds.py evaluates the swept height over blocks and checks every bound.
"""

import math

import numpy as np

from simkit._jit import bound_kernel, loop_kernel
from simkit.stock.list_kernels import (
    BIG,
    CHANCE,
    CHANCE_X,
    CHANCE_Y,
    GROUP,
    LANES,
    LOWEST,
    PH,
    PLEN,
    POFF,
    PSLOPE,
    PUX,
    PUY,
    PX,
    PY,
    SLOPE_X,
    SLOPE_Y,
    lanes_of,
)

# Heights are compared in steps of 1 / FINE mm, within DEEPEST mm of the tile's top, when the most promising
# move is looked for, and its place in the group stands behind: in whole numbers the compiler can find the
# least without fastmath.
FINE, DEEPEST = 4096.0, 1e4
FARTHEST = np.int32(DEEPEST * FINE * LANES)


@loop_kernel
def rank_of(low, lane):
    """A height and a place in a group as one whole number: the least of several has the lowest height."""
    deepest = np.float32(DEEPEST)
    level = np.int32(min(max(low, -deepest), deepest) * np.float32(FINE))
    return np.int32(np.int32(level * np.int32(LANES)) + np.int32(lane))


@loop_kernel
def best_of(group, found):
    """The piece of a group that was found, -1 if there is no group."""
    return group * np.int64(LANES) + np.int64(found & np.int32(LANES - 1)) if group >= 0 else np.int64(-1)


@bound_kernel
def hollow_bounds(lists, base, n, groups, count, x, y, half_x, half_y, lean_x, lean_y, radius, margin):
    """Write bounds of the n pieces of the list at `base`, of a ball cutter, over a block; return `best`.

    x, y: the block's middle, seen from the tile's.  half_x, half_y: half the extent between the outermost
    centres of the block.  lean_x, lean_y: p, about the slope of what will stand in the block.
    Columns written: LOWEST the bound at the middle (BIG if the block is out of reach), SLOPE_X and SLOPE_Y
    its slope, the same for all; CHANCE about the height at the middle (BIG unless the piece covers the whole
    block), CHANCE_X and CHANCE_Y how it changes beside the middle, but for what is the same for all pieces.
    best: the piece with the (nearly) least CHANCE, -1 if none covers the block.
    """
    zero = np.float32(0.0)
    root = math.sqrt(1.0 + lean_x * lean_x + lean_y * lean_y)
    hollow = radius / root
    margin += margin * margin / (256.0 * 2.0**-24 * hollow)
    slopes = 1.0 + abs(lean_x) + abs(lean_y)
    # Height of the contact above the tip, less p v, less the margin.
    foot = (radius - hollow) - (lean_x * lean_x + lean_y * lean_y) * hollow - margin * slopes
    half = math.sqrt(half_x * half_x + half_y * half_y)
    far, near = np.float32(radius + half + margin), np.float32(radius - half - margin)
    foot, slopes, px, py = np.float32(foot), np.float32(slopes), np.float32(lean_x), np.float32(lean_y)
    vx, vy = np.float32(lean_x * hollow), np.float32(lean_y * hollow)
    x, y, half_x, half_y = np.float32(x), np.float32(y), np.float32(half_x), np.float32(half_y)
    bend, over = np.float32(0.5 / hollow), np.float32(1.0 / hollow)
    hollow = np.float32(hollow)
    found, best_group = FARTHEST, np.int64(-1)
    n, base = np.uint64(n), np.uint64(base)
    for place in range(np.uint64(count)):
        group = np.uint64(groups[place])
        at = base + group * np.uint64(GROUP)
        # Of each group anew: the least of a group would else wait for that of the one before.
        least = FARTHEST
        for lane in range(lanes_of(n, group)):
            i = at + lane
            ux, uy, length = lists[i + np.uint64(PUX)], lists[i + np.uint64(PUY)], lists[i + np.uint64(PLEN)]
            off = lists[i + np.uint64(POFF)]
            # How far the middle is from the path.
            bx, by = lists[i + np.uint64(PX)] - x, lists[i + np.uint64(PY)] - y
            u = min(max(-(bx * ux + by * uy), zero), length)
            rx, ry = bx + u * ux, by + u * uy
            away2 = rx * rx + ry * ry
            # The nearest place of the shifted path, and what of the way to it lies beyond the block.
            ax, ay = bx + vx, by + vy
            m = lists[i + np.uint64(PSLOPE)] - (px * ux + py * uy)
            s = min(max(-(ax * ux + ay * uy) - m * hollow, zero), length)
            qx, qy = ax + s * ux, ay + s * uy
            ex, ey = qx - min(max(qx, -half_x), half_x), qy - min(max(qy, -half_y), half_y)
            slope = m + (ex * ux + ey * uy) * over
            low = lists[i + np.uint64(PH)] - (px * bx + py * by) + foot + m * s - off * slopes
            chance = low + (qx * qx + qy * qy) * bend
            low += (ex * ex + ey * ey) * bend + min(-slope * s, slope * (length - s))
            out, inside = far + off, near - off
            chance = chance if away2 <= inside * abs(inside) else BIG
            lists[i + np.uint64(LOWEST)] = low if away2 <= out * out else BIG
            lists[i + np.uint64(SLOPE_X)], lists[i + np.uint64(SLOPE_Y)] = px, py
            lists[i + np.uint64(CHANCE)] = chance
            lists[i + np.uint64(CHANCE_X)], lists[i + np.uint64(CHANCE_Y)] = -over * qx, -over * qy
            rank = rank_of(chance, lane)
            least = np.int32(rank if rank < least else least)
        best_group = np.int64(group) if least < found else best_group
        found = np.int32(least if least < found else found)
    return best_of(best_group, found)
