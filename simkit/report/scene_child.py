"""The drawing process of 3-D scenes: python -m simkit.report.scene_child SCENE.npz PICTURE.png [...]

Run by simkit/report/solid_view.py only, never in the process that holds the verdict.  What it has to
say goes to standard error, the last line last; its exit status tells the rest.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from simkit.report.hatch_shader import hatch_too_deep
from simkit.report.scene_file import Look, Scene, read_scene
from simkit.report.solid_view import NO_DRAWING, NO_MODULE, NO_PICTURE

WIDTH = 1800  # pixels of the page
FINER = 2  # drawn this many times larger, then averaged down: smooth edges on any driver
LAMPS = (((-0.6, 0.7, 1.0), 0.72), ((0.9, -0.5, 0.8), 0.3))
NEAR, HIDDEN = 4, 1.0  # pixels about a place, mm before it: what lies nearer to the eye hides it
TALLEST = 0.9  # of its width that a picture may be high


def main(arguments: list[str]) -> int:
    """Draw each scene (.npz) as the picture (.png) named behind it; return the exit status."""
    try:
        import matplotlib  # noqa: F401
        import pyvista  # noqa: F401
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
        return NO_MODULE
    try:
        for file, picture in zip(arguments[::2], arguments[1::2], strict=True):
            scene = read_scene(Path(file))
            widths = widths_of(scene)
            shots = [shoot(scene, look, wide) for look, wide in zip(scene.looks, widths, strict=True)]
            if any(shot.min() == shot.max() for shot, _ in shots):
                return NO_PICTURE
            from simkit.report.scene_page import compose

            compose(scene, shots, picture)
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {' '.join(str(error).split())}\n")
        return NO_DRAWING
    return 0


def widths_of(scene: Scene) -> list[int]:
    """Return how wide each look is drawn, pixels: a wide scene fills the page, others stand in pairs.

    All looks at the whole of it are as wide, or one of them would stand alone among pairs.
    """
    from simkit.report.scene_page import HALF, WHOLE

    views = [View(scene, look, WHOLE) for look in scene.looks if look.about is None]
    is_wide = all(view.height < 0.7 * WHOLE for view in views)
    return [WHOLE if look.about is None and is_wide else HALF for look in scene.looks]


class View:
    """A look at a scene as numbers: axes (right, up, to the eye), middle mm, mm a pixel, size in pixels."""

    def __init__(self, scene: Scene, look: Look, width: int):
        eye = np.array(look.eye, float) / np.linalg.norm(look.eye)
        right = np.cross(look.up, eye)
        right /= np.linalg.norm(right)
        self.axes = np.stack([right, np.cross(eye, right), eye])
        chosen = range(len(scene.surfaces)) if look.surfaces is None else look.surfaces
        points = np.concatenate([scene.surfaces[k].faces.reshape(-1, 3) for k in chosen])
        along = [points @ axis.astype(np.float32) for axis in self.axes]
        low, high = np.array([(a.min(), a.max()) for a in along], np.float64).T
        self.deep = float(high[2] - low[2]) + 1.0
        if look.about is None:
            span, middle = (high - low)[:2] * 1.02 + 1e-6, self.axes.T @ ((low + high) / 2)
        else:
            span, middle = np.array(look.size, float), np.array(look.about, float)
            self.deep += 2 * float(np.abs(self.axes[2] @ (middle - self.axes.T @ ((low + high) / 2))))
        self.middle = middle
        self.width, self.height = width, int(np.clip(width * span[1] / span[0], 60, TALLEST * width))
        self.depth: np.ndarray | None = None  # from the eye to what is seen, mm (height, width)
        self.busy: np.ndarray | None = None  # where the things of the picture are seen (height, width) bool
        self.pitch = float(max(span[0] / self.width, span[1] / self.height))

    def is_seen(self, point) -> bool:
        """Return whether a place (x, y, z) mm lies in the picture, with nothing before it."""
        x, y = (int(value) for value in self.pixel(np.asarray(point, float)))
        if not (0 <= x < self.width and 0 <= y < self.height):
            return False
        if self.depth is None:
            return True
        near = self.depth[max(y - NEAR, 0) : y + NEAR + 1, max(x - NEAR, 0) : x + NEAR + 1]
        far = 2 * self.deep - float(self.axes[2] @ (np.asarray(point, float) - self.middle))
        return bool(near.max() > far - HIDDEN)

    def pixel(self, points: np.ndarray) -> np.ndarray:
        """Return the pixels (..., 2), x right and y down, of places (..., 3) mm."""
        off = (np.asarray(points, float) - self.middle) @ self.axes[:2].T / self.pitch
        return off * (1, -1) + (self.width / 2, self.height / 2)


def shoot(scene: Scene, look: Look, width: int):
    """Return the picture (h, width, 3) uint8 of a look on white, and its View."""
    import pyvista

    view = View(scene, look, width)
    size = (view.width * FINER, view.height * FINER)
    plotter = pyvista.Plotter(off_screen=True, window_size=size, lighting="none")
    plotter.suppress_rendering = True  # or every setting below would draw once
    try:
        plotter.set_background("white")
        plotter.disable_anti_aliasing()  # FINER does it, in a third of the time
        for place, strength in LAMPS:
            plotter.add_light(pyvista.Light(position=place, light_type="camera light", intensity=strength))
        chosen = range(len(scene.surfaces)) if look.surfaces is None else look.surfaces
        actors = [
            (add_surface(plotter, scene.surfaces[k], FINER), scene.surfaces[k].is_thing) for k in chosen
        ]
        chosen = range(len(scene.lines)) if look.lines is None else look.lines
        for number in chosen:
            line = scene.lines[number]
            if line.is_over:
                continue  # drawn on the page
            plotter.add_mesh(
                pyvista.lines_from_points(line.points), color=line.colour, line_width=line.width * FINER,
                lighting=False, reset_camera=False, show_scalar_bar=False,
            )  # fmt: skip
        camera = plotter.camera
        camera.focal_point, camera.position = view.middle, view.middle + view.axes[2] * 2 * view.deep
        camera.up = tuple(view.axes[1])
        camera.parallel_projection = True
        camera.parallel_scale = view.pitch * view.height / 2
        camera.clipping_range = (0.5 * view.deep, 3.5 * view.deep)
        plotter.suppress_rendering = False
        plotter.render()
        shot = plotter.screenshot(return_img=True)
        view.depth = _depths(plotter, view)
        if any(is_thing for _, is_thing in actors):
            view.busy = _things(plotter, actors, view)
    finally:
        plotter.close()
    small = shot[..., :3].reshape(view.height, FINER, view.width, FINER, 3).mean((1, 3))
    return np.round(small).astype(np.uint8), view


def _things(plotter, actors, view: View) -> np.ndarray:
    """Return where things are seen, (height, width) bool: all of it drawn once more, without light."""
    for actor, is_thing in actors:
        actor.mapper.scalar_visibility = False
        actor.prop.lighting = False
        actor.prop.color = "black" if is_thing else "white"
    plotter.render()
    shot = plotter.screenshot(return_img=True)[..., 0]
    return shot.reshape(view.height, FINER, view.width, FINER).min(axis=(1, 3)) < 128


def _depths(plotter, view: View) -> np.ndarray:
    """Return how far what is seen lies from the eye, mm (height, width); inf where nothing is."""
    deep = -np.asarray(plotter.get_image_depth(fill_value=-np.inf), np.float64)
    return deep.reshape(view.height, FINER, view.width, FINER).max(axis=(1, 3))


def add_surface(plotter, surface, finer=1, **more):
    """Add a scene's surface to a pyvista plotter and return the actor.  finer: see hatch_too_deep."""
    import pyvista

    count, corners = surface.faces.shape[:2]
    rows = np.arange(count * corners).reshape(-1, corners)
    mesh = pyvista.PolyData(
        surface.faces.reshape(-1, 3), faces=np.insert(rows, 0, corners, axis=1).ravel()
    )  # fmt: skip
    mesh.cell_data["colour"] = surface.colours
    actor = plotter.add_mesh(
        mesh, scalars="colour", rgb=True, preference="cell", show_scalar_bar=False, smooth_shading=False,
        ambient=surface.light[0], diffuse=surface.light[1], specular=0.0, reset_camera=False, **more,
    )  # fmt: skip
    hatch_too_deep(actor, finer)
    return actor


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
