"""Heights of a cutter's profile standing still."""

import math

from simkit._jit import kernel, loop_kernel
from simkit.cutters import BALL, CONE

# The rim is widened in plan: a point whose distance is R on paper then always counts as covered,
# whatever the rounding of decimal coordinates.
RIM = 1e-9  # mm, well inside the 1e-6 mm that heights at a rim are stated for


@kernel
def rim_square(radius):
    """What the rim adds to the square of the radius within which a point counts as covered, mm2."""
    return 2.0 * RIM * radius


@kernel
def at_distance(profile, d2, h, radius, rise, cover2):
    """Height of the profile standing at tip height h, seen at plan distance sqrt(d2)."""
    if profile == BALL:
        g = h + (radius - math.sqrt(max(radius * radius - d2, 0.0)))
    elif profile == CONE:
        g = h + rise * math.sqrt(d2)
    else:
        g = h
    return g if d2 <= cover2 else math.inf


@loop_kernel
def outline_height(d, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise):
    """Height of an outline (simkit.cutters.Outline, without its base) at plan distance d."""
    x = d - arc_e
    on_arc = arc_f - math.sqrt(max(arc_r * arc_r - x * x, 0.0))
    f = on_arc if d > arc_from else rise * max(d - flat, 0.0)
    return side_z + side_rise * (d - arc_to) if d > arc_to else f


@kernel
def outline_slope(d, rise, flat, arc_from, arc_to, arc_e, arc_r, side_rise, is_left):
    """Slope of an outline at plan distance d; at a kink the left or the right one.  At most 1e9."""
    if d > arc_to or (d == arc_to and not is_left):
        return side_rise
    if d > arc_from or (d == arc_from and not is_left):
        x = d - arc_e
        return x / math.sqrt(max(arc_r * arc_r - x * x, 1e-18 * x * x + 1e-300))
    return rise if d > flat or (d == flat and not is_left) else 0.0
