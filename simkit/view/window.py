"""The desktop window of `simkit view`: the text of `panel.py`, and in it the picture, drawn by pyvista.

Only this module and `probe.py` touch OpenGL.  What keys and clicks mean is in `look.py`.
"""

from __future__ import annotations

import numpy as np

from simkit.report import colours
from simkit.report.scene_child import LAMPS, add_surface
from simkit.view.look import Look, must
from simkit.view.panel import Panel, panel_of
from simkit.view.stage import goal_of, surfaces_of

SIZE = (1500, 960)  # pixels
LEAST = (900, 640)  # pixels: below it the text is drawn as for this size, and cut off
BESIDE = (16, 96)  # pixels of a screen for the edges and the title of a window, and a bar of the desktop
PAGE = 25  # lines
# Key -> (method of Look, its words).
KEYS = {
    "Up": ("move_line", (-1,)),
    "Down": ("move_line", (1,)),
    "Prior": ("move_line", (-PAGE,)),
    "Next": ("move_line", (PAGE,)),
    "n": ("next", (1,)),
    "p": ("next", (-1,)),
    "s": ("cut_open", ()),
    "Left": ("move_section", (-1,)),
    "Right": ("move_section", (1,)),
    "t": ("turn_over", ()),
}
WHOLE_KEYS = ("w", "Home")
LEAVE_KEYS = ("q", "Escape")


def fitted(size: tuple[int, int], screen: tuple[int, int]) -> tuple[int, int]:
    """Return a size of a window, pixels, that a screen has room for; a screen of nothing is not known."""
    if min(screen) <= 0:
        return size
    return tuple(max(min(want, has - off), 1) for want, has, off in zip(size, screen, BESIDE, strict=True))


class Window:
    """A window on a Look.  is_seen: False draws into memory alone, for tests."""

    def __init__(self, look: Look, is_seen: bool = True, size: tuple[int, int] = SIZE):
        import pyvista
        from vtkmodules.vtkRenderingCore import vtkActor2D, vtkImageMapper, vtkRenderer

        self.look = look
        self.plotter = pyvista.Plotter(
            off_screen=not is_seen, window_size=size, lighting="none", title="simkit"
        )  # fmt: skip
        self.plotter.suppress_rendering = True
        self.plotter.set_background("white")
        for place, strength in LAMPS:
            self.plotter.add_light(
                pyvista.Light(position=place, light_type="camera light", intensity=strength)
            )
        self._mapper = vtkImageMapper()
        self._mapper.SetColorWindow(255)
        self._mapper.SetColorLevel(127.5)
        text = vtkActor2D()
        text.SetMapper(self._mapper)
        self._paper = vtkRenderer()
        self._paper.SetLayer(0)
        self._paper.SetInteractive(0)
        self._paper.AddViewProp(text)
        window = self.plotter.render_window
        if is_seen:
            self.plotter.window_size = fitted(size, tuple(window.GetScreenSize()))
        window.SetNumberOfLayers(2)
        self.plotter.renderer.SetLayer(1)
        window.AddRenderer(self._paper)
        self._drawn = self._goal = None
        self._size, self._shown_scale = (0, 0), 1.0
        self.panel: Panel | None = None
        self.refresh()

    def show(self) -> None:
        """Show the window until it is left."""
        plotter = self.plotter
        plotter.suppress_rendering = False
        plotter.reset_key_events()
        plotter.iren.initialize()
        style = plotter.iren.interactor.GetInteractorStyle()
        style.AddObserver("CharEvent", lambda *_: None)  # its own keys would change how things are drawn
        plotter.camera.AddObserver("ModifiedEvent", self._moved)
        plotter.iren.interactor.AddObserver("KeyPressEvent", self._key)
        plotter.iren.interactor.AddObserver("LeftButtonPressEvent", self._press, 10.0)
        plotter.iren.interactor.AddObserver("ConfigureEvent", self._resized)
        plotter.show(auto_close=True)

    def picture(self) -> np.ndarray:
        """Return the window as an image (h, w, 3) uint8."""
        self.plotter.suppress_rendering = False
        self.plotter.render()
        return np.asarray(self.plotter.screenshot(return_img=True))[..., :3]

    def press(self, key: str) -> bool:
        """Do what a key means; return whether it means something."""
        look = self.look
        if key in WHOLE_KEYS:
            self._aim(True)
            self._scale()
            return True
        if key in KEYS:
            call, words = KEYS[key]
            getattr(look, call)(*words)
        elif key.isdigit() and 1 <= int(key) <= len(look.subjects):
            look.show(look.subjects[int(key) - 1])
        else:
            return False
        look.keep_in_view(self.panel.shown)
        self.refresh()
        return True

    def click(self, x: float, y: float) -> bool:
        """Do what a click at a pixel, from the upper left, means; return whether it means something."""
        spot = self.panel.at(x, y)
        if spot is None:
            return False
        getattr(self.look, spot.call)(*spot.words)
        self.refresh()
        return True

    def refresh(self) -> None:
        """Draw what has changed; nothing is shown before all of it is there."""
        is_still, self.plotter.suppress_rendering = self.plotter.suppress_rendering, True
        self._refresh()
        self.plotter.suppress_rendering = is_still

    def _refresh(self) -> None:
        look, state = self.look, self.look.state
        size = tuple(int(one) for one in self.plotter.render_window.GetSize())
        size = (max(size[0], LEAST[0]), max(size[1], LEAST[1]))
        self.panel = panel_of(look, *size)
        self._place(size)
        place = look.done if state.subject == look.subjects[-1] else None
        drawn = (state.subject, state.section, state.at if state.section != "closed" else None, place)
        if drawn != self._drawn:
            self._draw()
            self._drawn = drawn
        self._number()
        goal = (state.finding, state.side, state.section, self._setup())
        if goal != self._goal:
            self._aim(self._goal is None and state.finding is None)
            self._goal = goal
        self._scale()

    def _scale(self) -> None:
        """Draw the text anew with the scale bar that the eye's distance asks for."""
        _, top, _, bottom = self.panel.stage
        self._shown_scale = self.plotter.camera.parallel_scale
        pitch = 2 * self._shown_scale / (bottom - top)
        self.panel = panel_of(self.look, *self._size, pitch)
        self._write(self.panel.image)

    def _setup(self) -> int | None:
        """The setup whose table is looked at, where it is one: another one lies another way up."""
        state = self.look.state
        return self.look.steps.runs[state.run][0] if state.subject == self.look.subjects[-1] else None

    def _draw(self) -> None:
        self.plotter.clear_actors()
        for surface in surfaces_of(self.look):
            add_surface(self.plotter, surface)

    def _number(self) -> None:
        """Number the chosen finding in the picture."""
        row = self.look.finding
        self.plotter.remove_actor("number", render=False)
        if row is None or row["at"] is None:
            return
        fill, ink = (colours.INK, "white") if must(row) else ("white", colours.INK)
        self.plotter.add_point_labels(
            np.array([row["at"]], float), [f" {row['number']} "], name="number", always_visible=True,
            shape="rounded_rect", fill_shape=True, shape_color=fill, shape_opacity=1.0, margin=4,
            text_color=ink, font_size=18, bold=True, point_color=colours.INK, point_size=9, render=False,
            reset_camera=False, justification_horizontal="left", justification_vertical="bottom",
        )  # fmt: skip

    def _aim(self, is_whole: bool) -> None:
        """Turn the eye to the side that lies up, and to the chosen finding."""
        goal = goal_of(self.look)
        camera, bounds = self.plotter.camera, self.plotter.bounds
        low, high = np.array(tuple(bounds)[::2]), np.array(tuple(bounds)[1::2])
        about, size = goal.about, goal.size
        if is_whole or self.look.finding is None or self.look.finding["at"] is None:
            about, size = (low + high) / 2, None
        eye = goal.eye / np.linalg.norm(goal.eye)
        deep = float(np.linalg.norm(high - low)) + 1.0
        camera.focal_point, camera.position, camera.up = about, about + eye * 2 * deep, tuple(goal.up)
        camera.parallel_projection = True
        left, top, right, bottom = self.panel.stage
        if size is None:
            corners = np.array([[(low, high)[k >> axis & 1][axis] for axis in range(3)] for k in range(8)])
            right_way = np.cross(goal.up, eye)
            right_way /= np.linalg.norm(right_way)
            up_way = np.cross(eye, right_way)
            wide, tall = (np.ptp(corners @ way) * 1.06 for way in (right_way, up_way))
            size = max(tall, wide * (bottom - top) / max(right - left, 1))
        camera.parallel_scale = size / 2
        self.plotter.renderer.ResetCameraClippingRange()

    def _place(self, size: tuple[int, int]) -> None:
        """Put the picture where the panel leaves room for it."""
        left, top, right, bottom = self.panel.stage
        wide, tall = size
        self.plotter.renderer.SetViewport(left / wide, 1 - bottom / tall, right / wide, 1 - top / tall)
        self._size = size

    def _write(self, image: np.ndarray) -> None:
        from vtkmodules.util.numpy_support import numpy_to_vtk
        from vtkmodules.vtkCommonDataModel import vtkImageData

        data = vtkImageData()
        tall, wide = image.shape[:2]
        data.SetDimensions(wide, tall, 1)
        data.GetPointData().SetScalars(numpy_to_vtk(image[::-1].reshape(-1, 3).copy(), deep=True))
        self._mapper.SetInputData(data)

    def _key(self, interactor, _event) -> None:
        key = interactor.GetKeySym()
        if key in LEAVE_KEYS:
            self.plotter.close() if self.plotter.iren is None else interactor.TerminateApp()
        elif self.press(key):
            self.plotter.render()

    def _moved(self, _camera, _event) -> None:
        """The eye has moved: only where it came nearer or went farther does the scale bar change."""
        if abs(self.plotter.camera.parallel_scale / self._shown_scale - 1) > 0.005:
            self._scale()

    def _press(self, interactor, _event) -> None:
        x, y = interactor.GetEventPosition()
        tall = self.plotter.render_window.GetSize()[1]
        if self.click(x, tall - 1 - y):
            self.plotter.render()

    def _resized(self, _interactor, _event) -> None:
        size = tuple(int(one) for one in self.plotter.render_window.GetSize())
        if (max(size[0], LEAST[0]), max(size[1], LEAST[1])) != self._size:
            self.refresh()
            self.plotter.render()
