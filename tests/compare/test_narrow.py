"""Crests, tips and pits that end in nothing, on cells far wider than they are: values by hand."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from simkit import check
from simkit.check import NoProgress, Timings
from simkit.cutters import Cutter
from simkit.findings import shape
from simkit.job.model import Blank, Job, Limits, Setup, Zero, Zone
from simkit.moves.table import make_moves
from simkit.stock.field import blank_lattice
from simkit.target.coarseness import coarseness
from simkit.target.grid import TargetGrid
from simkit.target.mesh import make_target
from tests.verdict_jobs import Read

LENGTH, WIDTH, FLOOR = 12.0, 10.0, 8.0  # mm
CELL = 0.4  # mm
AT = (6.253, 4.602)  # mm: no cell centre, nor one of a cell's parts
TOP = 10.0  # mm: of what stands on the floor


def slab(height):
    return manifold3d.Manifold.cube([LENGTH, WIDTH, height])


def knife(half_width):
    """A ridge 6 mm long, so wide at the floor, that ends in a level crest."""
    foot = half_width * (TOP - FLOOR + 1) / (TOP - FLOOR)
    profile = manifold3d.CrossSection([np.array([(-foot, FLOOR - 1), (foot, FLOOR - 1), (0.0, TOP)])])
    along = np.array([[0, 0, 1, AT[0] - 3], [1, 0, 0, AT[1]], [0, 1, 0, 0]], float)
    return manifold3d.Manifold.extrude(profile, 6.0).transform(along)


def spike(half_width):
    foot = half_width * (TOP - FLOOR + 1) / (TOP - FLOOR)
    return manifold3d.Manifold.cylinder(TOP - FLOOR + 1, foot, 0.0, 5).translate([*AT, FLOOR - 1])


def pit(depth, half_width):
    mouth = half_width * (depth + 1) / depth
    return manifold3d.Manifold.cylinder(depth + 1, 0.0, mouth, 5).translate([*AT, TOP - depth])


def worst(solid, height, is_gouge, limit, other=9.0, deeper=(), left=0.0):
    """Return severity, value and bound of the worst that is told of a part milled level at a height.

    limit mm: for the kind that is asked; other mm: for the other one.  deeper: y and height of more passes.
    left mm: on purpose.
    """
    mesh = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    target = make_target(np.asarray(mesh.vert_properties, float)[:, :3], np.asarray(mesh.tri_verts))
    passes = [(y, height) for y in np.arange(0.0, WIDTH + 1, 2.0)] + list(deeper)
    y, z = np.array(passes).T
    start, end = (np.column_stack([np.full(len(y), x), y, z]) for x in (-4, LENGTH + 4))
    moves = make_moves(
        programs=("p.nc",), start=start, end=end, tool=np.ones(len(y), int), line=np.arange(len(y))
    )
    rim = ((-1.0, -1.0), (LENGTH + 1, -1.0), (LENGTH + 1, WIDTH + 1), (-1.0, WIDTH + 1))
    inside = ((1.2, 1.2), (LENGTH - 1.2, 1.2), (LENGTH - 1.2, WIDTH - 1.2), (1.2, WIDTH - 1.2))
    job = Job(
        "",
        Blank(LENGTH, WIDTH, 12.0),
        {1: Cutter(1, "flat", 6.0)},
        (Setup("one", (), zero=Zero("left front", "bottom")),),
        zones=(Zone("rim", rim, judged=False), Zone("inside", inside, judged=True)),
    )
    limits = Limits(gouge=limit, leftover=other) if is_gouge else Limits(gouge=other, leftover=limit)
    limits = replace(limits, finish_allowance=left)
    job, lattice = replace(job, limits=limits), blank_lattice(LENGTH, WIDTH, CELL)
    evidence = check._cut(job, [[(None, Read(moves))]], lattice, Timings(), NoProgress())
    evidence.target, evidence.target_grid = target, TargetGrid(target)
    evidence.coarseness = coarseness(target)
    check._compare(evidence)
    told, _ = shape.looked_spots(evidence, 1, is_gouge)
    return (told[0].severity, abs(told[0].look.value), told[0].look.bound) if told else ("", 0.0, 0.0)


@pytest.mark.parametrize("share", [0.5, 0.8, 0.97, 1.03])
@pytest.mark.parametrize(
    ("solid", "height", "is_gouge", "off"),
    [
        (slab(FLOOR) + knife(0.25), TOP - 0.127, True, 0.127),
        (slab(FLOOR) + spike(0.25), TOP - 0.127, True, 0.127),
        (slab(FLOOR) + spike(0.15), TOP - 0.83, True, 0.83),
        (slab(TOP) - pit(0.75, 0.05), TOP, False, 0.75),
    ],
    ids=["knife", "blunt spike", "spike", "pit"],
)
def test_what_ends_in_nothing__is_told_at_its_height(solid, height, is_gouge, off, share):
    """A level cut takes all above it: a tip is off by what is straight below it, the bottom of a pit that
    stays full by what is straight above it.
    """
    severity, value, bound = worst(solid, height, is_gouge, share * off)
    assert (severity != "") == (share < 1)
    if severity:
        assert abs(value - off) <= bound + 1e-4


@pytest.mark.parametrize("limit", [0.06, 0.1])
def test_a_crest_that_falls_along_its_way__is_told_where_it_is_highest(limit):
    """A plane askew takes the crest off up to x = 6.757, from where it is level: a cut there takes 0.127."""
    top = np.array([6.757, AT[1], TOP])
    plane = np.array([0.092, -0.13, -1.0])
    ridge = knife(0.226).trim_by_plane(tuple(plane), float(plane @ top / np.linalg.norm(plane)))
    severity, value, bound = worst(slab(FLOOR) + ridge, TOP - 0.127, True, limit)
    assert severity == "beyond"
    assert abs(value - 0.127) <= bound + 1e-4


def tip(half_width, above, height):
    """A spike so wide at a height that ends so far above it, and nothing of it 0.9 mm below."""
    foot = half_width * (above + 0.9) / above
    return manifold3d.Manifold.cylinder(above + 0.9, foot, 0.0, 5).translate([*AT, height - 0.9])


@pytest.mark.parametrize("is_gouge", [True, False])
@pytest.mark.parametrize("other", [0.02, 0.3, 0.7, 9.0])
@pytest.mark.parametrize("limit", [0.02, 0.6])
def test_a_tip_gone_and_a_pit_left_full_in_one_cell__are_both_told(is_gouge, limit, other):
    """A spike 0.1 mm wide loses 0.83 mm over a level cut, a pit 0.06 mm wide beside it stays full by 0.75 mm.

    Both lie in one cell of 0.4 mm, at 6.253 and 6.353 of 6.0 to 6.4, and no sample meets either.
    """
    height = 9.1
    hole = manifold3d.Manifold.cylinder(1.75, 0.0, 0.07, 5).translate([AT[0] + 0.1, AT[1], height - 0.75])
    part = slab(height) + tip(0.05, 0.83, height) - hole
    severity, value, bound = worst(part, height, is_gouge, limit, other)
    assert severity == "beyond"
    assert abs(value - (0.83 if is_gouge else 0.75)) <= bound + 1e-4


@pytest.mark.parametrize("limit", [0.2, 0.6, 0.8])
def test_a_tip_gone_where_wood_is_left_beyond_its_limit__is_told(limit):
    """A level cut leaves 0.3 mm everywhere, three times what may be, and took 0.83 mm off a spike."""
    severity, value, bound = worst(slab(8.8) + tip(0.05, 0.83, 9.1), 9.1, True, limit, 0.1)
    assert severity == "beyond"
    assert abs(value - 0.83) <= bound + 1e-4


@pytest.mark.parametrize(("limit", "is_told"), [(1.0, True), (1.08, True), (1.13, False), (1.25, False)])
def test_a_crest_beside_a_fin_that_samples_miss__is_as_far_off_as_from_the_fin(limit, is_told):
    """A crest 10 mm high along the samples; the cut lies at 8.66 mm, and a fin 0.1 mm wide that it left ends
    at 8.9 mm, its near face 0.07 mm beside the crest: that is sqrt(0.07^2 + 1.1^2) = 1.1022 mm off, and
    1.34 mm from all that samples show.
    """
    ridge = knife(0.1).translate([0.0, 4.6 - AT[1], 0.0])
    low, high = 4.6 + 0.07, 4.6 + 0.17
    passes = [(low - 3.0, 8.66), (high + 3.0, 8.66)]
    severity, value, bound = worst(slab(FLOOR) + ridge, 8.9, True, limit, deeper=passes)
    assert (severity == "beyond") == is_told
    assert severity in ("", "beyond")
    if is_told:
        assert abs(value - np.hypot(0.07, 1.1)) <= bound + 1e-4


# On a plate over a floor; or where a pass along the edge took the outermost tenths of a millimetre off, so
# that nothing is left in cells of the part.
TABLE = slab(2.0) + slab(4.0).trim_by_plane((0.0, -1.0, 0.0), -4.0)
PLATE = manifold3d.Manifold.cube([LENGTH, WIDTH, 5.1]).translate([0.0, 0.0, 4.0])
SHELF = manifold3d.Manifold.cube([LENGTH, 5.1, 9.1])


@pytest.mark.parametrize(("share", "is_told"), [(0.5, True), (0.97, True), (1.03, False)])
@pytest.mark.parametrize("where", ["lip", "both", "allowance"])
def test_a_tip_gone_where_the_proof_does_not_tell_all__is_told(where, share, is_told):
    """A spike 0.1 mm wide loses 0.83 mm over a level cut.  0.1 mm left on purpose counts with it: 0.93 mm."""
    height = 9.1
    deeper, left = (), 0.0
    if where == "lip":
        part = TABLE + PLATE
    elif where == "both":
        part, deeper = SHELF, [(4.8 + 3.0, 0.0)]
    else:
        part, left = slab(height - 0.1), 0.1
    off = 0.83 + left
    severity, value, bound = worst(
        part + tip(0.05, 0.83, height), height, True, share * off, deeper=deeper, left=left
    )
    assert (severity != "") == is_told
    if is_told:
        assert abs(value - off) <= bound + 1e-4


@pytest.mark.parametrize(("share", "is_told"), [(0.5, True), (0.97, True), (1.03, False)])
@pytest.mark.parametrize("where", ["lip", "both"])
def test_a_pit_left_full_where_the_proof_does_not_tell_all__is_told(where, share, is_told):
    """A pit 0.06 mm wide stays full by 0.35 mm, 0.39 mm beside the edge that is gone."""
    part, deeper = (TABLE + PLATE, ()) if where == "lip" else (SHELF, [(4.99 + 3.0, 0.0)])
    hole = manifold3d.Manifold.cylinder(1.35, 0.0, 0.03 * 1.35 / 0.35, 5).translate([*AT, 9.1 - 0.35])
    severity, value, bound = worst(part - hole, 9.1, False, share * 0.35, deeper=deeper)
    assert (severity != "") == is_told
    if is_told:
        assert abs(value - 0.35) <= bound + 1e-4


@pytest.mark.parametrize("seed", [*range(8), 14])
def test_of_several_tips_or_pits_in_one_cell__the_worst_is_told(seed):
    """Three to six of 0.02 to 0.08 mm width, between 0.05 and 0.3 mm off a level cut: the highest counts."""
    rng = np.random.default_rng(seed)
    height, tops = 9.1, []
    part, is_gouge = slab(height), rng.uniform() < 0.6
    for _ in range(int(rng.integers(3, 7))):
        top, half_width = float(rng.uniform(0.05, 0.3)), float(rng.uniform(0.01, 0.04))
        at = np.array([6.0, 4.4]) + rng.uniform(0.04, 0.36, 2)
        wide = half_width * (top + 0.5) / top
        if is_gouge:
            one = manifold3d.Manifold.cylinder(top + 0.5, wide, 0.0, 5).translate([*at, height - 0.5])
            part += one ^ manifold3d.Manifold.cube([LENGTH, WIDTH, 2.0]).translate([0, 0, height - 0.01])
        else:
            part -= manifold3d.Manifold.cylinder(top + 0.5, 0.0, wide, 5).translate([*at, height - top])
        tops.append(top)
    severity, value, bound = worst(part, height, is_gouge, float(rng.uniform(0.02, 0.06)))
    assert severity == "beyond"
    assert abs(value - max(tops)) <= bound + 1e-4
