"""Volumes and surfaces of cuts against closed forms and against booleans of solids."""

from itertools import pairwise

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY, turned
from simkit.moves.table import ARC, make_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import blank_field, blank_lattice

BALL, FLAT, DRILL = Cutter(1, "ball", 6.0), Cutter(2, "flat", 6.0), Cutter(3, "drill", 6.0)
BULL, TAPER = Cutter(4, "bull-nose", 6.0, corner=1.0), Cutter(5, "tapered ball", 6.0, tip=2.0, taper=20.0)
VEE, TIPPED = Cutter(6, "vee", 6.0, point=90.0), Cutter(7, "vee", 6.0, point=90.0, tip=1.0)
CUTTERS = {1: BALL, 2: FLAT, 3: DRILL, 4: BULL, 5: TAPER, 6: VEE, 7: TIPPED}
LENGTH, WIDTH, THICKNESS = 54.0, 54.0, 10.0
TOP = THICKNESS
DRILL_LENGTH = 3 / np.tan(np.radians(59.0))


def removed(moves, cell, frame=IDENTITY):
    """Volume (mm3) that the moves take out of a blank of 54 x 54 x 10 mm."""
    field = blank_field(blank_lattice(LENGTH, WIDTH, cell), LENGTH, WIDTH, THICKNESS)
    after = cut(field, moves, CUTTERS, frame).field
    return float((THICKNESS - (after.upper - after.lower).astype(float)).sum()) * cell**2


def groove(tool, depth, end_depth=None):
    # Off the lattice on purpose, so that no cell centre falls on an edge.
    end_depth = depth if end_depth is None else end_depth
    return make_moves(
        start=[[7.03, 20.017, TOP - depth]], end=[[47.03, 20.017, TOP - end_depth]], tool=[tool]
    )


def arc_groove(tool, depth, sweep):
    start = [27.013 + 20, 27.017, TOP - depth]
    end = [27.013 + 20 * np.cos(sweep), 27.017 + 20 * np.sin(sweep), TOP - depth]
    return make_moves(
        kind=[ARC], start=[start], end=[end], centre=[[27.013, 27.017]], sweep=[sweep], tool=[tool]
    )


def upright(tool, r, plane):
    """A half turn through the wood in a vertical plane, its ends at the height of the face."""
    first, last = [24.013 - r, 26.017, TOP], [24.013 + r, 26.017, TOP]
    centre = [TOP, 24.013]
    if plane == 19:
        first, last, centre = [first[1], first[0], TOP], [last[1], last[0], TOP], [24.013, TOP]
    sense = -1 if plane == 18 else 1
    return make_moves(
        kind=[ARC],
        plane=[plane],
        start=[first],
        end=[last],
        centre=[centre],
        sweep=[sense * np.pi],
        tool=[tool],
    )


def ball_half_turn(plane):
    """The centre of the ball on the half circle: the tip 3 mm lower."""
    moves = upright(1, 5.0, plane)
    lower = np.array([0.0, 0.0, 3.0])
    centre = moves.centre - ([3.0, 0.0] if plane == 18 else [0.0, 3.0])
    return make_moves(
        kind=moves.kind, plane=moves.plane, start=moves.start - lower, end=moves.end - lower, centre=centre,
        sweep=moves.sweep, tool=moves.tool,
    )  # fmt: skip


def plunge(tool, depth):
    return make_moves(start=[[20.013, 20.017, TOP + 1]], end=[[20.013, 20.017, TOP - depth]], tool=[tool])


# Tapered ball, ball radius 1, 20 degrees: cap of height 1 - sin 20, then a frustum from cos 20 to 3.
_SIN, _COS = np.sin(np.radians(20)), np.cos(np.radians(20))
_CAP, _FRUSTUM = 1 - _SIN, (3 - _COS) / np.tan(np.radians(20))
TAPER_LENGTH = _CAP + _FRUSTUM
TAPER_VOLUME = np.pi * _CAP**2 * (3 - _CAP) / 3 + np.pi * _FRUSTUM * (9 + 3 * _COS + _COS**2) / 3

# Standard solid geometry; R = 3 unless said.  Values also in any handbook of solids.
KNOWN = {
    "spherical cap, pi h^2 (3 R - h) / 3": (plunge(1, 1.2), 11.7621229),
    "half ball, 2 pi R^3 / 3": (plunge(1, 3.0), 56.54866776),
    "drill point, pi R^2 h / 3": (plunge(3, DRILL_LENGTH), 16.98893376),
    "flat groove, d (D L + pi R^2)": (groove(2, 2.0), 536.5486678),
    "ball groove below R, circle segment x L + cap": (groove(1, 1.2), 172.7884014),
    "ball groove above R": (groove(1, 5.0), 1158.584013),
    "half capsule, pi R^2 L / 2 + 2 pi R^3 / 3": (groove(1, 3.0), 1244.070691 / 2),
    "ramp of a flat cutter, d R L + pi R^2 d": (groove(2, 0.0, 2.0), 296.5486678),
    "flat arc groove": (arc_groove(2, 2.0, np.pi / 2), 433.5397862),
    "ball arc groove, Pappus + half ball": (arc_groove(1, 3.0, -np.pi / 2), 500.6808658),
    "flat ring": (arc_groove(2, 2.0, 2 * np.pi), 1507.964474),
    "half torus, pi R^2 / 2 x 2 pi 20": (arc_groove(1, 3.0, 2 * np.pi), 2 * 888.2643961),
    # A corner of radius c about a flat of radius E: discs of radius E + sqrt(2 c z - z^2) from 0 to c.
    "bull-nose, pi (E^2 c + pi E c^2 / 2 + 2 c^3 / 3)": (plunge(4, 1.0), np.pi * (4 + np.pi + 2 / 3)),
    "bull-nose groove, (2 E c + pi c^2 / 2) L + plunge": (
        groove(4, 1.0),
        (4 + np.pi / 2) * 40 + np.pi * (4 + np.pi + 2 / 3),
    ),
    "bull-nose ring, (2 E c + pi c^2 / 2) 2 pi 20 (Pappus)": (
        arc_groove(4, 1.0, 2 * np.pi),
        (4 + np.pi / 2) * 2 * np.pi * 20,
    ),
    "tapered ball, cap and frustum": (plunge(5, TAPER_LENGTH), TAPER_VOLUME),
    "vee, cone of 45 degrees": (plunge(6, 3.0), 9 * np.pi),
    "vee groove, half the square of its width x L + cone": (groove(6, 3.0), 9 * 40 + 9 * np.pi),
    "tipped vee, frustum pi h (a^2 + a b + b^2) / 3": (plunge(7, 2.5), np.pi * 2.5 * (0.25 + 1.5 + 9) / 3),
    "tipped vee groove": (groove(7, 2.5), 3.5 * 2.5 * 40 + np.pi * 2.5 * (0.25 + 1.5 + 9) / 3),
    # Over the slice at w half a disc of radius r + sqrt(R^2 - w^2) is gone: a segment of a torus, filled.
    "ball, half turn in XZ, pi r^2 R + pi^2 r R^2 / 2 + 2 pi R^3 / 3": (
        ball_half_turn(18),
        np.pi * 75 + np.pi**2 * 22.5 + 18 * np.pi,
    ),
    "ball, half turn in YZ": (ball_half_turn(19), np.pi * 75 + np.pi**2 * 22.5 + 18 * np.pi),
    # Over the slice at w a rectangle 2 sqrt(R^2 - w^2) wide and r deep between two quarter discs.
    "flat, half turn in XZ, pi R^2 r + pi r^2 R": (upright(2, 5.0, 18), np.pi * 45 + np.pi * 75),
}


@pytest.mark.parametrize("name", KNOWN)
def test_volume__closed_form(name):
    """The midpoint rule: smooth parts err by cell^2, the band of cells along an edge by chance."""
    moves, volume = KNOWN[name]
    errors = [abs(removed(moves, cell) - volume) / volume for cell in (0.6, 0.05)]
    assert errors[1] <= 6e-4
    assert errors[1] <= max(errors[0] / 8, 2e-5)


def test_volume__both_sides_make_a_capsule_shell():
    """A 3 mm deep ball groove from each side, one above the other: twice the half capsule."""
    moves = groove(1, 3.0)
    field = blank_field(blank_lattice(LENGTH, WIDTH, 0.1), LENGTH, WIDTH, THICKNESS)
    after = cut(field, moves, CUTTERS, IDENTITY).field
    after = cut(after, moves, CUTTERS, turned("about x", LENGTH, WIDTH, THICKNESS)).field
    volume = float((THICKNESS - (after.upper - after.lower).astype(float)).sum()) * 0.1**2
    assert volume == pytest.approx(1244.070691, rel=1e-3)


def test_volume__a_second_pass_removes_nothing():
    twice = make_moves(
        start=np.repeat(groove(1, 2.0).start, 2, axis=0),
        end=np.repeat(groove(1, 2.0).end, 2, axis=0),
        tool=[1, 1],
    )
    assert removed(twice, 0.2) == removed(groove(1, 2.0), 0.2)


def solid(cutter, tip, high, facets):
    """Points of a faceted cutter whose convex hull is the cutter up to the height `high`.

    facets: round the axis; a quarter of a circle of the profile has facets / 4 of them.
    """
    turn = np.linspace(0, 2 * np.pi, facets, endpoint=False)
    quarter = np.linspace(0, np.pi / 2, facets // 4 + 1)
    radii = 3 * np.sin(quarter)
    if cutter.corner or cutter.tip:
        # The corner's own circle, and the kinks.
        centre, corner = (2.0, 1.0) if cutter.corner else (0.0, cutter.tip / 2)
        radii = np.sort(np.append(radii, centre + corner * np.sin(quarter)))
    heights = cutter.profile(np.minimum(radii, 3 * (1 - 1e-12)))
    rings = [(r, tip[2] + h) for r, h in zip(radii, heights, strict=True)] + [(3.0, high)]
    if cutter is FLAT:
        rings = [(3.0, tip[2]), (3.0, high)]
    return np.concatenate(
        [np.stack([tip[0] + r * np.cos(turn), tip[1] + r * np.sin(turn), 0 * turn + z], 1) for r, z in rings]
    )


STRAIGHT = [
    [12.0, 10.0, 7.5], [40.0, 18.0, 8.5], [41.0, 40.0, 6.0], [20.0, 45.0, 7.0], [20.0, 12.0, 5.5],
    [20.0, 12.0, 4.0],
]  # fmt: skip


def chords(moves, n):
    """Tips on an arc so close together that a hull of two neighbours holds it, but for the sagitta."""
    from tests.stock import naive

    return naive.path(moves, 0, n).tolist()


@pytest.mark.parametrize(
    ("path", "tool"),
    [*(("straight", tool) for tool in (1, 2, 3, 4, 5, 7)), ("upright", 1), ("upright", 4), ("helix", 5)],
)
def test_field__equals_the_boolean_of_swept_solids(path, tool):
    """A convex cutter along a straight move sweeps the hull of its two places (Minkowski sum with a segment).

    Booleans by manifold3d through trimesh.  Facets stay inside the true solid by up to R (1 - cos(pi / n)),
    once round the axis and once along the profile: together 1.8e-3 mm for n = 128, 7.3e-3 mm for n = 64;
    chords of an arc by r (1 - cos(angle / 2)), under 1.8e-3 mm.
    """
    import trimesh

    facets, short = (128, 1.8e-3) if path == "straight" else (64, 9.1e-3)
    cutter = CUTTERS[tool]
    tips = STRAIGHT
    moves = make_moves(start=tips[:-1], end=tips[1:], tool=[tool] * 5)
    if path == "upright":
        moves = make_moves(
            kind=[ARC], plane=[18], start=[[15.0, 20.0, 9.0]], end=[[39.0, 26.0, 9.0]], centre=[[18.0, 27.0]],
            sweep=[-2 * np.arctan2(12, 9)], tool=[tool],
        )  # fmt: skip
        tips = chords(moves, 61)
    elif path == "helix":
        moves = make_moves(
            kind=[ARC], start=[[35.0, 27.0, 9.0]], end=[[27.0, 35.0, 6.0]], centre=[[27.0, 27.0]],
            sweep=[np.pi / 2], tool=[tool],
        )  # fmt: skip
        tips = chords(moves, 41)
    high = TOP + 10
    swept = []
    for a, b in pairwise(tips):
        points = np.concatenate([solid(cutter, a, high, facets), solid(cutter, b, high, facets)])
        swept.append(trimesh.convex.convex_hull(points))
    box = trimesh.creation.box(bounds=[[0, 0, 0], [LENGTH, WIDTH, THICKNESS]])
    left = trimesh.boolean.difference([box, *swept], engine="manifold")
    taken = LENGTH * WIDTH * THICKNESS - left.volume
    assert removed(moves, 0.05) == pytest.approx(taken, rel=1e-3 if path == "straight" else 4e-3)

    rng = np.random.default_rng(5)
    near = np.array(tips)[rng.integers(0, len(tips), 300), :2]
    points = np.round(np.where(rng.random((300, 1)) < 0.5, near + rng.normal(0, 1.2, (300, 2)), 0), 6)
    is_far = (points == 0).all(axis=1)
    points[is_far] = np.round(rng.uniform(2, 52, (is_far.sum(), 2)), 6)
    z, _ = cut_heights(points, moves, CUTTERS, IDENTITY, TOP)
    assert (z < TOP).sum() > 60
    below = np.column_stack([points, np.full(300, -5.0)])
    hits, rays, _ = left.ray.intersects_location(below, np.tile([0.0, 0.0, 1.0], (300, 1)))
    seen = np.full(300, -np.inf)
    np.maximum.at(seen, rays, hits[:, 2])
    # Facets lie above the true floor by no more than the floor rises within `short` in plan, and `short`.
    away = np.abs(seen - z)
    ring = short * np.array([(np.cos(t), np.sin(t)) for t in np.arange(8) * np.pi / 4])
    around = [cut_heights(points + d, moves, CUTTERS, IDENTITY, TOP)[0] for d in ring]
    slack = np.abs(np.array(around) - z).max(axis=0)
    assert (away <= short + slack).all()
    assert np.median(away[z < TOP]) < (2e-3 if path == "straight" else short / 2)
