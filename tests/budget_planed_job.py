"""Jobs in which a face of the block of budget_job is taken to a thickness on the way."""

from tests import budget_job

OVER = 1.5  # mm that the blank is thicker at first than the block's program takes it to be


def planed(folder, side, is_top=True, to=12.0, first_up=0.0, part_up=0.0, more=""):
    """The block out of a blank of 13.5 mm, one face of it taken to a thickness between its sides.

    first_up, part_up mm: so much higher are the zero of the first setup and the part in the blank.
    """
    step = f'[[steps]]\nafter = "first"\ndo = "thickness"\nside = {side}\nthickness = {to}\n'
    path = budget_job.write(folder, is_top=is_top, more=step + more)
    text = path.read_text("utf-8").replace("thickness = 12\n", f"thickness = {12 + OVER}\n", 1)
    face = "top" if is_top else "bottom"
    zero = f'face = "{face}" }}'
    text = text.replace(zero, f'face = "{face}", offset = [0, 0, {first_up}] }}', 1)
    text = text.replace('units = "mm"\n', f'units = "mm"\nat = [0, 0, {part_up}]\n', 1)
    path.write_text(text, encoding="utf-8")
    return path


LEAF = """\
[[setups]]
name = "leaf"
turn = "none"
zero = { corner = "left front", face = "top" }
spoilboard = 6
programs = ["leaf.nc"]
[[setups]]
"""


def inlaid(folder, below=1.0, to=12.0):
    """The block with resin in a pocket that was cut before all else: poured, planed flush, then carved.

    The pocket reaches 4 mm below the planed face, and resin stands in it to `below` mm under the first one.
    """
    pour = f'[[steps]]\nafter = "leaf"\ndo = "pour"\nside = 1\nbelow = {below}\n'
    plane = f'[[steps]]\nafter = "leaf"\ndo = "thickness"\nside = 1\nthickness = {to}\n'
    path = budget_job.write(folder, more=pour + plane)
    text = path.read_text("utf-8").replace("thickness = 12\n", f"thickness = {12 + OVER}\n", 1)
    path.write_text(text.replace("[[setups]]\n", LEAF, 1), encoding="utf-8")
    dig = f"G0 X15 Y15\nG1 Z-{4 + OVER:g} F600\nX29\nY19\nX15\nY15\nG0 Z8\nM30\n"
    (folder / "leaf.nc").write_text(budget_job.HEAD.format(tool=1, safe=8) + dig, encoding="utf-8")
    return path


KINDS = {
    # The lower face is planed: side 1, cut before, is so much farther from it, and side 2 stays on it.
    "lower face": lambda folder: planed(folder, 2, part_up=OVER),
    # The upper one, half a millimetre over what side 1 had cut before: nothing else goes with it.
    "upper face": lambda folder: planed(folder, 1, first_up=-OVER),
    # The upper one, onto which the blank is laid for side 2, whose zero is on the table.
    "table": lambda folder: planed(folder, 1, is_top=False),
    # The upper one, and it is a face of the part: side 1 only cut round it before.
    "face of the part": lambda folder: planed(folder, 1, to=budget_job.TOP, first_up=2.0 - OVER),
    # The upper one with resin in it, and then side 1 is cut with its zero on it.
    "inlay": inlaid,
}  # fmt: skip
