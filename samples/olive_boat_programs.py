"""The two programs of the olive boat.

Side 1 drills the dowel holes and cuts outside and foot; the blank is then turned over about its length
on two dowels, and side 2 cuts the rim, the hollows and the skin.  The boat stays in its frame on four
tabs.
"""

from __future__ import annotations

import math
from functools import cache

import carving
import numpy as np
import olive_boat_shape as shape
import toolpaths
from carving import ALLOWANCE, BALL_R, FLAT_R, NEAR, ROW, SAFE, SMALL_BALL_R, STEP_DOWN
from olive_boat_shape import LENGTH, RIM, THICKNESS, WIDTH, Arc

DOWELS = {"left": (8.0, 45.0), "right": (268.0, 45.0)}
TRENCH_FLOOR, TRENCH = 4.5, 6.4  # height of the skin left below the trench, width of the trench
SKIN_CUT = 5.0  # height to which side 2 cuts the skin: half a millimetre past it
TAB_TOP, TAB_WIDTH = 2.5, 6.0  # tabs: 2 mm of the skin, TRENCH_FLOOR - TAB_TOP
TABS = ((1, 0.75), (2, 0.6), (4, 0.45), (5, 0.5))  # (arc of the outline, part of it)
BLANK = (LENGTH, WIDTH, THICKNESS, "cherry")


def side1_program(x, y, h):
    """Blank plan and height -> program of side 1.  Zero: left front corner, top of the blank."""
    return x, y, h - THICKNESS


def side2_program(x, y, h):
    """Blank plan and height (h = -z) -> program of side 2, the blank turned about its length.

    The turn takes (x, y, z) to (x, WIDTH - y, THICKNESS - z); the zero is the left front corner and the
    top of the blank as it then lies, so Z = (THICKNESS - z) - THICKNESS = -z = h.
    """
    return x, WIDTH - y, h


def outside_and_trench(x, y):
    """Surface of side 1: the outside, the trench round it, the frame."""
    off = shape.outside(x, y)
    part = np.maximum(shape.top(x, y), TRENCH_FLOOR)
    return np.where(off <= TRENCH, part, THICKNESS + SAFE)


def outside_surface(x, y):
    """Surface of side 1 for the ball: it stays so near the boat that it never meets the frame."""
    return np.maximum(shape.top(x, y), TRENCH_FLOOR)


def pieces(start, marks):
    """Return the outline as arcs, counter-clockwise from `start`, divided at `marks` (arc, part)."""
    cuts = sorted({(i, 0.0) for i in range(len(shape.OUTLINE))} | set(marks) | {start})
    first = cuts.index(start)
    cuts = cuts[first:] + cuts[:first]
    made = []
    for (i, a), (j, b) in zip(cuts, cuts[1:] + cuts[:1], strict=True):
        arc, b = shape.OUTLINE[i], (b if j == i and b > a else 1.0)
        made.append(Arc(arc.centre, arc.radius, arc.first + arc.sweep * a, arc.sweep * (b - a)))
    return made


def lead(arc, part, grow, is_in, backwards, radius=0.4):
    """Return a quarter circle on or off a contour at this end of an arc, and which way it is cut.

    It touches the path `grow` mm outside the arc and lies on its outer side.
    """
    x, y = arc.point(part, grow + radius)
    out = arc.first + arc.sweep * part
    is_forward = backwards
    first = {(True, True): 90, (True, False): 180, (False, True): 180, (False, False): 90}[backwards, is_in]
    return Arc((float(x), float(y)), radius, out + math.radians(first), math.pi / 2), not is_forward


def dowel_holes(program):
    """Drill both dowel holes."""
    carving.dowel_holes(program, DOWELS.values(), THICKNESS)


def contour(program, order, backwards, grow, levels):
    """Go round the outline once a level, ramping down along the first arc of `order`."""
    for level in levels:
        for i, arc in enumerate(order):
            program.arc(arc, level, grow, backwards, toolpaths.PLUNGE if i == 0 else toolpaths.FEED)
    program.arc(order[0], levels[-1], grow, backwards)


def trench(program):
    """Cut the trench round the boat as a slot, ramping down, a little off the outline."""
    program.begin("trench round the boat, 0.4 mm off the outline")
    order = pieces((1, 0.6), {(1, 0.25)})[::-1]
    grow = FLAT_R + 0.4
    x, y = order[0].point(1.0, grow)
    program.approach(float(x), float(y), THICKNESS)
    count = math.ceil((THICKNESS - TRENCH_FLOOR) / STEP_DOWN)
    contour(program, order, True, grow, np.linspace(THICKNESS, TRENCH_FLOOR, count + 1)[1:])


def rough_outside(program):
    low, high = (18.0, 2.0), (262.0, 88.0)
    program.begin("foot plane and roughing of the outside, 0.5 mm left on")
    plane = toolpaths.Lattice(outside_and_trench, low, high, FLAT_R, 0.0)
    toolpaths.clear_level(program, plane, shape.FOOT_TOP, ROW, None, shape.outside)
    lattice = toolpaths.Lattice(outside_and_trench, low, high, FLAT_R, ALLOWANCE)
    for level in np.arange(shape.FOOT_TOP - STEP_DOWN, 9.0, -STEP_DOWN):
        edge = lattice.edge(level, (140.0, 45.0), 3.4, True)
        toolpaths.clear_level(program, lattice, float(level), ROW, edge, shape.outside)
        if level == shape.FOOT_TOP - STEP_DOWN:
            ring_round_foot(program, lattice, float(level))


def ring_round_foot(program, lattice, level):
    """Go once round the foot: two lines and two half circles, as near as the flat cutter may."""
    (ax, ay), (bx, by) = shape.FOOT_ENDS
    tilt = math.atan2(by - ay, bx - ax)
    for radius in np.arange(shape.FOOT_RADIUS + FLAT_R, 30.0, 0.1):
        right = Arc((bx, by), float(radius), tilt - math.pi / 2, math.pi)
        left = Arc((ax, ay), float(radius), tilt + math.pi / 2, math.pi)
        path = np.concatenate([right.point(np.linspace(0, 1, 90)), left.point(np.linspace(0, 1, 90))])
        walk = np.concatenate(
            [np.linspace(a, b, 20) for a, b in zip(path, np.roll(path, -1, 0), strict=True)]
        )
        if (lattice.at(walk) <= level).all():
            break
    rx, ry = right.point(1.0).tolist()
    program.approach(rx, ry, level)
    program.arc(right, level, backwards=True)
    program.line(*left.point(1.0).tolist(), level)
    program.arc(left, level, backwards=True)
    program.line(rx, ry, level)


def reach_of_offset(x, grow):
    """Return the two y where the outline, grown by `grow`, crosses x (n,)."""
    found = []
    for far in (0.0, WIDTH):
        near_y, far_y = np.full(len(x), 45.0), np.full(len(x), far)
        for _ in range(40):
            middle = (near_y + far_y) / 2
            is_in = shape.outside(x, middle) <= grow
            near_y, far_y = np.where(is_in, middle, near_y), np.where(is_in, far_y, middle)
        found.append(near_y)
    return found


def finish_outside(program, step=0.6):
    program.begin(f"outside, passes {step:g} mm apart")
    first, last = shape.OUTLINE[0], shape.OUTLINE[3]
    low = first.centre[0] - first.radius - BALL_R
    high = last.centre[0] + last.radius + BALL_R
    x = np.arange(low + step / 4, high, step)
    spans = np.column_stack([x, *reach_of_offset(x, BALL_R)])
    path = toolpaths.zigzag(outside_surface, BALL_R, spans)
    program.approach(*path[0])
    program.path(path)


def contour_side1(program):
    program.begin("contour of the rim band, down to the skin")
    order = pieces((1, 0.6), {(1, 0.25)})[::-1]
    on, is_back = lead(order[0], 1.0, FLAT_R, True, True)
    x, y = on.point(1.0 if is_back else 0.0)
    program.approach(float(x), float(y), TRENCH_FLOOR)
    program.arc(on, TRENCH_FLOOR, backwards=is_back)
    for arc in order:
        program.arc(arc, TRENCH_FLOOR, FLAT_R, True)
    off, is_back = lead(order[0], 1.0, FLAT_R, False, True)
    program.arc(off, TRENCH_FLOOR, backwards=is_back)


def side1():
    """Return the program of side 1: dowel holes, outside and foot."""
    program = toolpaths.Program(side1_program, False, THICKNESS + SAFE, THICKNESS + NEAR)
    carving.header(
        program,
        "olive boat, side 1: outside and foot",
        BLANK,
        "left front corner, top of the blank",
        ("T1 6 mm flat", "T2 6 mm ball", "T4 6 mm drill"),
    )
    dowel_holes(program)
    program.change(1, "6 mm flat")
    trench(program)
    rough_outside(program)
    program.change(2, "6 mm ball")
    finish_outside(program)
    program.change(1, "6 mm flat")
    contour_side1(program)
    program.finish()
    return program


def hollow_surface(hollow):
    """Surface of side 2 with this one hollow, as h = -z."""
    return lambda x, y: -(RIM + hollow.below_rim(x, y))


def hollow_box(hollow, grow=4.0):
    """Return low and high corner (x, y) of a box round the hollow at the rim."""
    x, y = np.meshgrid(np.arange(30, 250, 0.25), np.arange(10, 80, 0.25), indexing="ij")
    is_in = hollow.below_rim(x, y) > 0
    return (
        (x[is_in].min() - grow, y[is_in].min() - grow),
        (x[is_in].max() + grow, y[is_in].max() + grow),
    )


def skim_rim(program):
    def surface(x, y):
        return np.where(shape.outside(x, y) <= FLAT_R + 3.2, -RIM, SAFE)

    program.begin("rim plane")
    lattice = toolpaths.Lattice(surface, (18.0, 2.0), (262.0, 88.0), FLAT_R, 0.0)
    toolpaths.clear_level(program, lattice, -RIM, 4.5, None, lambda x, y: x)


def rough_hollow(program, hollow):
    """Clear a hollow level by level; a helix leads into each."""
    program.begin(f"{hollow.name}, roughing, 0.5 mm left on")
    low, high = hollow_box(hollow)
    lattice = toolpaths.Lattice(hollow_surface(hollow), low, high, FLAT_R, ALLOWANCE)
    i, j = np.unravel_index(lattice.tip.argmin(), lattice.tip.shape)
    centre = (float(lattice.x[i]), float(lattice.y[j]))
    level, far = -RIM, np.hypot(lattice.x[:, None] - centre[0], lattice.y[None, :] - centre[1])
    while True:
        above, level = level, level - STEP_DOWN
        clear = far[lattice.tip > level].min() - 0.4
        if clear < 1.0:
            break
        helix = Arc(centre, min(4.0, float(clear)), 0.0, 2 * math.pi)
        x, y = helix.point(0.0).tolist()
        program.approach(x, y, above + 0.3)
        for part in (level, level):  # down in one turn, then once round
            program.arc(helix, part, feed=toolpaths.PLUNGE, backwards=True)
        edge = lattice.edge(level, centre, 2.0, False)
        toolpaths.clear_level(program, lattice, level, ROW, edge)


def hollow_spans(hollow, step):
    """Return passes (x, y first, y last) where a ball cutter goes below the rim plane."""
    (x0, y0), (x1, y1) = hollow_box(hollow)
    x, y = np.arange(x0, x1, step), np.arange(y0, y1, 0.2)
    grid_x, grid_y = np.meshgrid(x, y, indexing="ij")
    tip = toolpaths.ball_tip(hollow_surface(hollow), grid_x.ravel(), grid_y.ravel(), BALL_R)
    is_in = tip.reshape(grid_x.shape) < -RIM - 1e-4
    return [
        (x[i], y[row.argmax()] - 0.2, y[::-1][row[::-1].argmax()] + 0.2)
        for i, row in enumerate(is_in)
        if row.any()
    ]


@cache
def finishing_path(hollow, step):
    return toolpaths.zigzag(hollow_surface(hollow), BALL_R, hollow_spans(hollow, step))


def finish_hollow(program, hollow, step=0.5):
    program.begin(f"{hollow.name}, passes {step:g} mm apart")
    path = finishing_path(hollow, step)
    program.approach(*path[0])
    program.path(path)


def tight_spans(hollow, step, margin=2.0):
    """Return, for each pointed end, passes where the hollow bends tighter than the 6 mm ball."""
    (x0, y0), (x1, y1) = hollow_box(hollow)
    x, y, d = np.arange(x0, x1, step), np.arange(y0, y1, 0.1), 0.01
    gx, gy = np.meshgrid(x, y, indexing="ij")
    f = hollow_surface(hollow)
    mid, e, w, n, s = f(gx, gy), f(gx + d, gy), f(gx - d, gy), f(gx, gy + d), f(gx, gy - d)
    fx, fy, fxx, fyy = (
        (e - w) / (2 * d),
        (n - s) / (2 * d),
        (e - 2 * mid + w) / d**2,
        (n - 2 * mid + s) / d**2,
    )
    fxy = (f(gx + d, gy + d) - f(gx + d, gy - d) - f(gx - d, gy + d) + f(gx - d, gy - d)) / (4 * d**2)
    w2 = 1 + fx**2 + fy**2
    mean = ((1 + fx**2) * fyy - 2 * fx * fy * fxy + (1 + fy**2) * fxx) / (2 * w2**1.5)
    gauss = (fxx * fyy - fxy**2) / w2**2
    is_tight = mean + np.sqrt(np.maximum(mean**2 - gauss, 0)) > 1 / (BALL_R + 0.05)
    ends = []
    for is_here in (x < hollow.deepest, x >= hollow.deepest):
        rows = np.flatnonzero(is_tight.any(axis=1) & is_here)
        spans = [(x[i], y[is_tight[i]].min() - margin, y[is_tight[i]].max() + margin) for i in rows]
        extra = np.arange(1, math.ceil(margin / step) + 1) * step
        before = [(spans[0][0] - e, *spans[0][1:]) for e in extra[::-1]]
        after = [(spans[-1][0] + e, *spans[-1][1:]) for e in extra]
        ends.append(before + spans + after)
    return ends


@cache
def rest_paths(hollow, step):
    surface = hollow_surface(hollow)
    return [toolpaths.zigzag(surface, SMALL_BALL_R, spans) for spans in tight_spans(hollow, step)]


def rest_pass(program, step=0.25):
    """Clean the pointed ends of the hollows with the small ball."""
    program.begin("pointed ends of the hollows")
    for hollow in shape.HOLLOWS:
        for path in rest_paths(hollow, step):
            program.approach(*path[0])
            program.path(path)


def contour_side2(program, tabs=TABS):
    """Cut the skin along the outline; at the tabs the cutter stays higher."""
    program.begin(f"contour through the skin, {'four' if tabs else 'no'} tabs")
    half = {
        i: (TAB_WIDTH / 2 + FLAT_R) / ((a.radius + FLAT_R) * a.sweep) for i, a in enumerate(shape.OUTLINE)
    }
    marks = {(i, part + sign * half[i]) for i, part in tabs for sign in (-1, 1)}
    order = pieces((1, 0.25), {(1, 0.6), *marks})
    middles = [shape.OUTLINE[i].point(part) for i, part in tabs]
    first, skin = -TAB_TOP, -SKIN_CUT
    on, is_back = lead(order[0], 0.0, FLAT_R, True, False)
    x, y = on.point(1.0 if is_back else 0.0)
    program.approach(float(x), float(y), -RIM)
    program.arc(on, -RIM, backwards=is_back)
    contour(program, order, False, FLAT_R, [first])
    for arc in [*order[1:], order[0]]:
        is_tab = any(math.dist(arc.point(0.5), middle) < 0.01 for middle in middles)
        x, y, h = program.at
        level = first if is_tab else skin
        if level != h:
            program.line(x, y, level, toolpaths.PLUNGE)
        program.arc(arc, level, FLAT_R)
    off, is_back = lead(order[0], 1.0, FLAT_R, False, False)
    program.arc(off, skin, backwards=is_back)


def side2(hollows=shape.HOLLOWS, with_rest=True, tabs=TABS):
    """Return the program of side 2: rim, hollows, contour through the skin."""
    program = toolpaths.Program(side2_program, True, SAFE, NEAR)
    carving.header(
        program,
        "olive boat, side 2: rim and hollows, blank turned about its length",
        BLANK,
        "left front corner, top of the blank as it lies now",
        ("T1 6 mm flat", "T2 6 mm ball", *(("T3 3 mm ball",) if with_rest else ())),
    )
    program.change(1, "6 mm flat")
    skim_rim(program)
    for hollow in hollows:
        rough_hollow(program, hollow)
    program.change(2, "6 mm ball")
    for hollow in hollows:
        finish_hollow(program, hollow)
    if with_rest:
        program.change(3, "3 mm ball")
        rest_pass(program)
    program.change(1, "6 mm flat")
    contour_side2(program, tabs)
    program.finish()
    return program
