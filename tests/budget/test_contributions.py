"""What a job states of its errors: sizes from the Wood Handbook's figures and from the dowels' play."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from simkit.check import check
from simkit.job.model import Blank, Layup
from simkit.job.reader import read_job
from simkit.job.wood import movement
from simkit.program.job_programs import read_programs
from tests import budget_job

# Cherry, Wood Handbook, Table 4-3: radial 3.7 %, tangential 7.1 % from green (30 %) to dry.
RADIAL, TANGENTIAL, ALONG = 0.037 / 30, 0.071 / 30, 0.002 / 30

DOWELS = """
[[dowels]]
name = "a"
at = [3, 17]
diameter = 4
hole = 4.06
pin = 4.0
[[dowels]]
name = "b"
at = [41, 17]
diameter = 4
hole = 4.06
pin = 4.0
"""


def budget_of(folder, more):
    job = read_job(budget_job.write(folder, more=more))
    return check(job, read_programs(job), 0.5)[0].budget


@pytest.mark.parametrize(
    ("rings", "joined", "shrinks"),
    [
        ("quarter", "along y", (ALONG, TANGENTIAL, RADIAL)),
        ("flat", "along y", (ALONG, RADIAL, TANGENTIAL)),
        ("flat", "along z", (ALONG, TANGENTIAL, RADIAL)),
        ("rift", "along y", (ALONG, (RADIAL + TANGENTIAL) / 2, (RADIAL + TANGENTIAL) / 2)),
        ("", "along y", (ALONG, TANGENTIAL, TANGENTIAL)),
    ],
)
def test_movement__by_the_rings(rings, joined, shrinks):
    blank = Blank(200.0, 60.0, 40.0, species="Black  Cherry", grain="along x")
    found, words = movement(blank, Layup(joined, (20.0,) * (3 if joined == "along y" else 2), rings))
    assert found == pytest.approx(shrinks)
    assert "Wood Handbook" in words
    across, _ = movement(replace(blank, species="cherry", grain="along y"), Layup(joined, (20.0,), rings))
    assert across == pytest.approx((shrinks[1], shrinks[0], shrinks[2]))


@pytest.mark.parametrize(
    ("rings", "joined", "boards", "shrinks"),
    [
        ("flat", "along y", (80.0, 80.0, 80.0), (ALONG, TANGENTIAL, RADIAL)),
        ("quarter", "along y", (80.0, 80.0, 80.0), (ALONG, RADIAL, TANGENTIAL)),
        ("flat", "along y", (80.0, 80.0, 20.0, 60.0), (ALONG, TANGENTIAL, TANGENTIAL)),
    ],
)
def test_movement__of_a_panel_glued_edge_to_edge(rings, joined, boards, shrinks):
    """Boards 80 mm wide and 25 thick: their wide faces are those of the panel, not those that are glued."""
    blank = Blank(300.0, 240.0, 25.0, species="cherry", grain="along x")
    assert movement(blank, Layup(joined, boards, rings))[0] == pytest.approx(shrinks)


@pytest.mark.parametrize(
    ("rings", "joined", "boards", "shrinks"),
    [
        ("flat", "along x", (20.0,) * 15, (RADIAL, ALONG, TANGENTIAL)),  # strips 25 high
        ("flat", "along x", (100.0,) * 3, (TANGENTIAL, ALONG, RADIAL)),  # a panel
        ("quarter", "along z", (12.5, 12.5), (RADIAL, ALONG, TANGENTIAL)),
    ],
)
def test_movement__of_boards_that_run_along_y(rings, joined, boards, shrinks):
    blank = Blank(300.0, 240.0, 25.0, species="cherry", grain="along y")
    assert movement(blank, Layup(joined, boards, rings, run="along y"))[0] == pytest.approx(shrinks)


@pytest.mark.parametrize(
    ("species", "flat"), [("White Ash", 7.8), ("birch", 9.5), ("northern red oak", 8.6), ("soft  maple", 8.2)]
)
def test_movement__of_a_wood_by_any_of_its_names(species, flat):
    # Wood Handbook, FPL-GTR-282, Table 4-3, tangential, from memory; S / 30 for each percent of moisture.
    found, told = movement(Blank(200.0, 60.0, 40.0, species=species, grain="along x"), None)
    assert found[1] == pytest.approx(flat / 3000)
    assert species in told


def test_movement__names_the_woods_it_knows():
    found, told = movement(Blank(200.0, 60.0, 40.0, species="balsa", grain="along x"), None)
    assert found is None
    assert "(cherry, walnut, hard maple, " in told


@pytest.mark.parametrize(
    ("species", "grain", "words"),
    [
        ("", "along x", "blank.species"),
        ("balsa", "along x", "no wood whose shrinkage"),
        ("cherry", "", "grain"),
    ],
)
def test_movement__says_what_is_missing(species, grain, words):
    found, told = movement(Blank(200.0, 60.0, 40.0, species=species, grain=grain), None)
    assert found is None
    assert words in told


def test_nothing_stated__is_left_out(tmp_path):
    budget = budget_of(tmp_path, "")
    assert budget.parts == []
    assert budget.chance is None
    assert "setting the zero" in budget.left_out
    assert "the play of the dowels" in budget.left_out


def test_even_errors__of_a_zero_and_a_thickness(tmp_path):
    budget = budget_of(tmp_path, "[budget]\nzero_setting = 0.03\nthickness_error = 0.02\n")
    sizes = [(part.key, part.size, part.standard) for part in budget.parts]
    assert sizes == [
        ("zero_setting", 0.03, pytest.approx(0.03 / 3**0.5)),
        ("zero_setting", 0.03, pytest.approx(0.03 / 3**0.5)),
        ("thickness_error", 0.02, pytest.approx(0.02 / 3**0.5)),
    ]
    # 0.03 each way is 0.042 together, and the limit of a gouge 0.1.
    assert budget.chance.holds == 1.0
    assert len(budget.left_out) == 6


def test_chance__of_a_round_region_and_a_square_error(tmp_path):
    """Corners bear 0.1 mm whichever way they move, and the zero is even within 0.08 mm each way."""
    chance = budget_of(tmp_path, "[budget]\nzero_setting = 0.08\n").chance
    # Facets and brackets make the region smaller by up to 0.003 mm all round, see test_budget.
    expected = [
        integrate.quad(lambda x, r=r: min(0.08, (r * r - x * x) ** 0.5), 0, 0.08)[0] / 0.0064
        for r in (0.097, 0.1005)
    ]
    assert expected[0] - chance.bound <= chance.holds <= expected[1] + chance.bound
    assert chance.bound < 0.02


def test_moisture__moves_the_far_wall_by_its_distance_from_the_zero(tmp_path):
    """The zero of side 2 is at y = 34; the wall at y = 8 lies 26 mm off it, and swells by 7.1 % in 30."""
    budget = budget_of(tmp_path, "[budget]\nmoisture_change = 0.8\n")
    (part,) = budget.parts
    wall = (np.abs(budget.rows.at[:, 1] - budget_job.Y0) < 0.002) & (budget.rows.grow[:, 1] > 0.99)
    wall &= budget.rows.faces[:, 0] < 0  # corners move as what lies between two walls
    assert np.abs(part.column[wall]) == pytest.approx(0.8 * TANGENTIAL * 26, abs=1e-5)
    # 1 / 0.98 of the stated change would break the limit at the far wall: not yet.
    is_gouge, is_corner = budget.rows.kind == 0, budget.rows.faces[:, 0] >= 0
    assert np.abs(part.column[is_gouge & ~is_corner]).max() <= 0.8 * TANGENTIAL * 26 + 1e-6
    # Between two walls a corner may be told by up to 0.4 % more.
    assert np.abs(part.column[is_gouge & is_corner]).max() <= 1.0039 * 0.8 * TANGENTIAL * 26 + 1e-6


def test_dowels__play_is_taken_from_the_pins(tmp_path):
    budget = budget_of(tmp_path, DOWELS + "[budget]\nzero_setting = 0.01\n")
    keys = [part.key for part in budget.parts]
    assert keys == ["zero_setting"] * 2 + ["dowels"] * 3
    along, first, second = budget.parts[2:]
    assert [part.size for part in budget.parts[2:]] == pytest.approx([0.03] * 3)
    # Density of the shift along as r^2 - s^2: its variance r^2 / 5, that across at each dowel 4 r^2 / 15.
    spread = 0.03 * np.sqrt([1 / 5, 4 / 15, 4 / 15])
    assert [part.standard for part in budget.parts[2:]] == pytest.approx(spread, rel=1e-4)
    assert ["'a'" in first.words, "'b'" in second.words] == [True, True]
    # A wall along the line of the dowels moves across it by what its place takes of the one and the other.
    wall = (np.abs(budget.rows.at[:, 1] - budget_job.Y0) < 0.002) & (budget.rows.grow[:, 1] > 0.99)
    wall &= budget.rows.faces[:, 0] < 0  # corners move as what lies between two walls
    nearer = (41 - budget.rows.at[wall, 0]) / 38
    assert np.abs(first.column[wall]) == pytest.approx(0.03 * nearer, rel=2e-3, abs=1e-9)
    assert np.abs(second.column[wall]) == pytest.approx(0.03 * (1 - nearer), rel=2e-3, abs=1e-9)
    assert np.all(first.column[wall] * second.column[wall] > 0)
    assert np.abs(along.column[wall]) == pytest.approx(0.0, abs=0.03 * 1e-3)
    assert "the play of the dowels" not in budget.left_out


def test_chance__not_possible(tmp_path):
    """The left wall is 0.15 too deep, and nothing that is stated may cure it."""
    budget = budget_of(tmp_path, "[budget]\nheight_setting = 0.01\n")
    assert budget.chance.holds == 1.0
    spoilt = read_job(budget_job.write(tmp_path, more="[budget]\nheight_setting = 0.01\n", off=0.15))
    budget = check(spoilt, read_programs(spoilt), 0.5)[0].budget
    assert budget.chance.holds == 0.0
