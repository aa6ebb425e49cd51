"""Programs of the small job that several tests spoil."""

import numpy as np

from tests.small_job import HEAD

END = "G0 Z20\nM30\n"


def faced(z, x0=-5.0, x1=45.0):
    """A program that faces the whole blank to a height, passes 4 mm apart."""
    lines = [f"G0 X{x0} Y0 Z20", f"G1 Z{z} F600"]
    for k, y in enumerate(np.arange(0.0, 32.1, 4.0)):
        a, b = (x0, x1) if k % 2 == 0 else (x1, x0)
        lines += [f"G1 X{a} Y{y:g}", f"X{b}"]
    return HEAD + "\n".join(lines) + "\n" + END


def dug(program, *places):
    """The program with plunges (x, y, z) and slots (x0, y0, z, x1, y1) added at its end."""
    lines = ""
    for place in places:
        x, y, z = place[:3]
        lines += f"G0 Z20\nG0 X{x} Y{y}\nG1 Z{z} F300\n"
        if len(place) == 5:
            lines += f"G1 X{place[3]} Y{place[4]}\n"
    assert program.endswith(END)
    return program.removesuffix(END) + lines + END


# A slot, then two holes in a row as for dowels.
DRILLED = """G21 G90 G17
T1 M6
S12000 M3
G0 X5 Y5 Z5
G1 Z-4 F400
X60 F1500
Y30
G0 Z20
T4 M6
S3000 M3
G0 X8 Y20
G1 Z-15 F200
G0 Z5
G0 X92 Y20
G1 Z-15 F200
G0 Z20
M30
"""
