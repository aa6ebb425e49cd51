"""The olive boat from a blank that is too large at first, sawn to size before it is turned over.

    python samples/olive_boat_sawn.py [FOLDER]

writes FOLDER/olive_boat_sawn: a job file; mesh and programs are those of FOLDER/olive_boat.  The blank is
glued up from two boards and screwed down by its margin, which is sawn off once the outside is cut.  Turned
over, the piece lies with two sawn edges against fences, the zero is set at their corner, and tape under both
ends of the frame holds it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import carving
from make_olive_boat import MADE, MESH, THINNEST
from olive_boat_shape import LENGTH, THICKNESS, WIDTH

MARGIN = 15.0  # mm all round, sawn off
BOARDS = (19.0, 19.0)  # mm, one on the other
TAPED = ((0.0, 20.0), (262.0, LENGTH))  # x of both ends of the frame, as the sawn blank lies
TAPE_Y = (5.0, 85.0)
GRIP, FORCE = 0.02, 40.0  # N/mm2 of tape and of wood: made up; a shop has its own from trials
ERRORS = {"zero_setting": 0.02, "height_setting": 0.03, "squareness": 0.01, "sawing": 0.1}

TITLE = "An olive boat in cherry from a blank that is too large: sawn to size before it is turned over."
WOOD = f"""\
# Specific cutting force, N/mm2: made up for this sample, as `grip` below; put your own there.
cutting_force = {FORCE:g}

[layup]
joined = "along z"
boards = {list(BOARDS)}
"""
STEP = """\

[[steps]]
after = "outside and foot"
do = "saw"
side = 1
box = [[{low:g}, {low:g}], [{x:g}, {y:g}]]
"""
SCREW = """
[[holding]]
kind = "screw"
setups = ["outside and foot"]
at = [{x:g}, {y:g}]
diameter = 4
"""
TAPE = """
[[holding]]
kind = "tape"
setups = ["rim and hollows"]
box = [[{x0:g}, {y0:g}], [{x1:g}, {y1:g}]]
grip = {grip:g}
"""


def job_text():
    """Return the text of the job file."""
    first = (LENGTH + 2 * MARGIN, WIDTH + 2 * MARGIN, THICKNESS)
    step = STEP.format(low=MARGIN, x=MARGIN + LENGTH, y=MARGIN + WIDTH)
    offset = (
        f", offset = [{MARGIN:g}, {MARGIN:g}, 0]"  # the programs count from the corner that the saw leaves
    )
    text = carving.job_text(
        [TITLE, "Everything within limits.", MADE.replace("make_olive_boat", "olive_boat_sawn")],
        "olive boat, sawn to size",
        first,
        [
            ("outside and foot", "none", offset, "../olive_boat/side1.nc", step),
            ("rim and hollows", "about x", "", "../olive_boat/side2.nc"),
        ],
        f"../olive_boat/{MESH}",
        {},
        THINNEST,
        wood=WOOD,
        at=(15, 15, 0),
    )
    places = [
        (x, y) for x in (MARGIN / 2, first[0] - MARGIN / 2) for y in (MARGIN / 2, first[1] - MARGIN / 2)
    ]
    text += "".join(SCREW.format(x=x, y=y) for x, y in places)
    text += "".join(TAPE.format(x0=a, x1=b, y0=TAPE_Y[0], y1=TAPE_Y[1], grip=GRIP) for a, b in TAPED)
    return text + "\n[budget]\n" + "".join(f"{key} = {size:g}\n" for key, size in ERRORS.items())


def main(folder):
    """Write the sample into a folder."""
    place = folder / "olive_boat_sawn"
    place.mkdir(parents=True, exist_ok=True)
    (place / "job.toml").write_text(job_text())


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
