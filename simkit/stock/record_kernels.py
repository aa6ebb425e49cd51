"""Records: one packed move as plain numbers, and the code that says which sweep it is.

Heights h grow away from the wood being cut: h = z for side 1, h = -z for side 2, so the cut is always
a minimum.  All lengths are in mm, angles in radians, everything is float64.
"""

from simkit._jit import kernel
from simkit.cutters import PROFILES

# Forms of motion.  Upright arcs lie in a vertical plane (G18, G19), or climb out of it sideways.
LINE_FORM, LEVEL_ARC_FORM, HELIX_FORM, UPRIGHT_FORM = 0, 1, 2, 3

# Columns of a record: where it is, how high.  What heights of a ball's line need of it is one line of the
# cache: the rest is the same for all lines of a cutter.
X, Y, H = 0, 1, 2
# Lines: direction, plan length, slope, terms of the stationary point.  X, Y, H: their start.
UX, UY, LENGTH, SLOPE, SHIFT, STEEP = 3, 4, 5, 6, 7, 11
# How wide the cutter is, what the rim adds, slope of a cone.
RADIUS, RIM2, RISE = 8, 9, 10
# Arcs: start and end seen from the centre, path radius.  Helices: sweep, climb per radian, start angle.
SX, SY, EX, EY, SENSE, R, WIDTH = 3, 4, 5, 6, 7, 11, 12
SWEEP, CLIMB, THETA0 = 12, 13, 14
# Upright arcs: the band that holds them in plan begins at X, Y, runs LENGTH along UX, UY and is SPREAD
# wide to either side.  H is the height of the arc's centre, MIDDLE its place along the band; angles are
# measured from UX, UY upwards, SWEEP and CLIMB (across the band, per radian) signed.
SPREAD, MIDDLE = 6, 7
LOW = 15  # the lowest height of the sweep
COLUMNS = 16
# Only in wide records, which a cut uses when it has an outline without a closed form or an upright arc:
# the outline as in simkit.cutters.Outline, and unit vectors to start and end of an upright arc.
FLAT_TO, ARC_FROM, ARC_TO, ARC_E, ARC_F, ARC_R, SIDE_Z, SIDE_RISE = 16, 17, 18, 19, 20, 21, 22, 23
FIRST_COS, FIRST_SIN, LAST_COS, LAST_SIN = 24, 25, 26, 27
WIDE_COLUMNS = 28


@kernel
def code_of(form, profile):
    """Code of a record: its form of motion and the profile of its cutter."""
    return form * PROFILES + profile


@kernel
def form_of(code):
    """Form of motion of a code."""
    return code // PROFILES


@kernel
def profile_of(code):
    """Profile of a code: FLAT, BALL, CONE or PROFILE (simkit.cutters)."""
    return code % PROFILES


@kernel
def is_line(code):
    """Whether the record is a straight move (of any slope or length)."""
    return code < PROFILES


@kernel
def is_band(code):
    """Whether the path lies along a straight band in plan: lines, and upright arcs."""
    return code < PROFILES or code >= UPRIGHT_FORM * PROFILES


@kernel
def plan_reach(code, a):
    """How far to the side of the band (or circle) a record can cover points, mm."""
    return a[RADIUS] + a[SPREAD] if code >= UPRIGHT_FORM * PROFILES else a[RADIUS]
