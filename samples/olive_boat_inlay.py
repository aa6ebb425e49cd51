"""The olive boat with a leaf of resin in its foot, from a blank that is 3 mm too thick at first.

    python samples/olive_boat_inlay.py [FOLDER]

writes FOLDER/olive_boat_inlay: a program and a job file; mesh and the two large programs are those of
FOLDER/olive_boat.  First the dowel holes, the pocket of the leaf and an overflow to the front edge are cut;
resin is poured, and the face planed until the blank has the thickness that those programs are made for.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import carving
import numpy as np
import toolpaths
from carving import NEAR, SAFE, STEP_DOWN
from make_olive_boat import MADE, MESH, SCREWS, THINNEST
from olive_boat_programs import DOWELS
from olive_boat_shape import LENGTH, THICKNESS, WIDTH, Arc

ROUGH = 41.0  # mm, of the blank before it is planed
FLOOR = 34.0  # mm, of the pocket, blank frame
TIPS = ((113.0, 44.25), (142.0, 45.55))  # where the cutter's middle goes, along the foot
BULGE = 2.5  # mm to either side of the line between them
OVERFLOW = 39.5  # mm, of the groove that carries away what would creep over the face
BELOW = 2.0  # mm that the resin stands below the face: over the thickness that is left, under the overflow
MOST_DEPTH = 8.0  # mm

ERRORS = {"zero_setting": 0.02, "height_setting": 0.03, "planing": 0.12}  # mm, either way; made up for it

TITLE = "An olive boat in cherry with a leaf of resin in its foot: poured and planed before it is carved."
STEPS = """\

[[steps]]
after = "leaf"
do = "pour"
side = 1
below = {below:g}
outline = [[105, 36], [150, 36], [150, 54], [105, 54]]
most_depth = {most:g}

[[steps]]
after = "leaf"
do = "thickness"
side = 1
thickness = {thickness:g}
by = "planer"
"""


def leaf():
    """Return the two arcs of the cutter's middle, counter-clockwise: the front one, then the back one."""
    a, b = (np.array(tip) for tip in TIPS)
    chord = float(np.hypot(*(b - a)))
    radius = (chord**2 / 4 + BULGE**2) / (2 * BULGE)
    half = math.asin(chord / 2 / radius)
    along = (b - a) / chord
    across = np.array([-along[1], along[0]])
    tilt = math.atan2(along[1], along[0])
    middle = (a + b) / 2
    front, back = (tuple((middle + way * (radius - BULGE) * across).tolist()) for way in (1, -1))
    return (
        Arc(front, radius, tilt - math.pi / 2 - half, 2 * half),
        Arc(back, radius, tilt + math.pi / 2 - half, 2 * half),
    )


def program():
    """Return the program of dowel holes, leaf and overflow."""
    made = toolpaths.Program(lambda x, y, h: (x, y, h - ROUGH), False, ROUGH + SAFE, ROUGH + NEAR)
    carving.header(
        made,
        "olive boat, the leaf of resin in its foot",
        (LENGTH, WIDTH, ROUGH, "cherry"),
        "left front corner, top of the blank before it is planed",
        ("T1 6 mm flat", "T4 6 mm drill"),
    )
    carving.dowel_holes(made, DOWELS.values(), ROUGH)
    made.change(1, "6 mm flat")
    front, back = leaf()
    levels = [*np.arange(ROUGH - STEP_DOWN, FLOOR, -STEP_DOWN), FLOOR]
    made.begin(f"leaf, {ROUGH - FLOOR:g} mm deep")
    made.approach(*TIPS[0])
    for level in map(float, levels):
        made.line(*TIPS[0], level, toolpaths.PLUNGE)
        made.line(*TIPS[1], level)
        made.arc(back, level)
        made.arc(front, level)
        made.line(*TIPS[0], level)
    middle = np.mean(TIPS, axis=0)
    made.begin(f"overflow to the front edge, {ROUGH - OVERFLOW:g} mm deep")
    made.approach(*map(float, middle), OVERFLOW)
    made.line(float(middle[0]), -4.0, OVERFLOW)
    made.finish()
    return made


def job_text():
    """Return the text of the job file."""
    steps = STEPS.format(below=BELOW, most=MOST_DEPTH, thickness=THICKNESS)
    text = carving.job_text(
        [TITLE, "Everything within limits.", MADE.replace("make_olive_boat", "olive_boat_inlay")],
        "olive boat with a leaf of resin",
        (LENGTH, WIDTH, ROUGH),
        [
            ("leaf", "none", "", "leaf.nc", steps),
            ("outside and foot", "none", "", "../olive_boat/side1.nc"),
            ("rim and hollows", "about x", "", "../olive_boat/side2.nc"),
        ],
        f"../olive_boat/{MESH}",
        DOWELS,
        THINNEST,
        screws=SCREWS,
    )
    return text + "\n[budget]\n" + "".join(f"{key} = {size:g}\n" for key, size in ERRORS.items())


def main(folder):
    """Write the sample into a folder."""
    place = folder / "olive_boat_inlay"
    place.mkdir(parents=True, exist_ok=True)
    (place / "leaf.nc").write_text(program().text())
    (place / "job.toml").write_text(job_text())


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
