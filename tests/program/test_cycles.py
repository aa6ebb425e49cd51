"""Drilling and boring cycles, motion by motion, against their published step lists.

Source: NISTIR 6556 (2000), section 3.5.16: preliminary motion, then for each hole a rapid in XY, a rapid to
R, the steps of the cycle, and the retract to the clear height.  G73 is common usage of controls, no source.
"""

import math

import numpy as np
import pytest

from simkit.program.cycles import BACK_OFF
from simkit.program.reader import read_program

HEAD = "G21 G90\nT1 M6\nS900 M3\nG0 Z{}\nG0 X0 Y0\nF300\n"


def read(body, z=20):
    return read_program(HEAD.format(z) + body + "\nM30\n", "a.nc")


def steps(body, z=20):
    """Every motion behind the head as (kind, x, y, z)."""
    moves = read(body, z).moves[1:]
    assert (moves.line >= 7).all()
    assert (moves.feed[~moves.rapid] == 300).all()
    return [
        ("rapid" if rapid else "feed", *np.round(end, 9).tolist())
        for rapid, end in zip(moves.rapid, moves.end, strict=True)
    ]


def rapid(x, y, z):
    return ("rapid", x, y, z)


def feed(x, y, z):
    return ("feed", x, y, z)


def test_g81__published_steps():
    """Rapid in XY, rapid to R, feed to Z, rapid to the clear height."""
    hole = [rapid(10, 4, 20), rapid(10, 4, 2), feed(10, 4, -5), rapid(10, 4, 20)]
    assert steps("G98 G81 X10 Y4 Z-5 R2") == hole
    assert steps("G81 X10 Y4 Z-5 R2") == hole  # G98 is in force at the start
    assert steps("G99 G81 X10 Y4 Z-5 R2") == [*hole[:3], rapid(10, 4, 2)]


def test_g81__second_hole_keeps_r_and_z():
    assert steps("G99 G81 X10 Z-5 R2\nX15\nY3 Z-6") == [
        rapid(10, 0, 20),
        rapid(10, 0, 2),
        feed(10, 0, -5),
        rapid(10, 0, 2),
        rapid(15, 0, 2),
        feed(15, 0, -5),
        rapid(15, 0, 2),
        rapid(15, 3, 2),
        feed(15, 3, -6),
        rapid(15, 3, 2),
    ]


def test_g81__first_rises_to_r_when_below_it():
    """Preliminary motion: where Z is below R, a rapid to R; the clear height is then R for G98, too."""
    assert steps("G98 G81 X10 Z-5 R2", z=1) == [
        rapid(0, 0, 2),
        rapid(10, 0, 2),
        feed(10, 0, -5),
        rapid(10, 0, 2),
    ]


def test_g81__where_the_tip_stands():
    assert steps("G81 Z-5 R2") == [rapid(0, 0, 2), feed(0, 0, -5), rapid(0, 0, 20)]


def test_g82__is_g81_with_a_dwell():
    assert steps("G82 X10 Z-5 R2 P1.5") == steps("G81 X10 Z-5 R2")
    assert read("G82 X10 Z-5 R2 P1.5\nX20 P2").dwell == 3.5


@pytest.mark.parametrize("word", ["G82", "G86", "G89"])
def test_p__stays_in_force_while_the_cycle_runs_on(word):
    """NISTIR 6556, section 3.5.16: what a block of the same cycle leaves out keeps its value."""
    assert read(f"{word} X10 Z-5 R2 P1.5\nX20\nX30 P0.25\nX40 L2\nG80\nG81 X50 Z-5 R2").dwell == 3.75
    assert read("G86 X10 Z-5 R2").dwell == 0.0


def test_p_of_g64__is_no_dwell():
    assert read("G81 X10 Z-5 R2\nG64 P3 X20").dwell == 0.0


def test_g83__published_steps():
    """Feed by Q, rapid to the clear height, rapid to 0.254 mm (0.010 in) above the depth, and on."""
    assert BACK_OFF == 0.254 == 0.010 * 25.4
    assert steps("G99 G83 X10 Z-5 R1 Q2") == [
        rapid(10, 0, 20),
        rapid(10, 0, 1),
        feed(10, 0, -1),
        rapid(10, 0, 1),
        rapid(10, 0, -0.746),
        feed(10, 0, -3),
        rapid(10, 0, 1),
        rapid(10, 0, -2.746),
        feed(10, 0, -5),
        rapid(10, 0, 1),
    ]
    high = steps("G98 G83 X10 Z-3 R1 Q2")
    assert high[2:] == [
        feed(10, 0, -1),
        rapid(10, 0, 20),
        rapid(10, 0, -0.746),
        feed(10, 0, -3),
        rapid(10, 0, 20),
    ]


def test_g83__a_last_step_shorter_than_q():
    heights = [z for kind, _, _, z in steps("G99 G83 X10 Z-4.5 R1 Q2") if kind == "feed"]
    assert heights == [-1, -3, -4.5]
    assert [z for kind, _, _, z in steps("G83 X10 Z0 R1 Q2") if kind == "feed"] == [0]


def test_g73__backs_off_without_leaving_the_hole():
    assert steps("G98 G73 X10 Z-5 R1 Q3") == [
        rapid(10, 0, 20),
        rapid(10, 0, 1),
        feed(10, 0, -2),
        rapid(10, 0, -1.746),
        feed(10, 0, -5),
        rapid(10, 0, 20),
    ]


@pytest.mark.parametrize("word", ["G85", "G89 P1"])
def test_g85_and_g89__feed_out(word):
    assert steps(f"G99 {word} X10 Z-5 R2") == [
        rapid(10, 0, 20),
        rapid(10, 0, 2),
        feed(10, 0, -5),
        feed(10, 0, 2),
    ]


def test_g86__stops_the_spindle_for_the_way_out_and_starts_it_again():
    got = read("G99 G86 X10 Z-5 R2 P1\nX20")
    assert steps("G99 G86 X10 Z-5 R2 P1") == [
        rapid(10, 0, 20),
        rapid(10, 0, 2),
        feed(10, 0, -5),
        rapid(10, 0, 2),
    ]
    assert got.moves.speed[1:].tolist() == [900, 900, 900, 0, 900, 900, 0]
    assert got.warnings == ()


def test_g91__r_from_the_present_height_z_from_r_and_repeats_step():
    """With G91, R counts from the current Z, Z from R, and each of L repeats steps by X and Y."""
    hole = [rapid(10, 5, 20), rapid(10, 5, 2), feed(10, 5, -3), rapid(10, 5, 20)]
    again = [rapid(20, 10, 20), rapid(20, 10, 2), feed(20, 10, -3), rapid(20, 10, 20)]
    assert steps("G91 G98 G81 X10 Y5 Z-5 R-18 L2") == [*hole, *again]
    assert steps("G91 G98 G81 X10 Y5 Z-5 R-18\nX10 Y5") == [*hole, *again]


def test_l__in_g90_drills_the_same_hole_again():
    hole = [rapid(10, 0, 20), rapid(10, 0, 2), feed(10, 0, -5), rapid(10, 0, 20)]
    assert steps("G81 X10 Z-5 R2 L2") == [*hole, *hole[1:]]


def test_l__holds_for_its_block_alone():
    assert len(steps("G91 G81 X10 Z-5 R-18 L3\nX10")) == 16


def test_cycle__inches_and_work_zero():
    body = "G20\nF20\nG81 X.5 Z-.1 R.1\nG80"
    moves = read(body).moves[1:]
    assert moves.end == pytest.approx(
        np.array([[12.7, 0, 20], [12.7, 0, 2.54], [12.7, 0, -2.54], [12.7, 0, 20]]), abs=1e-12
    )
    assert moves.feed[2] == pytest.approx(508)


@pytest.mark.parametrize("end", ["G80", "G0 X0", "G1 X0", "G2 X9 R9"])
def test_cycle__ends_with_any_other_kind_of_motion(end):
    got = read(f"G81 X10 Z-5 R2\n{end}\nG0 X3").moves
    assert got.end[-1].tolist() == [3, 0, 20]
    assert got.line[-1] == 9


@pytest.mark.parametrize("block", ["G80 G0 X3", "G0 X3 G80", "G80 X3 G0"])
def test_g80__with_another_kind_of_motion_in_its_block(block):
    """Common usage: many programs begin with G0 G17 G40 G49 G80 G90."""
    assert read(f"G81 X10 Z-5 R2\n{block}").moves.end[-1].tolist() == [3, 0, 20]
    assert read("G0 G17 G40 G49 G80 G90 G94\nX3").moves.end[-1].tolist() == [3, 0, 20]


def test_cycle__blocks_without_axis_words_drill_nothing():
    assert len(steps("G81 X10 Z-5 R2\nM8\nS900\n(next)\nF300\nG4 P1\nG80")) == 4


def test_cycle__feed_per_turn():
    moves = read("G95 F0.5\nG81 X10 Z-5 R2").moves
    assert moves.feed[3] == 450


def test_cycle__return_behind_g99_is_told():
    got = read("G99 G81 X10 Z-5 R2\nG98 X20\nX30")
    assert got.moves.end[-1].tolist() == [30, 0, 2]
    assert [str(w) for w in got.warnings] == [
        "a.nc:8:5: G98 behind G99 in one row of holes: read as a return to the height before this block"
    ]


@pytest.mark.parametrize("seed", range(4))
def test_cycle__deep_holes_end_at_z_and_never_skip_more_than_q(seed):
    random = np.random.default_rng(seed)
    r, z, q = random.uniform(0, 5), random.uniform(-30, -1), random.uniform(0.3, 4)
    for word in ("G83", "G73"):
        moves = read(f"G99 {word} X1 Z{z:.4f} R{r:.4f} Q{q:.4f}").moves[3:]
        depths = moves.end[~moves.rapid, 2]
        assert len(depths) == math.ceil((round(r, 4) - round(z, 4)) / round(q, 4) - 1e-9)
        assert depths[-1] == pytest.approx(round(z, 4), abs=1e-12)
        assert (-np.diff([round(r, 4), *depths]) <= round(q, 4) + 1e-9).all()
        assert (moves.end[:, 2] <= r + 1e-4).all()
        assert (moves.start[1:] == moves.end[:-1]).all()
