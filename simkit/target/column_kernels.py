"""Kernel: the lowest and the highest crossing of a mesh with upright lines through any points."""

from __future__ import annotations

import math

from simkit._jit import entry_kernel

EDGE = 1e-9  # share of a triangle by which a point may lie outside it and still count as on its edge


@entry_kernel
def column_ends(x, y, corners, origin_x, origin_y, edge, nx, ny, start, items, is_upper, above, out):
    """Fill out (k,) with the highest crossing (is_upper) or the lowest one; NaN where there is none.

    above (k,): only crossings higher than this count.

    corners (m, 3, 3); bins in plan and the triangles of each, as in TargetGrid.bins.
    """
    for k in range(len(x)):
        px, py = x[k], y[k]
        best = -math.inf if is_upper else math.inf
        bx = math.floor((px - origin_x) / edge)
        by = math.floor((py - origin_y) / edge)
        if 0 <= bx < nx and 0 <= by < ny:
            for at in range(start[by * nx + bx], start[by * nx + bx + 1]):
                t = corners[items[at]]
                ux, uy = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1]
                vx, vy = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1]
                wx, wy = px - t[0, 0], py - t[0, 1]
                area = ux * vy - uy * vx
                if area == 0.0:
                    continue
                a, b = (wx * vy - wy * vx) / area, (ux * wy - uy * wx) / area
                if a < -EDGE or b < -EDGE or a + b > 1.0 + EDGE:
                    continue
                z = t[0, 2] + a * (t[1, 2] - t[0, 2]) + b * (t[2, 2] - t[0, 2])
                if not z > above[k]:
                    continue
                best = max(best, z) if is_upper else min(best, z)
        out[k] = best if math.isfinite(best) else math.nan
