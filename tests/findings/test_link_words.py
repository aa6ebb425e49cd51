"""A gouge that a link between two places cut is told as that, and no other."""

import numpy as np
import trimesh

from tests.small_job import HEAD, JOB, block, check


def pocket(x0, y0):
    """A pocket 12 x 12 down to Z6 with its corner at (x0, y0), a 6 mm cutter in moves of 2 mm."""
    rows = []
    for nth, y in enumerate(np.arange(y0 + 3, y0 + 9.1, 2)):
        xs = np.arange(x0 + 3, x0 + 9.1, 2)
        rows += [f"G1 X{x:g} Y{y:g} F900" for x in (xs if nth % 2 == 0 else xs[::-1])]
    return rows


def linked(tmp_path, link):
    """Two pockets and the rib between them; link: what leads from one to the other."""
    first, second = pocket(4, 9), pocket(24, 9)
    lines = ["G0 X7 Y12", "G1 Z6 F300", *first, *link, *second, "G0 Z20", "M30"]
    part = block(0, 40, 0, 30, 0, 12).difference(block(4, 16, 9, 21, 6, 13))
    part = part.difference(block(24, 36, 9, 21, 6, 13))
    return check(tmp_path, part, HEAD + "\n".join(lines) + "\n")[1]


def test_gouge__of_a_link_through_the_rib_is_told_as_that(tmp_path):
    rows = [row for row in linked(tmp_path, ["G1 X27 Y12"]) if row["kind"] in ("gouge", "break-through")]
    (row,) = rows
    # The last place of the first pocket is X7 Y18: 20 mm along x and 6 mm along y, 20.9 mm by Pythagoras.
    assert "the straight move of 20.9 mm in this line cuts it on its way" in row["message"]
    assert row["advice"].startswith("This move leads from one place to the next")
    assert row["line"] == 4 + 2 + 16 + 1  # behind the head, the way down and the 16 moves of the first pocket


def test_gouge__of_passes_that_go_too_deep_is_no_link(tmp_path):
    over = [f"G1 X{x:g} Y18" for x in np.arange(9, 27.1, 2)]  # in moves as long as the others
    rows = [row for row in linked(tmp_path, [*over, "G1 Y12"]) if row["kind"] in ("gouge", "break-through")]
    assert rows
    assert all("straight move" not in row["message"] for row in rows)
    assert all("Check the zero and the depth" in row["advice"] for row in rows)


def over_a_ridge(missing=(), turned=False):
    """Passes of a ball of 6 mm over a round ridge of radius 10, 1 mm apart, in moves of 0.5 mm.

    missing: which moves of the fifth pass are lost.  turned: it ends there, and a straight move leads back
    to where it began.
    """
    rows = []
    for nth, y in enumerate(np.arange(11.0, 20.0)):
        xs = np.arange(5, 35.1, 0.5)
        # A ball touches a cylinder where its centre is as far from the axis as both radii together.
        z = np.maximum(np.sqrt(np.maximum(13.0**2 - (xs - 20) ** 2, 0.0)) - 2 - 3, 4.0)
        path = [f"G1 X{a:.3f} Y{y:g} Z{b:.3f} F900" for a, b in zip(xs, z, strict=True)]
        if nth % 2:
            path = path[::-1]
        if nth == 4:
            lost = [one for k, one in enumerate(path) if k not in missing]
            path = lost if not turned else [*path, path[0], *path]
        rows += path
    return rows


def ridge(tmp_path, passes):
    part = block(0, 40, 0, 30, 0, 4)
    round_one = trimesh.creation.cylinder(radius=10, height=30, sections=256)
    round_one.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0)))
    round_one.apply_translation((20, 15, -2))
    part = part.union(round_one.intersection(block(0, 40, 0, 30, 0, 12)))
    job = JOB.replace('"flat"', '"ball"')
    lines = HEAD + "\n".join(["G0 X5 Y11", *passes, "G0 Z20", "M30"]) + "\n"
    rows = [row for row in check(tmp_path, part, lines, job=job)[1] if row["kind"] == "gouge"]
    return rows, lines.splitlines()


def test_gouge__of_a_chord_of_its_pass_is_no_link(tmp_path):
    (row,), lines = ridge(tmp_path, over_a_ridge(range(20, 42)))
    # From X14.5 to X26, where the tip is at sqrt(13^2 - 5.5^2) - 5 = 6.779 and sqrt(13^2 - 6^2) - 5 = 6.533.
    assert "the straight move of 11.5 mm in this line cuts it as a chord of its own pass" in row["message"]
    assert lines[row["line"] - 1].startswith("G1 X26.000 Y15 Z6.533")
    assert f"missing between line {row['line'] - 1} and this one" in row["advice"]
    assert "nothing to lift over" in row["advice"]


def test_gouge__of_a_way_back_under_the_ridge_is_a_link(tmp_path):
    (row,), lines = ridge(tmp_path, over_a_ridge(turned=True))
    assert "the straight move of 30.0 mm in this line cuts it on its way" in row["message"]
    assert row["advice"].startswith("This move leads from one place to the next")
    assert lines[row["line"] - 1].startswith("G1 X5.000 Y15")
