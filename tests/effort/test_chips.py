"""Formulas of cutting against published values (tests name them) and what the geometry says."""

import math

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.effort.chips import (
    edge_lean,
    edge_length,
    effective_radius,
    engagement_angle,
    feed_per_tooth,
    full_section,
    largest_chip,
    mean_chip,
    power,
    tangential_force,
    tip_volume,
    usual_chips,
)
from tests.stock.some_moves import SHAPES

MM = 25.4


def test_feed_per_tooth__published_values():
    # 1/4 in with two flutes, 16,000 rev/min, 128 in/min: 0.004 in (common practice, no source).
    assert feed_per_tooth(128 * MM, 16000, 2) == pytest.approx(0.004 * MM, rel=1e-12)
    # 2400 mm/min, 2 edges, 18000 rev/min (symbols of ISO 3002-3, from memory); counter-clockwise alike
    assert feed_per_tooth(2400, -18000, 2) == pytest.approx(0.06666666667)
    assert np.isnan(feed_per_tooth(2400, 0, 2))


def test_usual_chips__hold_what_a_quarter_inch_cutter_takes():
    for hardness in ("hard", "soft"):
        least, largest = usual_chips(Cutter(1, "flat", MM / 4, flutes=2), hardness)
        assert least < 0.004 * MM < largest


def test_chips__published_values():
    # D 6, a_e 0.6, f_z 0.0667: largest 0.04, mean 0.0207 (Martellotti 1941, from memory).
    assert largest_chip(2400 / 36000, 0.6, 6.0) == pytest.approx(0.04)
    assert mean_chip(2400 / 36000, 0.6, 6.0) == pytest.approx(0.02071998502)
    assert largest_chip(0.1, 3.0, 6.0) == largest_chip(0.1, 6.0, 6.0) == pytest.approx(0.1)
    assert mean_chip(0.1, 6.0, 6.0) == pytest.approx(0.2 / math.pi)
    assert mean_chip(0.1, 0.0, 6.0) == 0.0


@pytest.mark.parametrize("width", [0.2, 1.0, 2.9, 3.0, 4.5, 6.0])
def test_chips__are_those_of_circles_one_feed_apart(width):
    # The edge on a circle of D 6; the chip at angle p from where the path is crossed is f sin(p).
    f, angle = 0.05, engagement_angle(width, 6.0)
    assert 3 - 3 * math.cos(angle) == pytest.approx(width)
    chips = f * np.sin(np.linspace(0, angle, 200001))
    assert largest_chip(f, width, 6.0) == pytest.approx(chips.max(), rel=1e-6)
    assert mean_chip(f, width, 6.0) == pytest.approx(chips.mean(), rel=1e-4)


def test_effective_radius__published_value_for_a_ball():
    # 2 sqrt(a (D - a)), D 6, a 0.5: 3.3166 (Machinery's Handbook, from memory).
    assert 2 * effective_radius(Cutter(1, "ball", 6.0), 0.5) == pytest.approx(3.31662479)
    assert effective_radius(Cutter(1, "ball", 6.0), np.array([3.0, 9.0])) == pytest.approx([3.0, 3.0])
    assert effective_radius(Cutter(1, "vee", 20.0, point=90.0), 2.0) == pytest.approx(2.0)
    assert effective_radius(Cutter(1, "flat", 6.0), np.array([0.0, 2.0])) == pytest.approx([3.0, 3.0])


@pytest.mark.parametrize("cutter", SHAPES.values(), ids=str)
def test_effective_radius__is_the_profile_turned_round(cutter):
    r = np.linspace(0, cutter.radius, 501)[1:]
    back = effective_radius(cutter, cutter.profile(r))
    # Where the profile is level every radius has that height: the widest counts.
    level = cutter.profile(r) <= cutter.profile(np.array(0.0)) + 1e-12
    assert back[~level] == pytest.approx(r[~level], abs=1e-6)
    assert (back[level] >= r[level] - 1e-6).all()
    assert effective_radius(cutter, 1e3) == pytest.approx(cutter.radius)


def test_edge_lean__closed_forms():
    # h = f_z sin(phi) sin(kappa), ISO 3002-3 (from memory); ball D 10, a_p 1: 2 sqrt(1 x 9) / 10.
    ball, vee = Cutter(1, "ball", 10.0), Cutter(2, "vee", 20.0, point=60.0)
    assert edge_lean(ball, np.array([1.0, 5.0, 8.0])) == pytest.approx([0.6, 1.0, 1.0])
    assert edge_length(ball, np.array([1.0, 8.0])) == pytest.approx([5 * math.acos(0.8), 2.5 * math.pi + 3.0])
    assert edge_lean(vee, 2.0) == pytest.approx(math.cos(math.pi / 6))
    assert edge_length(vee, 2.0) == pytest.approx(2.0 / math.cos(math.pi / 6))
    assert edge_lean(Cutter(3, "flat", 6.0), 0.1) == 1.0
    assert edge_length(Cutter(3, "flat", 6.0), 0.1) == pytest.approx(0.1)


@pytest.mark.parametrize("cutter", SHAPES.values(), ids=str)
def test_edge_lean__is_how_far_two_edges_one_feed_apart_are_from_each_other(cutter):
    # The outline drawn as points, and once more a little to the side: the shortest way between them.
    r = np.linspace(0, cutter.radius, 20001)
    edge = np.column_stack([r, cutter.profile(r)])
    edge = np.vstack([edge, [[cutter.radius, edge[-1, 1] + 5.0]]])
    f = 1e-3
    for depth in (0.15, 0.4, 1.1, 3.7):
        at = np.array([effective_radius(cutter, depth) + f, depth])
        way = np.diff(edge, axis=0)
        part = np.clip(((at - edge[:-1]) * way).sum(1) / np.maximum((way**2).sum(1), 1e-18), 0, 1)
        nearest = np.hypot(*(at - edge[:-1] - part[:, None] * way).T).min()
        assert nearest / f == pytest.approx(edge_lean(cutter, depth), abs=2e-3)


@pytest.mark.parametrize("cutter", SHAPES.values(), ids=str)
def test_edge_length__is_that_of_the_drawn_edge(cutter):
    for depth in (0.15, 0.4, 1.1, 3.7):
        z = np.linspace(0, math.sqrt(depth), 20001) ** 2
        drawn = np.hypot(np.diff(effective_radius(cutter, z)), np.diff(z)).sum()
        assert edge_length(cutter, depth) == pytest.approx(drawn, rel=1e-4)


def test_power__is_the_removal_rate_times_the_specific_force():
    # 17.28 cm3/min (a_p 3, a_e 2.4, 2400 mm/min) at 20 N/mm2: P = k_c Q (ISO 3002-4, from memory).
    watts = power(3 * 2.4 * 2400, 20.0)
    assert watts == pytest.approx(17.28e-6 * 20e6 / 60)
    # v_c of D 6 at 18000 rev/min is 5.654866776 m/s.
    assert tangential_force(watts, 18000, 6.0) == pytest.approx(watts / 5.654866776)


@pytest.mark.parametrize("depth", [0.0, 0.3, 1.0, 3.0, 5.0])
def test_section_and_volume_of_the_tip__closed_forms(depth):
    flat, ball = Cutter(1, "flat", 6.0), Cutter(2, "ball", 6.0)
    vee = Cutter(3, "vee", 40.0, point=90.0)
    assert full_section(flat, depth) == pytest.approx(6.0 * depth, abs=1e-9)
    assert tip_volume(flat, depth) == pytest.approx(math.pi * 9 * depth, abs=1e-9)
    assert full_section(vee, depth) == pytest.approx(depth**2, rel=1e-5)
    assert tip_volume(vee, depth) == pytest.approx(math.pi * depth**3 / 3, rel=1e-5)
    round_part = min(depth, 3.0)
    segment = 9 * math.acos((3 - round_part) / 3) - (3 - round_part) * math.sqrt(
        6 * round_part - round_part**2
    )
    assert full_section(ball, depth) == pytest.approx(segment + 6 * (depth - round_part), rel=1e-5)
    cap = math.pi * round_part**2 * (9 - round_part) / 3
    assert tip_volume(ball, depth) == pytest.approx(cap + math.pi * 9 * (depth - round_part), rel=1e-5)


@pytest.mark.parametrize("cutter", SHAPES.values(), ids=lambda cutter: cutter.shape)
def test_section__every_shape_as_a_plain_sum(cutter):
    heights = (np.arange(200_000) + 0.5) * 4.0 / 200_000
    radius = effective_radius(cutter, heights)
    assert full_section(cutter, [1.0, 4.0])[1] == pytest.approx(2 * radius.mean() * 4.0, rel=1e-5)
    assert tip_volume(cutter, [0.2, 4.0])[1] == pytest.approx(math.pi * (radius**2).mean() * 4.0, rel=1e-5)
