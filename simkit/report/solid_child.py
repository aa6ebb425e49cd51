"""The drawing process of the 3-D view: python -m simkit.report.solid_child SCENE.npz PICTURE.png

Run by simkit/report/solid_view.py only, never in the process that holds the verdict.  What it has to
say goes to standard error, the last line last; its exit status tells the rest.
"""

from __future__ import annotations

import sys

import numpy as np

from simkit.frames import turned
from simkit.report import colours
from simkit.report.hatch_shader import hatch_too_deep
from simkit.report.lengths import Lengths
from simkit.report.scene_file import LIT, PALE, TRUE
from simkit.report.solid_mesh import HOLDS, OVER_RESIN, RESIN, coloured, surface
from simkit.report.solid_view import NO_DRAWING, NO_MODULE, NO_PICTURE

WIDTH = 1800  # pixels of the page
FINER = 2  # drawn this many times larger, then averaged down: smooth edges on any driver
TARGET = ("target_lower", "target_upper")  # arrays that a scene may hold
VIEW = (-0.16, -0.80, 1.35)  # from the part to the eye: the front, a little left, from above


def main(arguments: list[str]) -> int:
    """Draw the scene arguments[0] (.npz) as the picture arguments[1] (.png); return the exit status."""
    scene, picture = arguments
    try:
        import matplotlib  # noqa: F401
        import pyvista  # noqa: F401
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
        return NO_MODULE
    try:
        with np.load(scene) as data:
            return draw(data, picture)
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {' '.join(str(error).split())}\n")
        return NO_DRAWING


def draw(scene, picture) -> int:
    """Draw the arrays of a scene (see solid_view) as a PNG at `picture`; return the exit status."""
    quads, classes = surface(
        scene["lower"],
        scene["upper"],
        scene["class_lower"],
        scene["class_upper"],
        float(scene["cell"]),
        tuple(scene["origin"]),
        tuple(scene[name] for name in TARGET) if TARGET[0] in scene else None,
        is_lined=True,
    )
    turn = str(scene["turn"])
    size = [float(np.ptp(quads[..., axis])) for axis in range(3)]
    faces = coloured(quads, classes, max(size), float(scene["cell"]))
    over = turned(turn, 0.0, 0.0, 0.0).matrix
    is_wide = size[0] > 1.5 * size[1]
    width = WIDTH - 2 * 44 if is_wide else (WIDTH - 3 * 44) // 2
    shots, pitch = _shots(quads, classes, faces, over, width)
    if any(shot.min() == shot.max() for shot in shots):
        return NO_PICTURE
    limits = tuple(float(limit) for limit in scene["limits"])
    there = [bool(one.any()) for one in (classes == HOLDS, classes == RESIN, classes >= OVER_RESIN)]
    there.append(TARGET[0] in scene)
    lengths = Lengths(str(scene["unit"]))
    _compose(shots, pitch, is_wide, turn, limits, str(scene["title"]), there, picture, lengths)
    return 0


def _shots(quads, classes, faces, over, width):
    """Two pictures (h, width, 3) uint8 on white that fill the width: as it lies, and turned; mm a pixel.

    The part stays and the eye goes round it, so that the driver is given the faces only once.
    """
    import pyvista

    eyes, extents = [], []
    for turn in (np.eye(3), over):
        eye = np.array(VIEW) / np.linalg.norm(VIEW)
        right = np.cross((0, 0, 1), eye)
        right /= np.linalg.norm(right)
        axes = np.stack([right, np.cross(eye, right), eye]) @ turn  # the turn undone on the eye
        along = [quads.reshape(-1, 3) @ axis.astype(np.float32) for axis in axes]
        low, high = np.array([(a.min(), a.max()) for a in along], np.float64).T
        eyes.append((axes, axes.T @ ((low + high) / 2)))
        extents.append(high - low)
    span = np.maximum(np.max(extents, 0), 1e-6) * 1.01
    height = int(np.clip(width * span[1] / span[0], 60, 1.2 * width))
    pitch = float(max(span[1] / height, span[0] / width))

    plotter = pyvista.Plotter(off_screen=True, window_size=(width * FINER, height * FINER), lighting="none")
    plotter.suppress_rendering = True  # or every setting below would draw once
    try:
        plotter.set_background("white")
        plotter.disable_anti_aliasing()  # FINER does it, in a third of the time
        for place, strength in (((-0.6, 0.7, 1.0), 0.72), ((0.9, -0.5, 0.8), 0.3)):
            plotter.add_light(pyvista.Light(position=place, light_type="camera light", intensity=strength))
        # The holding wood is lit from everywhere, so that it stays pale and the part stands out.
        plain = (classes == colours.WITHIN) | (classes == RESIN)
        lights = ((plain, LIT), (classes == HOLDS, PALE), (~plain & (classes != HOLDS), TRUE))
        for chosen, (ambient, diffuse) in lights:
            if not chosen.any():
                continue
            points = quads[chosen].reshape(-1, 3)
            corners = np.arange(len(points)).reshape(-1, 4)
            mesh = pyvista.PolyData(points, faces=np.insert(corners, 0, 4, axis=1).ravel())
            mesh.cell_data["colour"] = faces[chosen]
            actor = plotter.add_mesh(
                mesh, scalars="colour", rgb=True, preference="cell", show_scalar_bar=False,
                smooth_shading=False, ambient=ambient, diffuse=diffuse, specular=0.0, reset_camera=False,
            )  # fmt: skip
            hatch_too_deep(actor, FINER)
        shots = []
        for axes, middle in eyes:
            camera = plotter.camera
            camera.focal_point, camera.position = middle, middle + axes[2] * 2 * span[2]
            camera.up = tuple(axes[1])
            camera.parallel_projection = True
            camera.parallel_scale = pitch * height / 2
            camera.clipping_range = (span[2], 3 * span[2])
            plotter.suppress_rendering = False
            plotter.render()
            shot = plotter.screenshot(return_img=True)
            plotter.suppress_rendering = True
            small = shot[..., :3].reshape(height, FINER, width, FINER, 3).mean((1, 3))
            shots.append(np.round(small).astype(np.uint8))
    finally:
        plotter.close()
    return shots, pitch


def _compose(shots, pitch, is_wide, turn, limits, title, there, picture, lengths):
    """Lay the two pictures out on a page with title, captions and key.

    pitch: mm a pixel.  there: whether wood outside the part is shown, whether resin is, whether resin
    is beyond a limit, and whether walls have colours.
    """
    from simkit.report import canvas
    from simkit.report.canvas import BODY, KEY_HEIGHT, MARGIN, SMALL, TITLE, Page
    from simkit.report.class_map import draw_sign, resin_sign
    from simkit.report.map_parts import draw_scale_bar

    about = "length" if turn == "about x" else "width"
    captions = ("Side 1 up", f"Side 2 up, turned over about its {about}")
    lines = canvas.wrapped(title, TITLE, WIDTH - 2 * MARGIN, True, 2)
    top = 52 + canvas.line_height(TITLE) * len(lines)
    places, bottom = [], top
    for i, shot in enumerate(shots):
        x = MARGIN if is_wide else MARGIN + i * (shot.shape[1] + MARGIN)
        places.append((x, top))
        bottom = max(bottom, top + 44 + shot.shape[0])
        top = bottom + 30 if is_wide else top
    page = Page(WIDTH, bottom + 30 + KEY_HEIGHT + 70, lengths=lengths)
    y = 40.0
    for line in lines:
        page.text(MARGIN, y, line, TITLE, bold=True, up="top")
        y += canvas.line_height(TITLE)
    for shot, caption, (x, y) in zip(shots, captions, places, strict=True):
        page.text(x, y, caption, BODY, up="top")
        page.image(shot, round(x), round(y) + 44)
    canvas.draw_key(page, MARGIN, bottom + 30, 990, limits)
    draw_scale_bar(page, pitch, WIDTH - MARGIN, bottom + 72, WIDTH / 4)
    has_holding, has_resin, is_resin_off, has_walls = there
    note = "Seen from the front, from above."
    if not has_walls:
        note += " Upright walls are not judged by colour."
    if has_holding:
        page.box(MARGIN, page.height - 58, 48, 26, colours.HOLDING)
        page.text(MARGIN + 60, page.height - 45, "wood outside the part", SMALL, up="center")
    if has_resin:
        left = MARGIN + 400 * bool(has_holding)
        page.box(left, page.height - 58, 48, 26, colours.RESIN)
        page.text(left + 60, page.height - 45, "resin", SMALL, up="center")
    if is_resin_off:
        draw_sign(
            page, MARGIN + 400 * bool(has_holding) + 200 * bool(has_resin), page.height - 45, resin_sign()
        )
    page.text(WIDTH - MARGIN, page.height - 45, note, SMALL, colours.QUIET_INK, across="right", up="center")
    page.save(picture)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
