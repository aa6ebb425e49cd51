"""Kernels: triangles binned in plan, and the exact distance from points to the nearest of them."""

from __future__ import annotations

import numpy as np

from simkit._jit import entry_kernel, kernel

RUN = 64  # points that one task takes in a row


@kernel
def bin_of(v, origin, edge, n):
    """Return the bin that holds coordinate v, clipped to 0..n-1."""
    return int(max(0.0, min(n - 1.0, np.floor((v - origin) / edge))))


@entry_kernel
def bin_triangles(boxes, chosen, origin_x, origin_y, edge, nx, ny):
    """Return start (nx*ny + 1,), items and lowest and highest z (nx*ny, 2) of bins in plan.

    boxes (m, 6) mm; chosen: the triangles to bin, rising.  A triangle lies in every bin
    its box meets; items of a bin rise.
    """
    start = np.zeros(nx * ny + 1, np.int64)
    heights = np.empty((nx * ny, 2))
    heights[:, 0] = np.inf
    heights[:, 1] = -np.inf
    for t in chosen:
        for by in range(bin_of(boxes[t, 1], origin_y, edge, ny), bin_of(boxes[t, 4], origin_y, edge, ny) + 1):
            for bx in range(
                bin_of(boxes[t, 0], origin_x, edge, nx), bin_of(boxes[t, 3], origin_x, edge, nx) + 1
            ):
                b = by * nx + bx
                start[b + 1] += 1
                heights[b, 0] = min(heights[b, 0], boxes[t, 2])
                heights[b, 1] = max(heights[b, 1], boxes[t, 5])
    for b in range(nx * ny):
        start[b + 1] += start[b]
    items = np.empty(start[-1], np.int64)
    cursor = start[:-1].copy()
    for t in chosen:
        for by in range(bin_of(boxes[t, 1], origin_y, edge, ny), bin_of(boxes[t, 4], origin_y, edge, ny) + 1):
            for bx in range(
                bin_of(boxes[t, 0], origin_x, edge, nx), bin_of(boxes[t, 3], origin_x, edge, nx) + 1
            ):
                b = by * nx + bx
                items[cursor[b]] = t
                cursor[b] += 1
    return start, items, heights


@kernel
def gradient(t):
    """Return the slope of a triangle (3, 3) in x and y, and twice its signed area in plan."""
    ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    area = ux * vy - uy * vx
    if abs(area) <= 1e-12:
        return 0.0, 0.0, 0.0
    return (uz * vy - vz * uy) / area, (vz * ux - uz * vx) / area, area


@entry_kernel
def gradients(corners):
    """Return slopes in x and y and twice the area in plan (m, 3) of triangles (m, 3, 3); 0: upright."""
    found = np.empty((corners.shape[0], 3))
    for k in range(corners.shape[0]):
        found[k, 0], found[k, 1], found[k, 2] = gradient(corners[k])
    return found


@kernel
def segment_distance2(px, py, pz, dx, dy, dz):
    """Return the squared distance from p to the segment from the origin to d."""
    length2 = dx * dx + dy * dy + dz * dz
    t = 0.0
    if length2 > 0.0:
        t = min(1.0, max(0.0, (px * dx + py * dy + pz * dz) / length2))
    ex, ey, ez = px - t * dx, py - t * dy, pz - t * dz
    return ex * ex + ey * ey + ez * ez


@kernel
def triangle_distance2(px, py, pz, c):
    """Return the squared distance from a point to the triangle with corners c (3, 3)."""
    ux, uy, uz = c[1, 0] - c[0, 0], c[1, 1] - c[0, 1], c[1, 2] - c[0, 2]
    vx, vy, vz = c[2, 0] - c[0, 0], c[2, 1] - c[0, 1], c[2, 2] - c[0, 2]
    ax, ay, az = px - c[0, 0], py - c[0, 1], pz - c[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    area2 = nx * nx + ny * ny + nz * nz
    if area2 > 0.0:
        # Barycentric signs by cross products: inside all three edges, the plane is nearest.
        w = (uy * az - uz * ay) * nx + (uz * ax - ux * az) * ny + (ux * ay - uy * ax) * nz
        v = (ay * vz - az * vy) * nx + (az * vx - ax * vz) * ny + (ax * vy - ay * vx) * nz
        if w >= 0.0 and v >= 0.0 and w + v <= area2:
            height = ax * nx + ay * ny + az * nz
            return height * height / area2
    best = segment_distance2(ax, ay, az, ux, uy, uz)
    best = min(best, segment_distance2(ax, ay, az, vx, vy, vz))
    return min(best, segment_distance2(ax - ux, ay - uy, az - uz, vx - ux, vy - uy, vz - uz))


@kernel
def _outside(v, low, high):
    """Return how far v lies outside [low, high]."""
    return max(0.0, max(low - v, v - high))


@kernel
def _search_bin(
    px, py, pz, best, winner, corners, boxes, origin_x, origin_y, edge, nx, bx, by, start, items, heights
):
    """Return best and winner, or the squared distance and number of a nearer triangle of one bin."""
    b = by * nx + bx
    if start[b] == start[b + 1]:
        return best, winner
    gx = _outside(px, origin_x + bx * edge, origin_x + (bx + 1) * edge)
    gy = _outside(py, origin_y + by * edge, origin_y + (by + 1) * edge)
    gz = _outside(pz, heights[b, 0], heights[b, 1])
    if gx * gx + gy * gy + gz * gz >= best:
        return best, winner
    for k in range(start[b], start[b + 1]):
        t = items[k]
        dx = _outside(px, boxes[t, 0], boxes[t, 3])
        dy = _outside(py, boxes[t, 1], boxes[t, 4])
        dz = _outside(pz, boxes[t, 2], boxes[t, 5])
        if dx * dx + dy * dy + dz * dz < best:
            found = triangle_distance2(px, py, pz, corners[t])
            if found < best:
                best, winner = found, t
    return best, winner


@entry_kernel
def group_bins(heights, nx, ny, group):
    """Return lowest and highest z of the groups of `group` x `group` bins (groups, 2), rows of groups."""
    gx_count, gy_count = -(-nx // group), -(-ny // group)
    out = np.empty((gx_count * gy_count, 2))
    out[:, 0] = np.inf
    out[:, 1] = -np.inf
    for by in range(ny):
        for bx in range(nx):
            g = (by // group) * gx_count + bx // group
            out[g, 0] = min(out[g, 0], heights[by * nx + bx, 0])
            out[g, 1] = max(out[g, 1], heights[by * nx + bx, 1])
    return out


@kernel
def _search_group(
    px, py, pz, best, winner, corners, boxes,
    origin_x, origin_y, edge, nx, ny, start, items, heights, group, gx, gy, tops,
):  # fmt: skip
    """Return best and winner, or those of a nearer triangle of one group of bins."""
    g = gy * (-(-nx // group)) + gx
    dx = _outside(px, origin_x + gx * group * edge, origin_x + (gx + 1) * group * edge)
    dy = _outside(py, origin_y + gy * group * edge, origin_y + (gy + 1) * group * edge)
    dz = _outside(pz, tops[g, 0], tops[g, 1])
    if not dx * dx + dy * dy + dz * dz < best:
        return best, winner
    for by in range(gy * group, min(ny, (gy + 1) * group)):
        for bx in range(gx * group, min(nx, (gx + 1) * group)):
            best, winner = _search_bin(
                px, py, pz, best, winner, corners, boxes,
                origin_x, origin_y, edge, nx, bx, by, start, items, heights,
            )  # fmt: skip
    return best, winner


@entry_kernel
def closest_distance(
    first, last, points, within, corners, boxes, origin_x, origin_y, edge, nx, ny, start, items, heights,
    group, tops, out, nearest,
):  # fmt: skip
    """Fill out (k,) with the distance from each point to the nearest binned triangle, at most within.

    nearest (k,): which triangle that is, where `within` is not the answer; of no length: not asked.

    The triangle that won for the point before and the point's own bin come first, for a good bound;
    then groups of bins in square rings about the point's own group, until a ring is farther away than
    the best.  Points are taken in runs, first <= run < last, so that neighbours follow each other;
    the answer is the same in any order.
    """
    side = group * edge
    gx_count, gy_count = -(-nx // group), -(-ny // group)
    for chunk in range(first, last):
        winner = -1
        for p in range(chunk * RUN, min(len(points), (chunk + 1) * RUN)):
            px, py, pz = points[p, 0], points[p, 1], points[p, 2]
            best = within[p] * within[p]
            if winner >= 0:
                best = min(best, triangle_distance2(px, py, pz, corners[winner]))
            bx, by = bin_of(px, origin_x, edge, nx), bin_of(py, origin_y, edge, ny)
            best, winner = _search_bin(
                px, py, pz, best, winner, corners, boxes,
                origin_x, origin_y, edge, nx, bx, by, start, items, heights,
            )  # fmt: skip
            cx, cy = bx // group, by // group
            # A point outside the grid starts at the nearest group: its rings are farther away still.
            inner_x = min(px - (origin_x + cx * side), origin_x + (cx + 1) * side - px)
            inner_y = min(py - (origin_y + cy * side), origin_y + (cy + 1) * side - py)
            inner = max(0.0, min(inner_x, inner_y))
            rings = max(max(cx, gx_count - 1 - cx), max(cy, gy_count - 1 - cy))
            for ring in range(rings + 1):
                if ring > 0:
                    reach = inner + (ring - 1) * side
                    if reach * reach >= best:
                        break
                for gy in range(max(0, cy - ring), min(gy_count - 1, cy + ring) + 1):
                    step = 1 if gy in (cy - ring, cy + ring) or ring == 0 else 2 * ring
                    for gx in range(cx - ring, cx + ring + 1, step):
                        if 0 <= gx < gx_count:
                            best, winner = _search_group(
                                px, py, pz, best, winner, corners, boxes,
                                origin_x, origin_y, edge, nx, ny, start, items, heights, group, gx, gy, tops,
                            )  # fmt: skip
            out[p] = np.sqrt(best)
            if len(nearest):
                nearest[p] = winner
