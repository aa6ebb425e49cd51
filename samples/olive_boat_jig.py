"""The jig in which side 2 of the olive boat is cut: a board with a pocket for the turned blank.

The frame of the blank lies on the pocket's floor, and an island bears the foot of the boat, which hangs a
little higher.  A round cutter leaves the pocket's corners round and the blank's are square, so the cutter
also goes some way into each corner, along its diagonal.
"""

from __future__ import annotations

import math

import carving
import numpy as np
import toolpaths
from carving import FLAT_R, ROW, SAFE, STEP_DOWN
from olive_boat_shape import FOOT_ENDS, FOOT_TOP, LENGTH, THICKNESS, WIDTH, Arc

BOARD = (310.0, 120.0, 18.0)
AT = (15, 15, 12)  # of the turned blank's left front bottom corner on the board
CLEARANCE = 0.1  # mm on each side of the blank
ISLAND = AT[2] + THICKNESS - FOOT_TOP  # height of what bears the foot
ISLAND_RADIUS = 7.0  # inside the foot, of radius 9.5 at its edge
SPARE = 0.2  # mm that a corner's relief goes past the corner of the pocket

JOB = """\
# {name}: a board with a pocket for the turned blank, an island under the foot.
# {made}
name = "{name}"
unit = "mm"

[blank]
length = {length:g}
width = {width:g}
thickness = {thickness:g}

{cutter}
[[setups]]
name = "pocket"
turn = "none"
zero = {{ corner = "left front", face = "top" }}
programs = ["pocket.nc"]
"""


def corner_overlap(radius=FLAT_R, clearance=CLEARANCE):
    """Return how far a square corner would stand in the wall of a pocket's round one, mm.

    Its tip lies (radius - clearance) sqrt 2 from the middle of the round.
    """
    return (radius - clearance) * math.sqrt(2) - radius


def job_text(name, made):
    """Return the text of the jig's job file.  made: a line of comment."""
    length, width, thickness = BOARD
    cutter = carving.CUTTERS.split("\n\n")[0] + "\n"
    screws = [(x, y) for x in (6.0, length - 6.0) for y in (6.0, width - 6.0)]
    text = JOB.format(name=name, made=made, length=length, width=width, thickness=thickness, cutter=cutter)
    return text + "".join(carving.SCREW.format(x=x, y=y) for x, y in screws)


def island():
    """Return the two half circles of the island, counter-clockwise, as the blank lies turned on the board."""
    (ax, ay), (bx, by) = ((x + AT[0], WIDTH - y + AT[1]) for x, y in FOOT_ENDS)
    tilt = math.atan2(by - ay, bx - ax)
    right = Arc((bx, by), ISLAND_RADIUS, tilt - math.pi / 2, math.pi)
    left = Arc((ax, ay), ISLAND_RADIUS, tilt + math.pi / 2, math.pi)
    return right, left


def from_island(x, y):
    """Return the distance from the island's edge, negative on it."""
    right, left = island()
    a, b = np.array(left.centre), np.array(right.centre)
    points = np.stack(np.broadcast_arrays(x, y), axis=-1)
    share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
    return np.linalg.norm(points - a - share[..., None] * (b - a), axis=-1) - ISLAND_RADIUS


def pocket(has_relief=True):
    """Return the program of the pocket; has_relief: its corners are cleared for square ones."""
    program = toolpaths.Program(lambda x, y, h: (x, y, h - BOARD[2]), False, BOARD[2] + SAFE, BOARD[2] + 1.0)
    carving.header(
        program,
        "jig of the olive boat: pocket for the turned blank",
        (*BOARD, "any"),
        "left front corner, top of the board",
        ("T1 6 mm flat",),
    )
    program.change(1, "6 mm flat")
    low = np.array(AT[:2]) - CLEARANCE + FLAT_R  # where the cutter's middle may go
    high = np.add(AT[:2], (LENGTH, WIDTH)) + CLEARANCE - FLAT_R
    corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
    levels = [float(h) for h in np.arange(BOARD[2] - STEP_DOWN, AT[2], -STEP_DOWN)]
    for level in (*levels, float(AT[2])):
        clear(program, low, high, level)
        program.begin(f"walls, {BOARD[2] - level:g} mm deep")
        program.approach(*corners[0], level)
        for x, y in (*corners[1:], corners[0]):
            program.line(x, y, level)
        if has_relief:
            relieve(program, corners, level)
    program.finish()
    return program


def clear(program, low, high, level):
    """Clear the pocket at one level in passes to and fro, round the island where it stands higher."""
    program.begin(f"pocket, {BOARD[2] - level:g} mm deep")
    rows = np.linspace(low[1] + 0.3, high[1] - 0.3, math.ceil((high[1] - low[1]) / ROW) + 1)
    x = np.arange(low[0] + 0.3, high[0] - 0.3, 0.05)
    stands = level < ISLAND
    program.approach(float(x[0]), float(rows[0]), level)
    for nth, y in enumerate(rows):
        free = from_island(x, y) >= FLAT_R if stands else np.ones(len(x), bool)
        runs = np.flatnonzero(np.diff(np.concatenate([[0], free, [0]]))).reshape(-1, 2)
        ends = [(x[first], x[last - 1]) for first, last in runs]
        for run, (first, last) in enumerate(ends if nth % 2 == 0 else ends[::-1]):
            first, last = (first, last) if nth % 2 == 0 else (last, first)
            if run:  # over the island
                program.rapid(program.at[0], program.at[1], BOARD[2] + 1.0)
                program.rapid(float(first), float(y), BOARD[2] + 1.0)
                program.line(float(first), float(y), level, toolpaths.PLUNGE)
            program.line(float(first), float(y), level)
            program.line(float(last), float(y), level)
    if stands:
        right, left = island()
        program.begin("edge and top of the island")
        program.approach(*map(float, right.point(0.0, FLAT_R)), level)
        program.arc(right, level, FLAT_R)
        program.line(*map(float, left.point(0.0, FLAT_R)), level)
        program.arc(left, level, FLAT_R)
        program.line(*map(float, right.point(0.0, FLAT_R)), level)
        # The cutter goes along both long edges of the top, half on it, and once along its middle.
        (ax, ay), (bx, by) = left.centre, right.centre
        tilt = math.atan2(by - ay, bx - ax)
        along, across = (
            np.array([math.cos(tilt), math.sin(tilt)]),
            np.array([-math.sin(tilt), math.cos(tilt)]),
        )
        ends = [np.array((ax, ay)) - ISLAND_RADIUS * along, np.array((bx, by)) + ISLAND_RADIUS * along]
        for nth, aside in enumerate((-5.0, 0.0, 5.0)):
            first, last = ends if nth % 2 == 0 else ends[::-1]
            if nth == 0:
                program.approach(*map(float, first + aside * across), ISLAND)
            program.line(*map(float, first + aside * across), ISLAND)
            program.line(*map(float, last + aside * across), ISLAND)


def relieve(program, corners, level):
    """Go into each corner along its diagonal, until the cutter's edge is SPARE past the corner."""
    program.begin(f"relief of the corners, {BOARD[2] - level:g} mm deep")
    middle = np.mean(corners, axis=0)
    far = FLAT_R * (1 - 1 / math.sqrt(2)) + SPARE / math.sqrt(2)  # along x and along y
    for nth, (x, y) in enumerate(corners):
        if nth:
            program.line(x, y, level)
        way = np.sign(np.array((x, y)) - middle)
        program.line(*map(float, np.array((x, y)) + far * way), level)
        program.line(x, y, level)
