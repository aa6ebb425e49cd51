"""Records: one packed move as plain numbers, and the code that says which sweep it is."""

from simkit._jit import kernel
from simkit.cutters import PROFILES

# Forms of motion.
LINE_FORM, LEVEL_ARC_FORM, HELIX_FORM = 0, 1, 2

# Columns of a record.  Lines: direction, plan length, slope, terms of the stationary point.
# Arcs: start and end seen from the centre, path radius; helices: sweep, climb per radian, start angle.
X, Y, H, RADIUS, RIM2, RISE = 0, 1, 2, 3, 4, 5
UX, UY, LENGTH, SLOPE, SHIFT, STEEP = 6, 7, 8, 9, 10, 11
SX, SY, EX, EY, R, SENSE, WIDTH = 6, 7, 8, 9, 10, 11, 12
SWEEP, CLIMB, THETA0 = 12, 13, 14
LOW = 15  # the lowest height of the sweep
COLUMNS = 16


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
    """Profile of a code: FLAT, BALL, CONE and so on (simkit.cutters)."""
    return code % PROFILES


@kernel
def is_line(code):
    """Whether the record is a straight move (of any slope or length)."""
    return code < PROFILES
