"""Kernels behind walls.py: surface points with inward normals in blocks, and the largest ball at each.

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
OPPOSED = -0.5  # cosine of 120 degrees, the least angle between the contact normals of a wall
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


@kernel
def is_through(lower, upper, solid, cell, p, q):
    """Whether the chord between two contacts runs through material.

    Looked at about every cell, one cell away from either end, in the four columns about the place
    and with half a cell to spare: so a gap of about two cells or less is taken for material.
    """
    x = float(p[0])
    y = float(p[1])
    dx = q[0] - x
    dy = q[1] - y
    dz = q[2] - float(p[2])
    n = int(math.sqrt(dx * dx + dy * dy + dz * dz) / cell)
    for k in range(1, n):
        s = k / n
        u = (x + s * dx) / cell - 0.5
        v = (y + s * dy) / cell - 0.5
        z = p[2] + s * dz
        ix = math.floor(u)
        iy = math.floor(v)
        found = False
        for jy in range(iy, iy + 2):
            for jx in range(ix, ix + 2):
                if is_solid_at(lower, upper, solid, jy, jx, z - 0.5 * cell) or is_solid_at(
                    lower, upper, solid, jy, jx, z + 0.5 * cell
                ):
                    found = True
        if not found:
            return False
    return True


@kernel
def spacing2(normals, i, cell):
    """Square of the most that a place on the surface lies from the nearest point about point i.

    Between points up a vertical side lie two cells, along it at most sqrt 2 cells.
    """
    nz2 = float(normals[i, 2]) ** 2
    return 0.25 * cell * cell * (1.0 + min(1.0 / max(nz2, 1e-9), 5.0))


@kernel
def wall_bound(normals, face, p, q, t, cell, stride):
    """How far a thickness t between points p and q may be off; terms as in wall_thickness."""
    c = 0.0
    for k in range(3):
        c += float(normals[p, k]) * float(normals[q, k])
    # tan and 1/cos of half the angle between the faces, from the cosine of their normals
    tan = math.sqrt(max(0.0, 1.0 + c) / max(1e-9, 1.0 - c))
    secant = math.sqrt(2.0 / max(1e-9, 1.0 - c))
    sides = 0.0
    for i in (p, q):
        # Between points of a steady face the chord sags by rise / 32 at most, as its rise changes
        # by a quarter; elsewhere the face stands anywhere between two cell centres.
        if face[i] >= STEADY:
            sides += 0.0625
        elif face[i] >= 2:
            sides += 1.0
    off = spacing2(normals, q, cell) / max(t, cell)
    off += 2.0 * tan * stride * math.sqrt(spacing2(normals, p, cell))
    return off + sides * (0.5 * cell * secant + 0.005 * t)


@kernel
def opposing_entries(mine, by, bx, nby, nbx, kinds, cap, cell, start, boxes, cones, near, gap):
    """Entries within `cap` of entry `mine` that can hold opposed points, nearest first; their number.

    near receives the entries, gap the squares of their distances.
    """
    reach = int(cap / (BLOCK * cell)) + 2
    n_near = 0
    own_half = 4.0
    if cones[mine, 3] != math.inf:
        own_half = 2.0 * math.pi / 3.0 - math.acos(cones[mine, 3])
    for jy in range(max(0, by - reach), min(nby, by + reach + 1)):
        for jx in range(max(0, bx - reach), min(nbx, bx + reach + 1)):
            for e in range(kinds * (jy * nbx + jx), kinds * (jy * nbx + jx + 1)):
                if start[e] == start[e + 1]:
                    continue
                d2 = 0.0
                for k in range(3):
                    d = max(boxes[e, k] - boxes[mine, 3 + k], boxes[mine, k] - boxes[e, 3 + k], 0.0)
                    d2 += d * d
                if d2 >= cap * cap:
                    continue
                if cones[e, 3] != math.inf and own_half < 4.0:
                    c = 0.0
                    for k in range(3):
                        c += cones[mine, k] * cones[e, k]
                    if math.acos(max(-1.0, min(1.0, c))) + own_half < math.acos(cones[e, 3]):
                        continue
                at = n_near
                while at > 0 and gap[at - 1] > d2:
                    gap[at] = gap[at - 1]
                    near[at] = near[at - 1]
                    at -= 1
                gap[at] = d2
                near[at] = e
                n_near += 1
    return n_near


@kernel
def largest_ball(
    p, first, cap, is_careful, n_near, near, gap, lower, upper, solid, cell, start, points, normals,
    boxes, cones,
):  # fmt: skip
    """Diameter of the largest ball at point p, and the point that stops it; (cap, -1) when none does.

    first: a point to try before all others, -1 for none.  is_careful: take only points whose chord
    to p runs through material.
    """
    px = float(points[p, 0])
    py = float(points[p, 1])
    pz = float(points[p, 2])
    ax = float(normals[p, 0])
    ay = float(normals[p, 1])
    az = float(normals[p, 2])
    best = cap
    found = -1
    for j in range(-1, n_near):
        if j < 0:
            if first < 0:
                continue
            q0 = first
            q1 = first + 1
        else:
            e = near[j]
            if gap[j] >= best * best:
                break
            if ax * cones[e, 0] + ay * cones[e, 1] + az * cones[e, 2] > cones[e, 3]:
                continue
            # Only points inside the ball that stands now can make it smaller; the margin, a millionth,
            # keeps level faces that the ball just touches from being searched for nothing.
            r = 0.5 * best
            x = px + r * ax
            y = py + r * ay
            z = pz + r * az
            ox = max(boxes[e, 0] - x, x - boxes[e, 3], 0.0)
            oy = max(boxes[e, 1] - y, y - boxes[e, 4], 0.0)
            oz = max(boxes[e, 2] - z, z - boxes[e, 5], 0.0)
            if ox * ox + oy * oy + oz * oz >= r * r * (1.0 - 1e-6):
                continue
            q0 = start[e]
            q1 = start[e + 1]
        for q in range(q0, q1):
            x = points[q, 0] - px
            y = points[q, 1] - py
            z = points[q, 2] - pz
            s = x * ax + y * ay + z * az
            d2 = x * x + y * y + z * z
            if d2 < best * s:
                c = ax * normals[q, 0] + ay * normals[q, 1] + az * normals[q, 2]
                if c <= OPPOSED and not (
                    is_careful and not is_through(lower, upper, solid, cell, points[p], points[q])
                ):
                    best = d2 / s
                    found = q
    return best, found


@working_kernel
def block_balls(
    b, lower, upper, solid, looked, cell, cap, stride, nby, nbx, kinds,
    start, points, normals, owner, face, boxes, cones, thick, bound, pair,
):  # fmt: skip
    """Largest balls at the points of one block, written to its cells."""
    ny, nx = lower.shape
    by = b // nbx
    bx = b - by * nbx
    is_any = False
    for iy in range(by * BLOCK, min((by + 1) * BLOCK, ny)):
        for ix in range(bx * BLOCK, min((bx + 1) * BLOCK, nx)):
            is_any = is_any or looked[iy, ix]
    if not is_any:
        return
    reach = int(cap / (BLOCK * cell)) + 2
    room = kinds * (2 * reach + 1) ** 2
    near = np.empty(room, np.int64)
    gap = np.empty(room, np.float64)
    for entry in range(kinds):
        kind = min(entry, SIDE)
        mine = kinds * b + entry
        if start[mine] == start[mine + 1]:
            continue
        n_near = opposing_entries(mine, by, bx, nby, nbx, kinds, cap, cell, start, boxes, cones, near, gap)
        if n_near == 0:
            continue
        for p in range(start[mine], start[mine + 1]):
            iy = owner[p] // nx
            ix = owner[p] - iy * nx
            if iy % stride != 0 or ix % stride != 0 or not looked[iy, ix]:
                continue
            # The other surface of the same column stands in the same order: a good first guess.
            first = -1 if kind == SIDE else start[kinds * b + 1 - kind] + p - start[mine]
            best, found = largest_ball(
                p, first, cap, False, n_near, near, gap, lower, upper, solid, cell, start, points,
                normals, boxes, cones,
            )  # fmt: skip
            if found >= 0 and not is_through(lower, upper, solid, cell, points[p], points[found]):
                best, found = largest_ball(
                    p, first, cap, True, n_near, near, gap, lower, upper, solid, cell, start, points,
                    normals, boxes, cones,
                )  # fmt: skip
            if found < 0:
                continue
            least = math.inf
            for k in range(3):
                if thick[k, iy, ix] < least:
                    least = thick[k, iy, ix]
            if not thick[kind, iy, ix] <= best:
                thick[kind, iy, ix] = best
            if best < least:
                pair[0, iy, ix] = p
                pair[1, iy, ix] = found
                bound[iy, ix] = wall_bound(normals, face, p, found, best, cell, stride)


@entry_kernel
def largest_balls(
    first, last, lower, upper, solid, looked, cell, cap, stride, nby, nbx, kinds,
    start, points, normals, owner, face, boxes, cones, thick, bound, pair,
):  # fmt: skip
    """Per cell the least diameter by kind of point, the bound of the thinnest, and its two points.

    looked (ny, nx) bool: the cells to look from.  thick (3, ny, nx), bound (ny, nx) float32 come in as NaN,
    pair (2, ny, nx) int32 as -1.  Blocks first <= b < last are done.
    """
    for b in range(first, last):
        block_balls(
            b, lower, upper, solid, looked, cell, cap, stride, nby, nbx, kinds,
            start, points, normals, owner, face, boxes, cones, thick, bound, pair,
        )  # fmt: skip
