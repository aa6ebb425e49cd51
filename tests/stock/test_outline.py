"""Cutter profiles: shapes against their definitions, the seven parameters, the stack above, the solver."""

import itertools
import math

import numpy as np
import pytest

from simkit.cutters import BALL, CONE, FLAT, PROFILE, SHAPES, Cutter, SevenParameters, kernel_table
from simkit.stock import line_kernels
from tests.stock import precise
from tests.stock.from_python import from_python
from tests.stock.some_moves import CUTTERS

line_outline = from_python(line_kernels.line_outline)
line_outline_terms = from_python(line_kernels.line_outline_terms)


@pytest.mark.parametrize("tool", CUTTERS)
def test_profile__is_what_the_measures_mean(tool):
    cutter = CUTTERS[tool]
    r = np.linspace(0.0, cutter.radius * (1 - 1e-9), 90)
    truth = np.array([float(precise.profile(cutter, precise.mp.mpf(float(x)))) for x in r])
    assert cutter.profile(r) == pytest.approx(truth, abs=1e-9)
    assert np.isinf(cutter.profile(np.array([cutter.radius + 1e-9, 9.0]))).all()


@pytest.mark.parametrize("tool", CUTTERS)
def test_profile__is_convex_and_never_falls(tool):
    cutter = CUTTERS[tool]
    z = cutter.profile(np.linspace(0.0, cutter.radius * (1 - 1e-12), 501))
    assert (np.diff(z) >= 0).all()
    assert (np.diff(z, 2) >= -1e-12).all()


def test_seven_parameters__of_the_named_shapes():
    """Flat: r = 0, e = d/2, f = 0.  Ball: r = f = d/2, e = 0.  Corner radius: e = d/2 - r, f = r.  Drill
    point of 118 degrees: a = 31.  90 degree vee: a = 45.  (The CUTTER statement of APT.)"""
    assert Cutter(1, "flat", 6.0).seven == SevenParameters(6, 0, 3, 0, 0, 0, 0)
    assert Cutter(1, "ball", 6.0).seven == SevenParameters(6, 3, 0, 3, 0, 0, 3)
    assert Cutter(1, "bull-nose", 6.0, corner=1.0).seven == SevenParameters(6, 1, 2, 1, 0, 0, 1)
    drill = Cutter(1, "drill", 6.0).seven
    assert (drill.d, drill.r, drill.a) == (6, 0, 31)
    assert drill.h == pytest.approx(1.802581857, abs=1e-9)  # (D/2) / tan 59, circle geometry
    assert Cutter(1, "vee", 6.0, point=90.0).seven.a == 45
    vee = Cutter(1, "vee", 6.0, point=60.0, tip=1.0).seven
    assert (vee.d, vee.e, vee.b) == (1, 0.5, 30)
    taper = Cutter(1, "tapered ball", 6.0, tip=2.0, taper=10.0).seven
    assert (taper.r, taper.e, taper.f, taper.a, taper.b) == (1, 0, 1, 0, 10)
    # The side line is tangent to the ball and meets the tip plane at d/2: r tan(45 - b/2).
    away = (taper.d / 2 * math.cos(math.radians(10)) + math.sin(math.radians(10))) - 1
    assert away == pytest.approx(0.0, abs=1e-12)


def test_seven_parameters__a_cutter_with_all_of_them():
    """Bottom line at 20 degrees, corner radius 1.5, side at 15 degrees: each tangent to the next."""
    a, b, r, e = math.radians(20), math.radians(15), 1.5, 2.0
    f = r * math.cos(a) + (e + r * math.sin(a)) * math.tan(a)
    outline = SevenParameters(0.0, r, e, f, 20, 15, 8.0).outline()
    knots = np.array([outline.arc_from, outline.arc_to])
    for side in (-1e-9, 1e-9):
        assert outline.heights(knots + side) == pytest.approx(outline.heights(knots), abs=1e-8)
    slopes = (outline.heights(knots + 1e-6) - outline.heights(knots - 1e-6)) / 2e-6
    assert slopes == pytest.approx([math.tan(a), 1 / math.tan(b)], abs=1e-4)
    assert outline.heights(np.array(outline.radius * (1 - 1e-12))) == pytest.approx(8.0, abs=1e-9)
    assert outline.code == PROFILE


def test_codes__closed_forms_where_there_are_any():
    codes = [CUTTERS[tool].code for tool in range(8)]
    assert codes == [FLAT, BALL, CONE, PROFILE, PROFILE, PROFILE, CONE, PROFILE]
    assert CUTTERS[0].shifted(0.5).code == CUTTERS[0].shifted(-0.5).code == FLAT
    assert Cutter(1, "vee", 6.0, point=180.0).code == FLAT
    assert CUTTERS[6].shifted(-0.5).code == CONE
    numbers, codes, outlines = kernel_table({7: CUTTERS[3], 2: CUTTERS[0]})
    assert (numbers.tolist(), codes.tolist(), outlines.shape) == ([7, 2], [PROFILE, FLAT], (2, 11))


@pytest.mark.parametrize("tool", range(8))
@pytest.mark.parametrize("by", [0.25, -0.25, -1.3])
def test_shifted__moves_the_profile_along_the_radius(tool, by):
    cutter, moved = CUTTERS[tool], CUTTERS[tool].shifted(by)
    assert moved.radius == pytest.approx(cutter.radius + by, abs=1e-12)
    r = np.linspace(0, moved.radius * (1 - 1e-9), 60)
    assert moved.profile(r) == pytest.approx(cutter.profile(np.maximum(r - by, 0.0)), abs=1e-9)
    assert moved.shifted(-by) == cutter
    nothing = cutter.shifted(-3.1)
    assert nothing.radius < 0
    assert np.isinf(nothing.profile(np.array([0.0, 1.0]))).all()


def test_stack__neck_shank_and_holder_above_the_cutting_part():
    cutter = Cutter(
        1, "ball", 6.0, cutting_length=10.0, neck=5.0, neck_length=8.0, shank=8.0, stick_out=40.0,
        holder=((20.0, 30.0, 10.0), (50.0, 50.0, 5.0)),
    )  # fmt: skip
    assert [(c.part, c.low, c.high, c.low_radius, c.high_radius) for c in cutter.stack] == [
        ("neck", 10, 18, 2.5, 2.5),
        ("shank", 18, 40, 4, 4),
        ("holder", 40, 50, 10, 15),
        ("holder", 50, 55, 25, 25),
    ]
    r = np.array([0.0, 2.5, 2.6, 4.0, 4.1, 10.0, 12.5, 15.0, 15.1, 25.0, 25.1])
    assert cutter.profile_above(r).tolist() == [10, 10, 18, 18, 40, 40, 45, 50, 50, 50, np.inf]
    assert Cutter(1, "ball", 6.0, shank=8.0).stack == ()  # nobody says where it begins
    open_end = Cutter(1, "ball", 6.0, cutting_length=10.0, shank=8.0).stack
    assert open_end[0].high == np.inf


@pytest.mark.parametrize(
    ("shape", "measures", "told"),
    [
        (
            "dovetail",
            {},
            "the shape of a cutter must be one of flat, ball, bull-nose, tapered ball, vee, drill",
        ),
        ("vee", {}, "cutter 1: found a vee without a point angle, expected a vee with a point angle"),
        (
            "ball",
            {"corner": 1.0},
            "found a corner radius on the shape 'ball', expected one only on a bull-nose",
        ),
        (
            "bull-nose",
            {"corner": 3.5},
            r"found a corner radius of 3.5 mm on a cutter 6 mm wide, expected one below",
        ),
        (
            "tapered ball",
            {"tip": 2.0, "taper": 5.0, "cutting_length": 9.0},
            "is only 3.407 mm wide, expected at least",
        ),
    ],
)
def test_cutter__impossible_measures_are_refused(shape, measures, told):
    with pytest.raises(ValueError, match=told):
        Cutter(1, shape, 6.0, **measures)
    assert shape in (*SHAPES, "dovetail")


def least_by_halving(cutter, m, w):
    """min over t of -m t + f(sqrt(t^2 + w^2)), by halving on the slope of f seen through differences."""
    low, high = 0.0, math.sqrt(cutter.radius**2 - w * w)
    profile = [precise.mp.mpf(v) for v in (m, w)]
    m, w = profile
    low, high = precise.mp.mpf(low), precise.mp.mpf(high)

    def phi(t):
        return -m * t + precise.profile(cutter, precise.mp.sqrt(t * t + w * w))

    tiny = precise.mp.mpf(10) ** -18
    for _ in range(50):
        middle = (low + high) / 2
        if phi(middle + tiny) > phi(middle):
            high = middle
        else:
            low = middle
    return float(phi(low))


@pytest.mark.parametrize("tool", [3, 4, 5, 7, 8, 9, 11, 13])
def test_solver__six_steps_reach_the_minimum(tool):
    """Any slope, any distance across: gentle and steep, on and beside the kinks, close to the rim."""
    cutter = CUTTERS[tool]
    _, _, [outline] = kernel_table({1: cutter})
    radius, _, rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise = outline
    across = [0.0, 1e-9, 0.3 * radius, 0.999 * radius, radius * (1 - 1e-7)]
    across += [
        max(x, 0.0) * (1 + d) for x in (flat, arc_from, arc_to, abs(arc_e)) for d in (-1e-6, 0.0, 1e-6)
    ]
    slopes = [1e-6, 1e-3, 0.05, 0.4, 1.9]
    for m, w in itertools.product(slopes, [w for w in across if w < radius]):
        terms = line_outline_terms(m, radius, rise, side_rise, arc_r)
        got = line_outline(
            50.0, w, 0.0, radius**2, 1.0, 0.0, 100.0, m,
            rise, flat, arc_from, arc_to, arc_e, arc_f, arc_r, side_z, side_rise, *terms,
        )  # fmt: skip
        base = float(cutter.outline.base)
        # Close to the rim the height changes by more than that within 1e-9 mm in plan.
        slack = 1e-9 if w < 0.9995 * radius else 1e-6
        assert got - 50.0 * m + base == pytest.approx(least_by_halving(cutter, m, w), abs=slack)
