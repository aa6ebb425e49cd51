"""Findings on small jobs whose faults are planted: value, place, line, and what must not be told."""

import re

import numpy as np
import pytest
import trimesh

from simkit.cli import main
from simkit.findings.shape import severity_of
from tests.small_job import HEAD, JOB, block, check


def faced(z, x0=-5.0, x1=45.0):
    """A program that faces the whole blank to a height, passes 4 mm apart."""
    lines = [f"G0 X{x0} Y0 Z20", f"G1 Z{z} F600"]
    for k, y in enumerate(np.arange(0.0, 32.1, 4.0)):
        a, b = (x0, x1) if k % 2 == 0 else (x1, x0)
        lines += [f"G1 X{a} Y{y:g}", f"X{b}"]
    return HEAD + "\n".join(lines) + "\nG0 Z20\nM30\n"


def test_hidden__a_tunnel_is_told_and_is_no_leftover(tmp_path):
    tunnel = trimesh.creation.cylinder(radius=2.0, height=60.0, sections=64)
    tunnel.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0], [0, 0, 0]))
    tunnel.apply_translation((20, 15, 5))
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 10), tunnel])
    status, rows = check(tmp_path, part, faced(10))
    assert [(row["kind"], row["severity"]) for row in rows] == [("hidden", "warning")]
    assert status == 0
    # The widest column of a round tunnel is its diameter, at cell centres 0.25 mm beside the axis.
    assert rows[0]["value"] == pytest.approx(2 * np.sqrt(4 - 0.25**2), abs=0.01)
    assert rows[0]["at"][2] == pytest.approx(5.0, abs=0.01)


def test_gouge__a_pass_too_deep_is_told_with_its_line(tmp_path):
    program = faced(10).replace("G0 Z20\nM30", "G1 X20 Y15 Z9.4 F300\nG0 Z20\nM30")
    status, rows = check(tmp_path, block(0, 40, 0, 30, 0, 10), program, cell="0.25")
    assert status == 1
    (row,) = [row for row in rows if row["kind"] == "gouge"]
    assert row["severity"] == "beyond"
    assert row["value"] == pytest.approx(0.6, abs=row["bound"])
    assert row["line"] == program.splitlines().index("G1 X20 Y15 Z9.4 F300") + 1
    assert row["at"][:2] == pytest.approx((20, 15), abs=4.0)
    assert row["program_at"] == row["at"]  # the zero is the corner of the blank frame


def test_break_through__nothing_is_left_of_the_floor(tmp_path):
    part = block(0, 40, 0, 30, 0, 2)
    program = faced(2).replace("G0 Z20\nM30", "G1 X20 Y15 Z-1 F300\nG0 Z20\nM30")
    status, rows = check(tmp_path, part, program)
    assert status == 1
    (row,) = [row for row in rows if row["kind"] == "break-through"]
    assert row["value"] == pytest.approx(2.0)
    assert row["line"] == program.splitlines().index("G1 X20 Y15 Z-1 F300") + 1
    assert row["advice"].startswith("This side alone went through it")


def test_leftover__a_place_the_program_never_went_to(tmp_path):
    status, rows = check(tmp_path, block(0, 40, 0, 30, 0, 10), faced(10, x1=20))
    assert status == 1
    (row,) = [row for row in rows if row["severity"] == "beyond"]
    assert row["kind"] == "leftover-program"
    assert "holds the part" not in row["message"]
    assert row["value"] == pytest.approx(2.0, abs=row["bound"])
    assert row["at"][0] > 22
    assert row["line"]


def test_leftover__beside_a_tab_is_not_to_be_cut_away(tmp_path):
    """A ledge at 3 below a tab that stands to 6: a pass over it would cut the tab."""
    part = trimesh.boolean.union([block(5, 28, 5, 25, 0, 10), block(5, 30, 5, 25, 0, 3)], engine="manifold")
    lines = ["G0 X31 Y-4"]
    for x in (31, 36, 39):
        lines += [f"G0 X{x} Y-4", "G1 Z3 F600", "G1 Y9", "G1 Z6", "G1 Y21", "G1 Z3", "G1 Y34", "G0 Z20"]
    for y in ((-4, 8), (22, 34)):  # through, beside the tab
        lines += [f"G0 X33.1 Y{y[0]}", "G1 Z0 F600", f"G1 Y{y[1]}", "G0 Z20"]
    program = faced(10).replace("M30\n", "\n".join(lines) + "\nM30\n")
    _, rows = check(tmp_path, part, program, cell="0.25")
    on_ledge = [row for row in rows if row["kind"].startswith("leftover") and row["at"][0] > 28]
    assert on_ledge
    for row in on_ledge:
        assert row["kind"] == "leftover-program"
        assert "wood that holds the part is" in row["message"]
        assert row["advice"].startswith("Keep off where")
    # Without the tab nothing stands there.
    _, rows = check(tmp_path, part, program.replace("G1 Z6\n", ""), cell="0.25")
    assert not [row for row in rows if row["kind"].startswith("leftover") and row["at"][0] > 28]


def test_leftover__an_inside_corner_the_cutter_cannot_get_into(tmp_path):
    # A pocket 20 x 14, 4 deep, cut by a 6 mm flat along its walls.
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), block(10, 30, 8, 22, 8, 13)])
    lines = ["G0 X13 Y11", "G1 Z8 F300"]
    for y in (11.0, 15.0, 19.0):
        lines += [f"G1 X13 Y{y:g}", "X27"]
    lines += ["G1 X13 Y11", "Y19", "X27", "Y11", "X13"]
    status, rows = check(tmp_path, part, HEAD + "\n".join(lines) + "\nG0 Z20\nM30\n", cell="0.2")
    assert status == 1
    corners = [row for row in rows if row["severity"] == "beyond"]
    assert [row["kind"] for row in corners] == ["leftover-cutter"] * 4
    for row in corners:
        # From the corner's edge to the cut (sqrt2 - 1) R (plane geometry).
        assert row["value"] == pytest.approx((np.sqrt(2) - 1) * 3.0, abs=row["bound"] + 0.03)
        assert min(abs(row["at"][0] - 10), abs(row["at"][0] - 30)) < 1.0
        # The same is what the best pass of this cutter leaves: the range that is told holds it.
        told = re.search(r"its best pass leaves (\d+\.\d\d)(?: to (\d+\.\d\d))? mm", row["message"])
        least, most = (float(word) for word in (told[1], told[2] or told[1]))
        assert least - 0.005 <= (np.sqrt(2) - 1) * 3.0 <= most + 0.005
        assert most <= row["value"] + row["bound"] + 0.005


def test_thin_wall__a_floor_cut_too_thin_but_not_one_thin_by_design(tmp_path):
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 10), block(8, 32, 8, 22, 3, 13)])
    lines = ["G0 X11 Y11", "G1 Z2.2 F300"]
    for y in (11.0, 15.0, 19.0):
        lines += [f"G1 X11 Y{y:g}", "X29"]
    job = JOB.replace("thinnest_wall = 1", "thinnest_wall = 2.5")
    program = faced(10).replace("G0 Z20\nM30\n", "G0 Z20\n") + "\n".join(lines) + "\nG0 Z20\nM30\n"
    status, rows = check(tmp_path, part, program, job=job)
    (row,) = [row for row in rows if row["kind"] == "thin-wall"]
    assert (status, row["severity"]) == (1, "beyond")
    assert row["value"] == pytest.approx(2.2, abs=row["bound"] + 1e-6)
    status, rows = check(tmp_path, part, program, job=job.replace("2.5", "2.1"))
    assert not [row for row in rows if row["kind"] == "thin-wall"]


@pytest.mark.parametrize(
    ("value", "bound", "severity"),
    [
        (0.2, 0.05, ""),
        (0.29, 0.02, "undecided"),
        (0.31, 0.02, "undecided"),
        (0.33, 0.02, "beyond"),
        (0.27, 0.02, ""),
    ],
)
def test_severity__straddling_the_limit_is_undecided(value, bound, severity):
    assert severity_of(value, bound, 0.3) == severity


TWO_SIDED = JOB.replace(
    "[target]",
    """[[setups]]
name = "under"
turn = "none"
zero = { corner = "left front", face = "bottom" }
programs = ["under.nc"]
[target]""",
)


def test_wrong_turn__a_setup_the_job_forgot_to_turn_over(tmp_path):
    # The floor is faced from above to 10, a pocket is cut from below, off the middle.
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 10), block(6, 24, 5, 17, -1, 4)])
    lines = ["G0 X9 Y16", "G1 Z8 F300"]  # turned about x: y -> 30 - y, z -> 12 - z
    for y in (16.0, 20.0, 22.0):
        lines += [f"G1 X9 Y{y:g}", "X21"]
    (tmp_path / "under.nc").write_text(HEAD + "\n".join(lines) + "\nG0 Z20\nM30\n", encoding="utf-8")
    job = TWO_SIDED.replace("leftover = 0.3", "leftover = 2")
    status, rows = check(tmp_path, part, faced(10), job=job)
    assert status == 1
    assert rows[0]["kind"] == "wrong-turn"
    assert rows[0]["severity"] == "safety"
    assert "turn it over edge over edge (about x: front edge to the back)" in rows[0]["message"]
    line = job.splitlines().index('turn = "none"', 12) + 1
    assert (rows[0]["file"], rows[0]["line"]) == ("job.toml", line)
    job = job.replace('"under"\nturn = "none"', '"under"\nturn = "about x"')
    status, rows = check(tmp_path, part, faced(10), job=job)
    assert (status, [row for row in rows if row["severity"] != "warning"]) == (0, [])
    # With its zero on the other face it cuts air: the pocket that is missing then follows from that.
    before, after = job.rsplit('face = "bottom"', 1)
    _, rows = check(tmp_path, part, faced(10), job=f'{before}face = "top"{after}'.replace("= 2", "= 0.3"))
    assert [row["kind"] for row in rows] == ["wrong-turn", "setup", "leftover-program"]
    assert {row["cause"] for row in rows} == {1}
    assert (rows[2]["line"], rows[2]["advice"].count("the line named")) == (None, 0)


@pytest.mark.parametrize("cell", ["0.1", "0.2", "0.3", "0.5"])
@pytest.mark.parametrize(
    ("part", "cut", "severity"),
    [(4.0, 2.2, "beyond"), (3.2, 2.72, "beyond"), (2.9, 2.9, "note"), (2.9, 2.4, "beyond")],
)
def test_thin_wall__of_a_rib_is_the_same_on_any_cells(tmp_path, cell, part, cut, severity):
    """A rib across the blank whose faces fall on no multiple of a cell; its width is known by hand."""
    x = 20.13
    half = part / 2
    wanted = [block(0, 40, 0, 30, 0, 4), block(x - half, x + half, 0, 30, 3, 12)]
    lines = []
    for away in (16.0, 12.0, 8.0, 3.0 + cut / 2):
        for at in (x - away, x + away):
            lines += [f"G0 X{at:.4f} Y-4 Z20", "G1 Z4 F600", "G1 Y34", "G0 Z20"]
    program = HEAD + "\n".join(lines) + "\nM30\n"
    job = JOB.replace("thinnest_wall = 1", "thinnest_wall = 3")
    _, rows = check(tmp_path, trimesh.boolean.union(wanted), program, cell=cell, job=job)
    (row,) = [row for row in rows if row["kind"] == "thin-wall"]
    assert row["severity"] == severity
    assert row["value"] == pytest.approx(cut, abs=row["bound"])
    assert row["bound"] < 0.06
    has = re.search(r"the part has (\d+\.\d\d) mm|by design, (\d+\.\d\d) mm", row["message"])
    assert float(has[1] or has[2]) == pytest.approx(part, abs=0.06)


def test_thin_wall__names_the_lines_of_both_programs(tmp_path):
    # Pockets face to face, their floor 3 thick in the part: the one from below is cut 1 too deep.
    part = trimesh.boolean.difference(
        [block(0, 40, 0, 30, 0, 10), block(6, 24, 5, 17, 6, 13), block(6, 24, 5, 17, -1, 3)]
    )

    def pocket(rows, z):
        lines = [f"G0 X9 Y{rows[0]:g}", f"G1 Z{z:g} F300"]
        return "\n".join(lines + [f"G1 X9 Y{y:g}\nX21" for y in rows])

    top = faced(10).replace("G0 Z20\nM30\n", "G0 Z20\n") + pocket((8, 12, 14), 6) + "\nG0 Z20\nM30\n"
    under = HEAD + pocket((16, 20, 22), 8) + "\nG0 Z20\nM30\n"  # turned about x: y -> 30 - y, z -> 12 - z
    (tmp_path / "under.nc").write_text(under, encoding="utf-8")
    job = TWO_SIDED.replace('"under"\nturn = "none"', '"under"\nturn = "about x"')
    job = job.replace("thinnest_wall = 1", "thinnest_wall = 2.5")
    _, rows = check(tmp_path, part, top, job=job)
    (row,) = [row for row in rows if row["kind"] == "thin-wall"]
    assert row["value"] == pytest.approx(2.0, abs=row["bound"] + 1e-6)
    assert row["file"] == "under.nc"
    earlier, later = row["faces"]
    assert (later["side"], later["file"], later["line"]) == (2, "under.nc", row["line"])
    assert (earlier["side"], earlier["file"], earlier["setup"]) == (1, "top.nc", "top")
    words = f"faces: side 1 cut by top.nc:{earlier['line']}, side 2 cut by under.nc:{later['line']}"
    assert words in row["message"]
    assert (later["at"][2], earlier["at"][2]) == pytest.approx((4.0, 6.0), abs=1e-5)
    assert later["program_at"][2] == pytest.approx(8.0, abs=1e-5)
    page = str(tmp_path / "r.html")
    main(["check", str(tmp_path / "job.toml"), "--quiet", "--cell", "0.5", "--report", page])
    page = (tmp_path / "r.html").read_text("utf-8")
    for face in row["faces"]:
        assert f"{face['file']}:{face['line']}, T1 6 mm flat in ‘{face['setup']}’" in page
    for moment in row["moments"]:
        thick = f"{moment['thickness']:.2f} ±0.03 mm"
        assert f"{thick} after T1 6 mm flat in ‘{moment['setup']}’" in page
    under, top = under.splitlines(), top.splitlines()
    assert under.index("G0 X9 Y16") + 1 < later["line"] <= len(under) - 2  # a feed move of that pocket
    assert top.index("G0 X9 Y8") + 1 < earlier["line"] <= len(top) - 2


def test_thin_wall__is_told_where_both_faces_were_cut_though_it_is_as_thin_where_one_was_not(tmp_path):
    """A floor 2 thick, of which side 1 was faced right of x = 16 only: what stands on it is leftover."""
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 10), block(6, 24, 5, 17, -1, 7)])
    lines = ["G0 X9 Y16", "G1 Z4 F300"]  # turned about x: y -> 30 - y, z -> 12 - z
    for y in (16.0, 20.0, 22.0):
        lines += [f"G1 X9 Y{y:g}", "X21"]
    (tmp_path / "under.nc").write_text(HEAD + "\n".join(lines) + "\nG0 Z20\nM30\n", encoding="utf-8")
    job = TWO_SIDED.replace('"under"\nturn = "none"', '"under"\nturn = "about x"')
    job = job.replace("thinnest_wall = 1", "thinnest_wall = 2.5")
    _, rows = check(tmp_path, part, faced(10, x0=19.0), job=job)
    (row,) = [row for row in rows if row["kind"] == "thin-wall"]
    assert row["value"] == pytest.approx(2.0, abs=row["bound"] + 1e-6)
    assert "not cut" not in row["message"]
    assert [face["file"] for face in row["faces"]] == ["top.nc", "under.nc"]
    assert all(face["at"][0] > 15.0 for face in row["faces"])


SECOND_CUTTER = '[cutters.2]\nshape = "flat"\ndiameter = 5\n'


def test_thin_wall__tells_how_thick_it_was_after_each_run_and_since_when_it_is_thin(tmp_path):
    """A floor 6 thick after the first setup, 2 after roughing from below, 1.8 after one more cutter there."""
    part = trimesh.boolean.difference(
        [block(0, 40, 0, 30, 0, 10), block(6, 24, 5, 17, 6, 13), block(6, 24, 5, 17, -1, 3)]
    )

    def pocket(rows, z):
        lines = [f"G0 X9 Y{rows[0]:g}", f"G1 Z{z:g} F300"]
        return "\n".join(lines + [f"G1 X9 Y{y:g}\nX21" for y in rows]) + "\nG0 Z20\n"

    top = faced(10).replace("G0 Z20\nM30\n", "G0 Z20\n") + pocket((8, 12, 14), 6) + "M30\n"
    again = "G0 X34 Y14\nG1 Z11 F300\nG0 Z20\n"  # beside the pocket
    rough, fine = pocket((16, 20, 22), 8), pocket((16, 20, 22), 7.8)
    for name, more in (("last", ""), ("earlier", again)):
        folder = tmp_path / name
        folder.mkdir()
        under = f"{HEAD}{rough}T2 M6\nM3\n{fine}T1 M6\nM3\n{again}M30\n" if more else f"{HEAD}{rough}M30\n"
        (folder / "under.nc").write_text(under, encoding="utf-8")
        job = TWO_SIDED.replace('"under"\nturn = "none"', '"under"\nturn = "about x"')
        job = job.replace("thinnest_wall = 1", "thinnest_wall = 2.6")
        job = job.replace("[[setups]]", SECOND_CUTTER + "[[setups]]", 1)
        _, rows = check(folder, part, top, job=job)
        row = next(row for row in rows if row["kind"] == "thin-wall")
        assert row["moments"][0]["setup"] == "top"
        thick = [moment["thickness"] for moment in row["moments"]]
        assert all(moment["bound"] < 0.03 and not moment["is_least"] for moment in row["moments"])
        since = row["moments"][1]
        assert since["line"] == under.splitlines().index("G0 Z20", 5) + 1
        words = (
            f"; that thin once {since['cutter']} has run in 'under' (under.nc:{since['line']});"
            " before that it was 6.0 mm"
        )
        assert words in row["message"]
        if more:
            assert thick == pytest.approx([6.0, 2.0, 1.8, 1.8], abs=0.03)
            assert row["message"].endswith("; 2 more runs of cutters follow while it is 2.00 mm")
        else:
            assert thick == pytest.approx([6.0, 2.0], abs=0.03)
            assert row["message"].endswith("before that it was 6.0 mm")


RIB = (
    HEAD
    + "".join(f"G0 X{x:g} Y-4 Z20\nG1 Z1 F600\nY34\nG0 Z20\n" for x in (0, 4, 8, 12, 15.5))
    + "".join(f"G0 X{x:g} Y-4 Z20\nG1 Z1 F600\nY34\nG0 Z20\n" for x in (40, 36, 32, 28, 24.5))
)


def test_fragile__a_rib_that_stands_midway_is_told_with_its_moment_and_grain(tmp_path):
    """Both faces stand 18.5 and 21.5 mm from the left: 3 mm thick and 11 mm high, cut away at the end."""
    program = RIB + "G0 Z20\nT2 M6\nM3\nG0 X20 Y-4\nG1 Z1\nY34\nG0 Z20\nM30\n"
    job = JOB.replace("thickness = 12", 'thickness = 12\ngrain = "along x"').replace(
        "[[setups]]", '[cutters.2]\nshape = "flat"\ndiameter = 8\n[[setups]]'
    ).replace("[limits]", "[limits]\nslenderness = 3")  # fmt: skip
    status, rows = check(tmp_path, block(0, 40, 0, 30, 0, 1), program, cell="0.5", job=job)
    assert status == 0
    (row,) = [row for row in rows if row["kind"] == "fragile"]
    assert row["severity"] == "warning"
    assert row["value"] == pytest.approx(11 / 3, abs=row["bound"])
    assert "after T1 6 mm flat has run" in row["message"]
    assert "the grain runs across it at 90 degrees (short fibres)" in row["message"]
    _, rows = check(
        tmp_path, block(0, 40, 0, 30, 0, 1), program, "0.5", job=job.replace("along x", "along y")
    )
    (row,) = [row for row in rows if row["kind"] == "fragile"]
    assert "fibres" not in row["message"]


def test_fragile__is_silent_where_the_limit_allows_it(tmp_path):
    program = RIB + "G0 Z20\nM30\n"
    job = JOB.replace("[limits]", "[limits]\nslenderness = 6")
    _, rows = check(tmp_path, block(0, 40, 0, 30, 0, 1), program, cell="0.5", job=job)
    assert not [row for row in rows if row["kind"] == "fragile"]
