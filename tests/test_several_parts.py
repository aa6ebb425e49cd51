"""Several parts on one blank, and a blank worked from one side: sides, turns, seams, holding, sheets."""

import json
import re

import numpy as np
import pytest
import trimesh

from simkit.cli import main
from tests import several_parts
from tests.several_parts import LENGTH, PARTS, POCKET, THICK, WIDTH
from tests.small_job import HEAD, JOB, block, check


def checked(path, *words, command="check"):
    out = path.parent / "r.json"
    status = main([command, str(path), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    return status, json.loads(out.read_text("utf-8"))


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    path = several_parts.write(
        tmp_path_factory.mktemp("two"), more="[budget]\nzero_setting = 0.08\nheight_setting = 0.02\n"
    )
    return path, *checked(path)


def test_two_parts__are_within_limits_and_the_turn_is_confirmed(two):
    _, status, result = two
    assert (status, result["verdict"]["exit_status"]) == (0, 0)
    assert any("'second', turned over about x: confirmed" in one for one in result["remarks"])
    assert any("holds 2 bodies" in one for one in result["remarks"])


def test_two_parts__have_one_seam_round_each(two):
    """Stations lie on the walls of both blocks, none between them."""
    seam = two[2]["seam"]
    stations = np.array(seam["stations"])[:, :2]
    for x0, x1, y0, y1 in PARTS:
        is_here = (stations[:, 0] > x0 - 1) & (stations[:, 0] < x1 + 1)
        wall = np.minimum.reduce([np.abs(stations[is_here] - at)[:, k] for at, k in
                                  ((x0, 0), (x1, 0), (y0, 1), (y1, 1))])  # fmt: skip
        assert is_here.sum() > 40
        assert wall.max() < 0.05
    assert np.abs(seam["offset"]).max() < 0.01


def test_two_parts__bear_what_their_walls_do(two):
    """A wall cut 0.1 mm deep breaks a limit whichever block it belongs to; a turn by its longest lever."""
    budget = two[2]["budget"]
    axes = {axis["name"]: (axis["low"], axis["high"]) for axis in budget["axes"]}
    for name in ("right", "back"):
        assert axes[name] == pytest.approx((-0.1, 0.1), abs=0.002)
    assert axes["high"] == pytest.approx((-0.1, 0.3), abs=0.002)  # the pocket's floor
    # About the middle of the blank: the wall along x goes off by the turn times its end's lever, 35 - 8 mm.
    lever = max(LENGTH / 2 - PARTS[0][0], PARTS[1][1] - LENGTH / 2)
    assert axes["turn"][1] == pytest.approx(np.degrees(0.1 / lever), rel=0.01)
    assert budget["chance"]["holds"] == pytest.approx(0.97, abs=0.03)


def test_two_parts__each_is_told_with_its_place_and_its_tape(two):
    rows = [row for row in two[2]["held"] if row["setup"] == "second"]
    parts = {row["piece"]: row for row in rows if row["piece"].startswith("the part")}
    # Places are those of the columns left; the pocket leaves its block on the table but for its plan.
    assert set(parts) == {"the part at x 51, y 15", "the part at x 18, y 15"}
    for name, (x0, x1, y0, y1) in zip(
        ("the part at x 18, y 15", "the part at x 51, y 15"), PARTS, strict=True
    ):
        row = parts[name]
        assert row["area"] == pytest.approx((x1 - x0) * (y1 - y0), abs=row["area_bound"])
        assert row["bears"] == pytest.approx(0.1 * row["area"])


def test_two_parts__turned_the_wrong_way_is_told_with_the_right_one(two, tmp_path):
    path = several_parts.write(tmp_path)
    path.write_text(path.read_text("utf-8").replace("about x", "about y"), encoding="utf-8")
    status, result = checked(path)
    row = result["findings"][0]
    assert (status, row["kind"]) == (1, "wrong-turn")
    assert "turn it edge over edge (about x: front edge to the back), not end over end" in row["message"]


def test_two_parts__a_shift_and_a_turn_are_measured_back(two):
    _, result = checked(two[0], "--shift", "second=0.3,-0.2", "--turn", "second=0.1", command="whatif")
    found = re.search(
        r": ([\d.]+) ± [\d.]+ mm right, ([\d.]+) ± [\d.]+ mm forward, turned ([\d.]+) ± [\d.]+ degrees left",
        result["measured_back"],
    )
    right, forward, left = map(float, found.groups())
    assert (right, forward) == pytest.approx((0.3, 0.2), abs=0.02)
    assert left == pytest.approx(0.1, abs=0.005)


def test_two_parts__that_nothing_holds_come_free_each_at_its_line(tmp_path):
    """The cut round each in side 2 parts it where that closes."""
    path = several_parts.write(tmp_path)
    text = path.read_text("utf-8")
    tape = text[text.index('[[holding]]\nkind = "tape"') : text.index('[[holding]]\nkind = "screw"')]
    path.write_text(text.replace(tape, ""), encoding="utf-8")
    status, result = checked(path)
    rows = [row for row in result["findings"] if row["kind"] == "loose-piece"]
    lines = (tmp_path / "side2.nc").read_text("utf-8").split("\n")
    closing = [k for k, line in enumerate(lines, 1) if line.startswith("G0 Z10")][-2:]
    assert status == 1
    # The web between the two blocks hangs on the second one alone when three of its sides are cut.
    first, second = sorted(rows, key=lambda row: row["line"])
    assert [first["line"], second["line"]] == [closing[0] - 1, closing[1] - 2]
    assert [first["severity"], second["severity"]] == ["safety", "safety"]
    (x0, x1, y0, y1), (u0, u1, v0, v1) = PARTS
    assert f"the part ({x1 - x0} x {y1 - y0} x {THICK:g} mm" in first["message"]
    assert first["value"] == pytest.approx((x1 - x0) * (y1 - y0) * THICK / 1000, rel=1e-3)
    px0, px1, py0, py1, depth = POCKET
    pocket = ((px1 - px0) * (py1 - py0) - (4 - np.pi) * 9) * depth
    block_alone = ((u1 - u0) * (v1 - v0) * THICK - pocket) / 1000
    web = 6 * (v1 - v0 + 6) * 4 / 1000  # as side 1 left it, by 3 mm beyond both corners at most
    assert block_alone < second["value"] < block_alone + web
    assert "runs into it in side2.nc" in second["message"]


def test_two_parts__the_sheet_tells_both_setups_and_the_tape(two, capsys):
    assert main(["sheet", str(two[0])]) == 0
    told = capsys.readouterr().out
    assert f"Blank ready to cut: {LENGTH:g} x {WIDTH:g} x {THICK:g} mm, cherry" in told
    assert told.count("tape: x 5 to 65, y 5 to 25") == 2


def test_one_side__says_nothing_of_a_second_one(tmp_path, capsys):
    """Faced from one side: no turn, no seam, no budget, and the sheet is for one setup."""
    passes = "".join(f"G0 X-5 Y{y}\nG1 Z10 F600\nX45\nG0 Z20\n" for y in range(0, 33, 4))
    job = JOB + "[budget]\nzero_setting = 0.1\n"
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 10), HEAD + passes + "M5\nM30\n", job=job)
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert (status, found, result["seam"], result["budget"], result["seats"]) == (0, [], None, None, [])
    assert "Only side 1 was judged" in result["verdict"]["sentence"]
    assert "[budget] is not judged: no side is cut after the blank was turned over" in result["remarks"]
    status, changed = checked(tmp_path / "job.toml", "--shift", "top=0,0,-0.4", command="whatif")
    assert (status, changed["measured_back"]) == (1, "")
    assert changed["changed"]["findings"][0]["value"] == pytest.approx(0.4, abs=0.001)
    capsys.readouterr()
    assert main(["sheet", str(tmp_path / "job.toml")]) == 0
    assert "Setup 1 of 1: top" in capsys.readouterr().out


def moved(program, x, y):
    """Return a program that counts from a place x, y mm farther right and back."""
    return re.sub(
        r"([XY])(-?[\d.]+)",
        lambda word: f"{word[1]}{float(word[2]) - (x if word[1] == 'X' else y):g}",
        program,
    )


def with_steps(folder, *steps, more=""):
    path = several_parts.write(folder)
    text = path.read_text("utf-8").replace("[target]", f"{''.join(steps)}[target]")
    path.write_text(text + more, encoding="utf-8")
    return path


def test_two_parts__sawn_to_size_between_the_sides(tmp_path):
    """The program of side 2 counts from the corner that the saw left: y = 29.5 is in front then."""
    saw = '[[steps]]\nafter = "first"\ndo = "saw"\nside = 1\nbox = [[1, 0.5], [69.5, 29.5]]\n'
    path = with_steps(tmp_path, saw, more="[budget]\nsawing = 0.05\n")
    second = (tmp_path / "side2.nc").read_text("utf-8")
    (tmp_path / "side2.nc").write_text(moved(second, 1, 0.5), encoding="utf-8")
    status, result = checked(path)
    assert (status, [row for row in result["findings"] if row["severity"] != "warning"]) == (0, [])
    [sawn] = result["steps"]["rows"]
    assert sawn["size_after"] == [68.5, 29]
    assert any("'second', turned over about x: confirmed" in one for one in result["remarks"])
    stations = np.array(result["seam"]["stations"])[:, 0]
    assert [((stations > x0 - 1) & (stations < x1 + 1)).sum() > 40 for x0, x1, _, _ in PARTS] == [True] * 2
    words = [row["words"] for row in result["budget"]["contributions"]]
    assert words == ["sawing the edge at x = 1 mm", "sawing the edge at y = 29.5 mm"]
    assert result["budget"]["chance"]["holds"] == 1.0  # 0.07 mm aslant, and walls bear 0.1


def test_two_parts__resin_in_one_of_them(tmp_path):
    """The pocket of the second block poured flush makes it a plain one; the first is none the wiser."""
    pour = '[[steps]]\nafter = "second"\ndo = "pour"\nside = 2\nbelow = 0\n'
    path = with_steps(tmp_path, f"{pour}outline = [[42, 9], [54, 9], [54, 20], [42, 20]]\n")
    plain = trimesh.util.concatenate([block(*part, 0, THICK) for part in PARTS])
    plain.export(tmp_path / "parts.stl")
    status, result = checked(path)
    assert (status, [row for row in result["findings"] if row["severity"] != "warning"]) == (0, [])
    [poured] = result["steps"]["rows"]
    x0, x1, y0, y1, depth = POCKET
    assert poured["volume"] == pytest.approx(
        ((x1 - x0) * (y1 - y0) - (4 - np.pi) * 9) * depth, abs=poured["bound"]
    )
    assert (poured["hollows"], poured["openings"]) == (1, [])
    without = tmp_path / "without"
    without.mkdir()
    path = several_parts.write(without)
    plain.export(without / "parts.stl")
    status, result = checked(path)
    assert (status, result["findings"][0]["kind"], result["findings"][0]["value"]) == (1, "gouge", depth)
