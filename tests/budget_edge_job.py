"""Small jobs in which a sharp edge or corner decides: of either side, or between faces of both.

All of the block of budget_job without its pocket and groove, cut with both zeros on top: with a thinner blank
side 1 lands as much lower.
"""

from functools import partial

import numpy as np
import trimesh

from tests import budget_job
from tests.budget_job import HEAD, THICK, TOP, WIDTH, X0, X1, Y0, Y1, around

SAFE = 8.0
DEEP, APART = 2.0, 3.0  # mm: grooves of 45 degrees, whose sides meet in a ridge half a millimetre under TOP
GROOVES = np.arange(Y0 + APART / 2, Y1, APART)
THROUGH = THICK + 0.4  # mm below the top: through the blank


def _faced(top):
    text = HEAD.format(tool=1, safe=SAFE)
    for y in np.arange(Y0 - 1, Y1 + 4, 4.0):
        text += f"G0 X{X0 - 6:g} Y{y:g}\nG1 Z{top - THICK:g} F600\nX{X1 + 6:g}\nG0 Z{SAFE:g}\n"
    return text


def _round(z, off=0.0):
    """A walk round the block; off mm: so much too far in at its left wall."""
    return around(X0 - 3 + off, X1 + 3, Y0 - 3, Y1 + 3, z, THICK, SAFE)


def _back(z, off=0.0, inside=0.0):
    """The same from side 2, turned about x, at all walls so far inside."""
    out = 3 - inside
    return around(X0 - out + off, X1 + out, WIDTH - Y1 - out, WIDTH - Y0 + out, z, THICK, SAFE)


def _grooved():
    text = f"T2 M6\nS18000 M3\nG0 Z{SAFE:g}\n"
    for y in GROOVES:
        text += f"G0 X{X0 - 6:g} Y{y:g}\nG1 Z{TOP - DEEP - THICK:g} F600\nX{X1 + 6:g}\nG0 Z{SAFE:g}\n"
    return text


def _block(low=0.0, high=TOP, inside=0.0):
    box = trimesh.creation.box(extents=(X1 - X0 - 2 * inside, Y1 - Y0 - 2 * inside, high - low))
    box.apply_translation(((X0 + X1) / 2, (Y0 + Y1) / 2, (low + high) / 2))
    return box


def _ridged():
    """The block with grooves along it, open at both ends: nothing of its top is level."""
    prisms = [
        trimesh.convex.convex_hull(
            [
                (x, y + dy, z)
                for x in (X0 - 1, X1 + 1)
                for dy, z in ((0, TOP - DEEP), (-DEEP - 0.5, TOP + 0.5), (DEEP + 0.5, TOP + 0.5))
            ]
        )
        for y in GROOVES
    ]
    return trimesh.boolean.difference([_block(), *prisms], engine="manifold")


def _write(folder, first, second, mesh, **more):
    path = budget_job.write(folder, **more)
    (folder / "side1.nc").write_text(first + "M30\n", encoding="utf-8")
    (folder / "side2.nc").write_text(second + "M30\n", encoding="utf-8")
    mesh.export(folder / "part.stl")
    return path


def ridges(folder, **more):
    """Ridges of 45 degrees cut from side 1; the walls from both sides."""
    first = _faced(TOP) + _round(4.0) + _grooved()
    return _write(folder, first, HEAD.format(tool=1, safe=SAFE) + _back(5.0), _ridged(), **more)


def rim(folder, off=0.0, **more):
    """A level top cut from side 1, all of the walls from side 2.  off: see _back."""
    second = HEAD.format(tool=1, safe=SAFE) + _back(THICK - THROUGH, off)
    return _write(folder, _faced(TOP), second, _block(), **more)


def foot(folder, off=0.0, **more):
    """All of the walls cut from side 1, a level underside of 0.5 mm less from side 2.  off: see _round."""
    second = _faced(THICK - 0.5)
    first = HEAD.format(tool=1, safe=SAFE) + _round(THICK - THROUGH, off)
    return _write(folder, first, second, _block(THICK - TOP, THICK), **more)


BEVEL = 2.0  # mm, at 45 degrees
VEE = f"T2 M6\nS18000 M3\nG0 Z{SAFE:g}\n"
OVER = 0.5  # mm: so far below the rim the tip of the pointed cutter runs


def _pointed(path, degrees):
    """Give the job a pointed cutter that cuts faces of that angle."""
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("point = 90", f"point = {180 - 2 * degrees:g}"), encoding="utf-8")
    return path


def bevel(folder, degrees=45.0, is_turned=False, **more):
    """A level top cut from side 1, and an underside that rises to its rim at that angle cut from side 2.

    is_turned: the other way up, the bevel from side 1.
    """
    steep = np.tan(np.radians(degrees))
    high = BEVEL * steep
    second = HEAD.format(tool=1, safe=SAFE) + _back(THICK - THROUGH)
    second += _back(THICK - TOP + high, inside=BEVEL)
    second += VEE + _back(THICK - TOP - 2 * OVER * steep, inside=3 - 2 * OVER)
    narrow = _block(0.0, TOP - high / 4, BEVEL)
    foot, top = (_block(-9.0, z, inside).vertices for z, inside in ((TOP - high, BEVEL), (TOP, 0.0)))
    rim = trimesh.convex.convex_hull([*foot[foot[:, 2] > -9], *top[top[:, 2] > -9]])
    mesh = trimesh.boolean.union([narrow, rim], engine="manifold")
    first = _faced(TOP)
    if is_turned:
        first, second = second, first  # the block lies in the middle of the blank's width
        mesh.apply_transform(np.diag([1.0, 1.0, -1.0, 1.0]))
        mesh.apply_translation((0.0, 0.0, THICK))
        mesh.invert() if mesh.volume < 0 else None
    return _pointed(_write(folder, first, second, mesh, **more), degrees)


def disc(folder, degrees=55.0, **more):
    """The same round: a disc with a level top and an underside that rises to its rim."""
    steep = np.tan(np.radians(degrees))
    high, radius, middle = BEVEL * steep, (Y1 - Y0) / 2, ((X0 + X1) / 2, WIDTH / 2)

    def circle(z, out):
        x = middle[0] + radius + out
        text = f"G0 X{x:g} Y{middle[1]:g}\nG1 Z{z - THICK:g} F600\n"
        return text + f"G3 X{x:g} Y{middle[1]:g} I{-(radius + out):g} J0\nG0 Z{SAFE:g}\n"

    second = HEAD.format(tool=1, safe=SAFE) + circle(THICK - THROUGH, 3.0)
    second += circle(THICK - TOP + high, 3.0 - BEVEL)
    second += VEE + circle(THICK - TOP - 2 * OVER * steep, 2 * OVER)
    # Away from the block of the others stands what is left of the blank: it is not part.
    angle = np.linspace(0, 2 * np.pi, 361)[:-1]
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    heights = ((0.0, radius - BEVEL), (TOP - high, radius - BEVEL), (TOP, radius))
    rings = [[(*(middle + r * one), z) for one in ring] for z, r in heights]
    n = len(angle)
    along, ahead = np.arange(n), (np.arange(n) + 1) % n
    faces = []
    for low in (0, n):
        faces += [*np.column_stack([low + along, low + ahead, low + n + along])]
        faces += [*np.column_stack([low + ahead, low + n + ahead, low + n + along])]
    places = np.concatenate([*rings, [(*middle, 0.0), (*middle, TOP)]])
    faces += [*np.column_stack([ahead, along, np.full(n, 3 * n)])]
    faces += [*np.column_stack([2 * n + along, 2 * n + ahead, np.full(n, 3 * n + 1)])]
    return _pointed(_write(folder, _faced(TOP), second, trimesh.Trimesh(places, faces), **more), degrees)


def chamfer(folder, degrees=45.0, **more):
    """A top that falls to its rim at that angle cut from side 1, all of the walls from side 2."""
    out, steep = OVER, np.tan(np.radians(degrees))
    first = _faced(TOP) + VEE
    first += around(X0 - out, X1 + out, Y0 - out, Y1 + out, TOP - (BEVEL + out) * steep, THICK, SAFE)
    low, high = _block(0.0, TOP - BEVEL * steep).vertices, _block(0.0, TOP, BEVEL).vertices
    mesh = trimesh.convex.convex_hull([*low, *high[high[:, 2] > 1]])
    second = HEAD.format(tool=1, safe=SAFE) + _back(THICK - THROUGH)
    return _pointed(_write(folder, first, second, mesh, **more), degrees)


def lid(folder, **more):
    """A block of which side 2 cuts the walls and a level underside half a millimetre in."""
    second = _faced(THICK - 0.5) + _back(THICK - THROUGH)
    return _write(folder, HEAD.format(tool=1, safe=SAFE), second, _block(THICK - TOP, THICK), **more)


KINDS = {"ridges": ridges, "rim": rim, "foot": foot, "bevel": bevel, "chamfer": chamfer, "lid": lid}
# Rims between both sides at other angles, the other way up, and round.
RIMS = {
    "bevel of 20": partial(bevel, degrees=20.0), "bevel of 33": partial(bevel, degrees=33.0),
    "bevel of 70": partial(bevel, degrees=70.0), "bevel turned": partial(bevel, degrees=40.0, is_turned=True),
    "disc": disc, "chamfer of 20": partial(chamfer, degrees=20.0),
    "chamfer of 40": partial(chamfer, degrees=40.0), "chamfer of 65": partial(chamfer, degrees=65.0),
}  # fmt: skip
