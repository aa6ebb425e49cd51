"""Cuts beside walls that lean over, by any angle: closed forms, and brute force in section."""

import numpy as np
import pytest
import trimesh

from simkit.compare.deviation import deviation
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import exact_field, grid_of, prism, turned_field, turned_over

HIGH = 12.0  # mm, of the plate with the undercut rim
RIM = 30.0  # mm, where its upper edge lies
CELL = 0.05
LEANS = [0.05, 1.0, 10.0, 44.0, 46.0, 80.0]


def plate(lean):
    """A plate whose right wall leans over by an angle, degrees (negative: leans out), from its upper edge."""
    foot = RIM - HIGH * np.tan(np.radians(lean))
    left = min(foot, RIM) - 5
    if lean > 70:  # nearly a ceiling: a lip on a wall
        left = foot - 5
    return prism([(left, 0), (foot, 0), (RIM, HIGH), (left, HIGH)], 0, 3)


def two_sides(part, lattice, cut, high=HIGH):
    """Deviation of both sides: of the part, and of part and cut turned over; only heights `cut` differ."""
    grid = grid_of(part)
    field, around = exact_field(grid, lattice)
    field.lower[:] = np.where(around.is_part, field.lower, -3.0)
    field.upper[:] = cut(field.upper, *np.meshgrid(lattice.x(), lattice.y()))
    field.lower[:] = np.minimum(field.lower, field.upper - 0.5)  # all columns keep something
    yield deviation(field, around, grid, 1), field
    length = lattice.nx * lattice.cell
    turned = turned_field(field, length, high)
    grid = grid_of(turned_over(part, length, high))
    yield deviation(turned, envelopes(grid, lattice), grid, 2), turned


def to_lines(points, lines):
    """Distance (k,) from points (k, 2) to the nearest of straight pieces (m, 2, 2), in section."""
    found = np.full(len(points), np.inf)
    for a, b in lines:
        along = b - a
        share = np.clip((points - a) @ along / max(along @ along, 1e-30), 0, 1)
        found = np.minimum(found, np.linalg.norm(points - a - share[:, None] * along, axis=1))
    return found


def old_and_new(lean, plan, down):
    """What a cut `plan` too far in and `down` deep took of the plate: old and new surface, straight pieces.

    In section, the rim at (0, 0), into the part along +x, down along +y.
    """
    tangent = np.tan(np.radians(lean))
    met = min(down, plan / tangent) if tangent > 0 else down  # where the cut's face ends, in the part
    old = [[(0, 0), (plan, 0)], [(0, 0), (met * tangent, met)]]
    new = [[(plan, 0), (plan, met)], [(met * tangent, met), (plan, met)]]
    left = [*new, [(-5, down), (plan, down)]]  # and the wood that a cut from above leaves beside the part
    return np.array(old, float), np.array(new, float), np.array(left, float)


def both_ways(old, new, left):
    """The farthest that new surface lies from old, or old from what is left, by close points."""

    def points(lines):
        return np.vstack([a + np.linspace(0, 1, 2000)[:, None] * (b - a) for a, b in lines])

    return max(to_lines(points(new), old).max(), to_lines(points(old), left).max())


@pytest.mark.parametrize("lean", LEANS)
@pytest.mark.parametrize(("plan", "down"), [(0.4, 20.0), (0.4, 0.3), (1.2, 0.9), (1.2, 6.0), (0.1, 5.0)])
def test_undercut_wall__cut_too_far_in_is_as_deep_as_it_went(lean, plan, down):
    # From outside the rim to `plan` within it, `down` deep.  What was surface and what is surface now lie so
    # far apart; no cell may read more, and the worst reads that, to the two cells between samples.
    lattice = Lattice((0.0, 0.0), CELL, 660, 60)
    part = plate(lean)
    part.apply_translation([0.013, 0, 0])  # no cell on the rim
    depth = both_ways(*old_and_new(lean, plan, down))

    def cut(upper, x, _):
        is_cut = x > RIM + 0.013 - plan
        return np.where(is_cut, np.minimum(HIGH - down, np.where(x > RIM + 0.013, HIGH - down, upper)), upper)

    for found, _ in two_sides(part, lattice, cut):
        assert -np.nanmin(found.normal) <= depth + 1e-4
        assert -np.nanmin(found.most) >= depth - 2 * CELL


@pytest.mark.parametrize("lean", LEANS)
@pytest.mark.parametrize(("plan", "down"), [(0.4, 20.0), (1.2, 0.9), (0.1, 5.0)])
def test_leaning_out_wall__reads_the_distance_to_the_wall(lean, plan, down):
    # A wall that leans out by as much is seen: the cut's foot lies as far from it as along its normal.
    part = plate(-min(lean, 60.0))
    slope = np.tan(np.radians(min(lean, 60.0)))
    lattice = Lattice((0.0, 0.0), CELL, 1100, 60)
    down = min(down, HIGH)

    def cut(upper, x, _):
        wall = HIGH - (x - RIM) / slope
        is_cut = (x > RIM - plan) & (wall > -HIGH)
        return np.where(
            is_cut, np.minimum(upper, np.maximum(HIGH - (x - RIM + plan) / slope, HIGH - down)), upper
        )

    cosine = np.cos(np.radians(min(lean, 60.0)))
    for found, field in two_sides(part, lattice, cut):
        assert -np.nanmin(found.normal) <= min(plan * cosine, down) + 1e-4
        assert -np.nanmin(found.most) >= min(plan * cosine, down) - 2 * CELL
        assert field.is_solid.all()


def test_undercut_wall__a_hair_within_it_is_no_gouge():
    # A bore leans over by 0.05 degrees; a cut of the same depth over bore and rim ends 0.74 below the rim, at
    # places 0.00006 within the part there.  0.0007 of wood is gone at the rim, nothing 0.74 deep.
    lattice = Lattice((0.0, 0.0), CELL, 660, 60)
    part = plate(0.05)
    part.apply_translation([CELL / 2 + 0.74 * np.tan(np.radians(0.05)) + 6e-5, 0, 0])

    def cut(upper, x, _):
        return np.where(x > RIM, np.minimum(upper, HIGH - 0.74), upper)

    wide = part.bounds[1, 0] - (RIM + CELL / 2)  # from the rim to the last cell that the cut lowered
    assert wide == pytest.approx(0.0007, abs=1e-4)
    for found, _ in two_sides(part, lattice, cut):
        assert np.isclose(found.vertical, -0.74, atol=1e-5).any()
        assert -np.nanmin(found.normal) <= wide + 1e-6
        assert -np.nanmin(found.most) <= wide + CELL  # to the next sample


def shell(lean, high):
    """A wall of a dish, 5 thick and so high, that leans out by an angle from its foot: 16 wide along it."""
    angle = np.radians(lean)
    across, run = 5 / np.cos(angle), high * np.tan(angle)
    return prism([(3, 0), (3 + across, 0), (3 + across + run, high), (3 + run, high)], 0, 16)


@pytest.mark.parametrize("lean", [10.0, 20.0, 30.0, 44.0, 46.0])
@pytest.mark.parametrize("skin", [0.1, 0.5, -1.0])
def test_leaning_shell__a_scratch_is_as_deep_as_it_went_in(lean, skin):
    # From inside the dish, 0.3 wide, to `skin` from the outer wall, nearer to that than to the inner one, or
    # through both and on.  No wood beside it on the outer wall is gone: it is 5 - skin deep, not half of
    # that, and through the shell as deep as it is thick.
    part, angle = shell(lean, 60.0), np.radians(lean)
    lattice = Lattice((0.0, 0.0), 0.1, round((part.bounds[1, 0] + 3) / 0.1), 160)

    def cut(upper, x, y):
        inner = (x - 3) / np.tan(angle)  # height of the inner wall
        floor = inner - (5 - skin) / np.sin(angle)
        is_cut = (np.abs(y - 8) < 0.15) & (inner > 40) & (inner < 44)
        return np.where(is_cut, np.minimum(upper, floor), upper)

    for found, _ in two_sides(part, lattice, cut, 60.0):
        assert -np.nanmin(found.normal) == pytest.approx(min(5 - skin, 5), abs=1e-4)
        assert -np.nanmin(found.most) == pytest.approx(min(5 - skin, 5), abs=1e-4)


LEDGE = trimesh.boolean.union(  # under a lip that leans over by 10 degrees from 6 up, a ledge on 3 more
    [prism([(5, 0), (30, 0), (30, 6), (5, 6)], 0, 8),
     prism([(5, 5), (27 - 7 * np.tan(np.radians(10)), 5), (27, 12), (5, 12)], 0, 8)],
    engine="manifold",
)  # fmt: skip


@pytest.mark.parametrize("deep", [0.05, 0.4, 2.0])
@pytest.mark.parametrize("plan", [0.0, 0.2, 0.6, 1.5])
def test_step_under_a_lip__a_gouge_in_it_has_its_depth(deep, plan):
    # Down past the lip, 1 wide and `plan` too far in at its edge, and `deep` into the ledge below.  Within
    # the ledge the cut counts from the ledge; at the lip what is gone there; where it went in past the inner
    # edge of the ledge, at plan 1.5, its foot lies as far from that edge as in section.
    lattice = Lattice((0.0, 0.0), 0.1, 330, 80)
    lip = both_ways(*old_and_new(10.0, plan, 6.0)) if plan else 0.0
    foot = np.hypot(max(plan - 6 * np.tan(np.radians(10)), 0.0), deep)

    def cut(upper, x, _):
        return np.where((x > 27 - plan) & (x < 28), np.minimum(upper, 6 - deep), upper)

    for found, _ in two_sides(LEDGE, lattice, cut):
        deepest = max(foot, lip)
        assert -np.nanmin(found.normal) <= deepest + 1e-4
        assert -np.nanmin(found.most) >= deepest - 0.2
        on_ledge = found.normal[:, :: -1 if found.side == 2 else 1][40, 272:278]
        assert -on_ledge.min() == pytest.approx(deep, abs=1e-4)
