"""Where a ball may go over triangles: compiled, one point after the other.

The cutter's offset surface in closed form for each face, edge and corner, so a pass that follows it
touches the mesh and never enters it.
"""

import math

from simkit._jit import entry_kernel, kernel


@entry_kernel
def drop_ball(corners, first, items, low_x, low_y, edge, nx, ny, x, y, radius, out):
    """Lower a ball at each (x, y) until it touches; out: height of its tip, -inf where nothing is below.

    corners (n, 3, 3) of triangles, first (nx * ny + 1) and items: triangles that reach each bucket.
    radius 0: the height of the mesh itself.
    """
    for k in range(len(x)):
        px, py, best = x[k], y[k], -math.inf
        i0 = max(0, math.floor((px - radius - low_x) / edge))
        i1 = min(nx - 1, math.floor((px + radius - low_x) / edge))
        j0 = max(0, math.floor((py - radius - low_y) / edge))
        j1 = min(ny - 1, math.floor((py + radius - low_y) / edge))
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                for at in range(first[j * nx + i], first[j * nx + i + 1]):
                    best = max(best, _on_triangle(corners[items[at]], px, py, radius))
        out[k] = best - radius


@kernel
def _on_triangle(t, px, py, radius):
    """Height of the centre of a ball that touches this triangle from above, -inf if it passes by."""
    best = -math.inf
    ux, uy, uz = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1], t[1, 2] - t[0, 2]
    vx, vy, vz = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1], t[2, 2] - t[0, 2]
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    size = math.sqrt(nx * nx + ny * ny + nz * nz)
    if abs(nz) > 1e-9 * size and size > 0:
        sign = 1.0 if nz > 0 else -1.0
        nx, ny, nz = sign * nx / size, sign * ny / size, sign * nz / size
        qx, qy = px - radius * nx - t[0, 0], py - radius * ny - t[0, 1]
        area = ux * vy - uy * vx
        a, b = (qx * vy - qy * vx) / area, (ux * qy - uy * qx) / area
        if a >= -1e-12 and b >= -1e-12 and a + b <= 1 + 1e-12:
            best = t[0, 2] + a * uz + b * vz + radius * nz
    if radius == 0.0:
        return best
    for e in range(3):
        ax, ay, az = t[e, 0], t[e, 1], t[e, 2]
        f = (e + 1) % 3
        dx, dy, dz = t[f, 0] - ax, t[f, 1] - ay, t[f, 2] - az
        length = math.sqrt(dx * dx + dy * dy)
        far = (px - ax) ** 2 + (py - ay) ** 2
        if far < radius * radius:
            best = max(best, az + math.sqrt(radius * radius - far))
        if length > 1e-12:
            u = ((px - ax) * dx + (py - ay) * dy) / length
            w = ((px - ax) * dy - (py - ay) * dx) / length
            if abs(w) < radius:
                m, q = dz / length, math.sqrt(radius * radius - w * w)
                root = math.sqrt(1 + m * m)
                s = u + q * m / root
                if 0 <= s <= length:
                    best = max(best, az + m * u + q * root)
    return best


@entry_kernel
def plan_distance(corners, first, items, low_x, low_y, edge, nx, ny, x, y, most, out):
    """Distance in plan from each (x, y) to the shadow of the triangles: 0 inside, at most `most`."""
    for k in range(len(x)):
        px, py, best = x[k], y[k], most * most
        i0 = max(0, math.floor((px - most - low_x) / edge))
        i1 = min(nx - 1, math.floor((px + most - low_x) / edge))
        j0 = max(0, math.floor((py - most - low_y) / edge))
        j1 = min(ny - 1, math.floor((py + most - low_y) / edge))
        for j in range(j0, j1 + 1):
            for i in range(i0, i1 + 1):
                for at in range(first[j * nx + i], first[j * nx + i + 1]):
                    if best > 0:
                        best = min(best, _plan_distance2(corners[items[at]], px, py))
        out[k] = math.sqrt(best)


@kernel
def _plan_distance2(t, px, py):
    best, left, right = math.inf, 0, 0
    for e in range(3):
        f = (e + 1) % 3
        ax, ay = t[e, 0], t[e, 1]
        dx, dy = t[f, 0] - ax, t[f, 1] - ay
        wx, wy = px - ax, py - ay
        turn = dx * wy - dy * wx
        left += turn >= 0
        right += turn <= 0
        length2 = dx * dx + dy * dy
        s = 0.0
        if length2 > 0:
            s = min(max((wx * dx + wy * dy) / length2, 0.0), 1.0)
        best = min(best, (wx - s * dx) ** 2 + (wy - s * dy) ** 2)
    if (left == 3 or right == 3) and best < math.inf:
        area = (t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[1, 1] - t[0, 1]) * (t[2, 0] - t[0, 0])
        if area != 0:
            return 0.0
    return best
