"""Kernels behind walls.py: the surface of columns as points with inward normals, kept in blocks.

Positions are taken against the outer corner of cell (0, 0).  Entry e = kinds * block + kind holds the
points of one kind that belong to the cells of one square block: kind UPPER and LOWER those of the two
surfaces, kind SIDE + k those of its sides in the k-th layer of height `layer` above `floor`.
"""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, working_kernel

BLOCK = 8  # cells along the edge of a block: about half a usual cap at usual cells
STEADY = 32  # added to the face code of a side point between two exact ones on a steady steep face
LAYERS = 64  # at most so many layers of sides
UPPER, LOWER, SIDE = 0, 1, 2
TALL = 2.0  # cells between points up a vertical side
STEP = 1.25  # a difference between neighbours above this many cells gets side points
DISC = 3.0  # cells, radius of the disc whose share of material gives the plan normal of a side


@kernel
def slope_of(before, here, after, is_before, is_after, cell):
    """Slope of a surface along one axis, from the side that does not jump."""
    if is_before and is_after:
        a = (here - before) / cell
        b = (after - here) / cell
        small = a if abs(a) < abs(b) else b
        if abs(a - b) <= 0.5 * (1.0 + abs(small)):
            return 0.5 * (a + b)
        if a * b < 0.0 and abs(small) > 0.25 * max(abs(a), abs(b)):
            return 0.0
        return small
    if is_before:
        return (here - before) / cell
    if is_after:
        return (after - here) / cell
    return 0.0


@kernel
def slopes_of_row(iy, z, solid, cell, slopes):
    """Slopes of one row of cells."""
    ny, nx = z.shape
    for ix in range(nx):
        if not solid[iy, ix]:
            continue
        here = float(z[iy, ix])
        before = ix > 0 and solid[iy, ix - 1]
        after = ix < nx - 1 and solid[iy, ix + 1]
        z0 = float(z[iy, ix - 1]) if before else 0.0
        z1 = float(z[iy, ix + 1]) if after else 0.0
        slopes[0, iy, ix] = slope_of(z0, here, z1, before, after, cell)
        before = iy > 0 and solid[iy - 1, ix]
        after = iy < ny - 1 and solid[iy + 1, ix]
        z0 = float(z[iy - 1, ix]) if before else 0.0
        z1 = float(z[iy + 1, ix]) if after else 0.0
        slopes[1, iy, ix] = slope_of(z0, here, z1, before, after, cell)


@entry_kernel
def surface_slopes(z, solid, cell):
    """Slopes along x and y of one surface over its solid cells, (2, ny, nx) float32."""
    ny, nx = z.shape
    slopes = np.zeros((2, ny, nx), np.float32)
    for iy in range(ny):
        slopes_of_row(iy, z, solid, cell, slopes)
    return slopes


@kernel
def is_solid_at(lower, upper, solid, iy, ix, z):
    """Whether the column (iy, ix) holds material at height z."""
    ny, nx = lower.shape
    if iy < 0 or ix < 0 or iy >= ny or ix >= nx:
        return False
    return solid[iy, ix] and lower[iy, ix] < z < upper[iy, ix]


@kernel
def plan_normal(lower, upper, solid, iy, ix, dy, dx, z):
    """Inward plan normal of the side between cell (iy, ix) and its neighbour, at height z.

    The centroid of the material in a disc about the middle of the side: exact for a straight side
    through it, but for the lattice.
    """
    sx = 0.0
    sy = 0.0
    half = int(DISC) + 1
    for jy in range(iy - half, iy + half + 1):
        for jx in range(ix - half, ix + half + 1):
            ox = jx - ix - 0.5 * dx
            oy = jy - iy - 0.5 * dy
            w = DISC + 0.5 - math.sqrt(ox * ox + oy * oy)
            if w > 0.0 and is_solid_at(lower, upper, solid, jy, jx, z):
                sx += w * ox
                sy += w * oy
    size = math.sqrt(sx * sx + sy * sy)
    if size < 1e-9:
        return -float(dx), -float(dy)
    return sx / size, sy / size


@kernel
def put(points, normals, owner, face, at, x, y, z, nx, ny, nz, cell_index, code):
    """Store one point."""
    points[at, 0] = x
    points[at, 1] = y
    points[at, 2] = z
    normals[at, 0] = nx
    normals[at, 1] = ny
    normals[at, 2] = nz
    owner[at] = cell_index
    face[at] = code


@kernel
def far_slope(z, solid, iy, ix, dy, dx):
    """Rise from cell (iy, ix) to its neighbour in direction (dy, dx), NaN where there is none."""
    ny, nx = z.shape
    jy = iy + dy
    jx = ix + dx
    if jy < 0 or jx < 0 or jy >= ny or jx >= nx or not solid[jy, jx]:
        return math.nan
    return float(z[jy, jx]) - float(z[iy, ix])


@kernel
def side_points(
    iy, ix, lower, upper, solid, slopes, cell, edge_is_face, floor, layer, fill,
    cursor, points, normals, owner, face,
):  # fmt: skip
    """Side points of one solid cell: where its column stands bare beside each of its neighbours.

    cursor (kinds,) int64: next free place of each kind of point; moved on.  Without `fill` the
    points are only counted.
    """
    ny, nx = lower.shape
    low = float(lower[iy, ix])
    high = float(upper[iy, ix])
    x = (ix + 0.5) * cell
    y = (iy + 0.5) * cell
    for direction in range(1, 5):
        dx = 1 if direction == 1 else (-1 if direction == 2 else 0)
        dy = 1 if direction == 3 else (-1 if direction == 4 else 0)
        jy = iy + dy
        jx = ix + dx
        is_out = jy < 0 or jx < 0 or jy >= ny or jx >= nx
        if is_out and not edge_is_face:
            continue
        is_empty = is_out or not solid[jy, jx]
        middle = 0.5 * (low + high)
        if is_empty and not is_out:
            cut = 0.5 * (float(upper[jy, jx]) + float(lower[jy, jx]))
            if math.isfinite(cut):
                middle = cut
        for surface in range(1 if is_empty else 2):
            is_smooth = False
            is_steady = False
            z0, z1 = low, high
            if not is_empty:
                if surface == UPPER:
                    z0 = max(low, float(upper[jy, jx]))
                else:
                    z1 = min(high, float(lower[jy, jx]))
            rise = z1 - z0
            if rise <= (0.0 if is_empty else STEP * cell):
                continue
            z = upper if surface == UPPER else lower
            sign = 1.0 if surface == UPPER else -1.0
            gx = 0.0
            gy = 0.0
            if not is_empty:
                # A steep but steady face goes on beyond one of the two cells; a jump does not.
                near = far_slope(z, solid, iy, ix, -dy, -dx)
                far = far_slope(z, solid, jy, jx, dy, dx)
                is_smooth = sign * near >= 0.5 * rise or -sign * far >= 0.5 * rise
                is_steady = abs(sign * near - rise) <= 0.25 * rise and abs(-sign * far - rise) <= 0.25 * rise
                at = 2 * surface + (1 if dx != 0 else 0)
                other = 0.5 * (slopes[at, iy, ix] + slopes[at, jy, jx])
                along = (float(z[jy, jx]) - float(z[iy, ix])) / cell * (dx + dy)
                gx = along if dx != 0 else other
                gy = other if dx != 0 else along
            if is_smooth:
                n = math.ceil(rise / cell)
                size = sign / math.sqrt(1.0 + gx * gx + gy * gy)
                mx, my, mz = gx * size, gy * size, -size
            else:
                n = math.ceil(rise / (TALL * cell))
                mx, my, mz = 0.0, 0.0, 0.0
            for k in range(1 if is_smooth else 0, n):
                whose = surface
                if is_smooth:
                    s = k / n
                    height = (1.0 - s) * float(z[iy, ix]) + s * float(z[jy, jx])
                else:
                    s = 0.5
                    height = z0 + (k + 0.5) * rise / n
                    if is_empty:
                        whose = UPPER if height >= middle else LOWER
                kind = SIDE + max(0, min(len(cursor) - SIDE - 1, int((height - floor) / layer)))
                if fill:
                    if not is_smooth and k % 2 == 0:
                        mx, my = plan_normal(lower, upper, solid, iy, ix, dy, dx, height)
                    put(
                        points, normals, owner, face, cursor[kind],
                        x + s * cell * dx, y + s * cell * dy, height,
                        mx, my, mz, iy * nx + ix, whose + 2 * direction + (STEADY if is_steady else 0),
                    )  # fmt: skip
                cursor[kind] += 1


@kernel
def bound_entry(points, normals, first, last, box, cone):
    """Box of the points of an entry, and the cone of their normals with the cosine that clears it.

    A ball with a normal whose cosine to the axis is above cone[3] can have no opposed point here.
    """
    for k in range(3):
        box[k] = math.inf
        box[3 + k] = -math.inf
        cone[k] = 0.0
    cone[3] = math.inf
    if first == last:
        return
    for i in range(first, last):
        for k in range(3):
            box[k] = min(box[k], points[i, k])
            box[3 + k] = max(box[3 + k], points[i, k])
            cone[k] += normals[i, k]
    size = math.sqrt(cone[0] ** 2 + cone[1] ** 2 + cone[2] ** 2)
    if size < 1e-6 * (last - first):
        return
    least = 1.0
    for k in range(3):
        cone[k] /= size
    for i in range(first, last):
        c = normals[i, 0] * cone[0] + normals[i, 1] * cone[1] + normals[i, 2] * cone[2]
        least = min(least, c)
    half = math.acos(max(-1.0, least)) + 1e-3  # the margin covers float32 normals
    free = 2.0 * math.pi / 3.0 - half
    if free > 0.0:
        cone[3] = math.cos(free)


@working_kernel
def block_points(
    b, fill, lower, upper, solid, slopes, cell, edge_is_face, floor, layer, nbx, kinds,
    start, points, normals, owner, face, boxes, cones,
):  # fmt: skip
    """Count the points of one block into start, one place later, or write them with box and cone."""
    ny, nx = lower.shape
    by = b // nbx
    bx = b - by * nbx
    e0 = kinds * b
    cursor = np.zeros(kinds, np.int64)
    for e in range(kinds if fill else 0):
        cursor[e] = start[e0 + e]
    for iy in range(by * BLOCK, min(ny, (by + 1) * BLOCK)):
        for ix in range(bx * BLOCK, min(nx, (bx + 1) * BLOCK)):
            if not solid[iy, ix]:
                continue
            side_points(
                iy, ix, lower, upper, solid, slopes, cell, edge_is_face, floor, layer, fill,
                cursor, points, normals, owner, face,
            )  # fmt: skip
            for surface in range(2):
                if fill:
                    gx = float(slopes[2 * surface, iy, ix])
                    gy = float(slopes[2 * surface + 1, iy, ix])
                    size = (1.0 if surface == UPPER else -1.0) / math.sqrt(1.0 + gx * gx + gy * gy)
                    put(
                        points, normals, owner, face, cursor[surface],
                        (ix + 0.5) * cell, (iy + 0.5) * cell,
                        float(upper[iy, ix]) if surface == UPPER else float(lower[iy, ix]),
                        gx * size, gy * size, -size, iy * nx + ix, surface,
                    )  # fmt: skip
                cursor[surface] += 1
    if fill:
        for e in range(e0, e0 + kinds):
            bound_entry(points, normals, start[e], start[e + 1], boxes[e], cones[e])
    else:
        for e in range(kinds):
            start[e0 + 1 + e] = cursor[e]


@entry_kernel
def surface_points(
    first, last, fill, lower, upper, solid, slopes, cell, edge_is_face, floor, layer, nby, nbx, kinds,
    start, points, normals, owner, face, boxes, cones,
):  # fmt: skip
    """Run block_points over the blocks first <= b < last; start (kinds * blocks + 1,) int64."""
    for b in range(first, last):
        block_points(
            b, fill, lower, upper, solid, slopes, cell, edge_is_face, floor, layer, nbx, kinds,
            start, points, normals, owner, face, boxes, cones,
        )  # fmt: skip
