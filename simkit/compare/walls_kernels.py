"""Kernels behind walls.py: the largest ball at each point of `wall_points_kernels`."""

from __future__ import annotations

import math

import numpy as np

from simkit._jit import entry_kernel, kernel, working_kernel
from simkit.compare.wall_points_kernels import BLOCK, SIDE, STEADY, is_solid_at

OPPOSED = -0.5  # cosine of 120 degrees, the least angle between the contact normals of a wall


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
            if not looked[iy, ix]:
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
                # Beside steep faces every cell is looked from.
                step = 1 if kind == SIDE else stride
                bound[iy, ix] = wall_bound(normals, face, p, found, best, cell, step)


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
