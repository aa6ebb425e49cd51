"""A gouge that a link between two places cut is told as that, and no other."""

import numpy as np

from tests.small_job import HEAD, block, check


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
