"""Lowest height that a flat or ball cutter reaches above a point along an arc in a vertical plane.

Seen along the band (u from the arc's centre) at the distance w across it, the cutter is a slice of half
width q = sqrt(R^2 - w^2).  The path is (r cos t, r sin t), t from `first` to `last`, unit vectors given.
Derivations: own.
"""

import math

from simkit._jit import kernel
from simkit.stock.arc_kernels import is_in_sector, sweep_width
from simkit.stock.profile_kernels import RIM


@kernel
def sweep_sense_width(sweep):
    """Sense and width of a signed sweep, as is_in_sector takes them."""
    return (1.0 if sweep > 0.0 else -1.0), sweep_width(sweep)


@kernel
def upright_ball(u, w, radius, rim2, r, fc, fs, lc, ls, sense, width):
    """Ball: height over the arc's centre, mm, when the tip runs on the arc; +inf if not covered.

    The slice of a ball is a disc of radius q about a centre R above the tip, so the cut is the lower edge
    of discs moved along a circle.  Where the disc's contact with the column is not at an end of the
    path, it lies on the ray from the circle's centre through the disc's: on the lower half of the path at
    r + q (a minimum), on the upper half at r - q (a minimum for r > q, else a maximum).  The other
    candidates are the two ends.  A ball is upright at its rim, so the rim itself is none.
    """
    q2 = radius * radius - w * w
    q = math.sqrt(max(q2, 0.0))
    g = math.inf
    outer = r + q
    c = min(max(u / outer, -1.0), 1.0)
    s = math.sqrt((1.0 - c) * (1.0 + c))
    if abs(u) <= outer + RIM and is_in_sector(c, -s, fc, fs, lc, ls, sense, width):
        g = -outer * s
    inner = r - q
    if inner > 0.0 and abs(u) <= inner:
        c = u / inner
        s = math.sqrt((1.0 - c) * (1.0 + c))
        if is_in_sector(c, s, fc, fs, lc, ls, sense, width):
            g = min(g, inner * s)
    for end in range(2):
        c, s = (fc, fs) if end == 0 else (lc, ls)
        e = u - r * c
        rest = q2 - e * e
        if rest >= -rim2:
            g = min(g, r * s - math.sqrt(max(rest, 0.0)))
    return g + radius if q2 >= -rim2 else math.inf


@kernel
def upright_flat(u, w, cover2, r, fc, fs, lc, ls, sense, width):
    """Flat cutter: height over the arc's centre, mm; +inf if not covered.

    The lowest place of the path with |r cos t - u| <= q: its bottom, an end, or where the rim passes.
    """
    q2 = cover2 - w * w
    if q2 < 0.0:
        return math.inf
    q = math.sqrt(q2)
    g = math.inf
    if abs(u) <= q and is_in_sector(0.0, -1.0, fc, fs, lc, ls, sense, width):
        return -r
    if abs(r * fc - u) <= q:
        g = r * fs
    if abs(r * lc - u) <= q:
        g = min(g, r * ls)
    for side in range(2):
        c = (u - q) / r if side == 0 else (u + q) / r
        if abs(c) <= 1.0:
            s = math.sqrt((1.0 - c) * (1.0 + c))
            if is_in_sector(c, -s, fc, fs, lc, ls, sense, width):
                g = min(g, -r * s)
            elif is_in_sector(c, s, fc, fs, lc, ls, sense, width):
                g = min(g, r * s)
    return g
