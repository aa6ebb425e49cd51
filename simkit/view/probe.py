"""Whether a window can be opened here: tried in a process of its own, python -m simkit.view.probe.

Without a display or an OpenGL library the first render ends its process, no exception; so nobody opens a
window before such a process has done so.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from simkit.report import solid_view
from simkit.report.solid_view import NO_DRAWING, NO_MODULE, NO_PICTURE

TIMEOUT = 60.0  # s
NO_DISPLAY = "there is no display here (neither DISPLAY nor WAYLAND_DISPLAY is set)"


def why_no_window(timeout: float = TIMEOUT) -> str | None:
    """Return why no window can be opened, in words; None where one can.  Never raises."""
    if sys.platform.startswith("linux") and not any(map(os.environ.get, ("DISPLAY", "WAYLAND_DISPLAY"))):
        return NO_DISPLAY
    with tempfile.TemporaryDirectory(prefix="simkit-") as folder:
        trouble = solid_view.run_child(_command(), Path(folder), timeout)
    return None if trouble is None else trouble.replace("drawing", "opening a window", 1)


def _command() -> list[str]:
    return [sys.executable, "-P", "-m", "simkit.view.probe"]


def main() -> int:
    """Open a small window, draw one face in it, close it; return the exit status."""
    try:
        import pyvista
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
        return NO_MODULE
    try:
        plotter = pyvista.Plotter(off_screen=False, window_size=(120, 80), title="simkit")
        plotter.set_background("white")
        plotter.add_mesh(pyvista.Plane(), color="black", lighting=False)
        plotter.show(auto_close=False, interactive=False)
        shot = plotter.screenshot(return_img=True)
        plotter.close()
    except Exception as error:
        sys.stderr.write(f"{type(error).__name__}: {' '.join(str(error).split())}\n")
        return NO_DRAWING
    return NO_PICTURE if shot.min() == shot.max() else 0


if __name__ == "__main__":
    sys.exit(main())
