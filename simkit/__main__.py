"""The only place that ends the process."""

from __future__ import annotations

import contextlib
import io
import os
import sys

from simkit.blas import ONE_THREAD


class _Told(io.TextIOWrapper):
    """Standard error.  Where it cannot be written nobody can be told, but the exit status must be true."""

    def write(self, text: str) -> int:
        """Write a text if that is possible."""
        with contextlib.suppress(OSError):
            super().write(text)
        return len(text)

    def flush(self) -> None:
        """Write what waits if that is possible."""
        with contextlib.suppress(OSError):
            super().flush()


def run() -> None:
    """Run the command line and leave with its status."""
    for name, count in ONE_THREAD.items():  # before NumPy is loaded
        os.environ.setdefault(name, count)
    try:
        from simkit.cli import main
    except KeyboardInterrupt:  # before there is a command line that could say more
        sys.exit(130)

    # What a terminal or a log of few letters cannot show must not end a check: names of files above all.
    shown = {"errors": "backslashreplace"}
    if sys.stdout is None:  # closed by whoever started us, as are those of windows without a terminal
        sys.stdout = open(os.devnull, "w", encoding="utf-8", **shown)  # noqa: SIM115
    sys.stdout.reconfigure(**shown)
    told = open(os.devnull, "wb") if sys.stderr is None else sys.stderr.buffer  # noqa: SIM115
    letters = "utf-8" if sys.stderr is None else sys.stderr.encoding
    sys.stderr = _Told(told, letters, line_buffering=True, **shown)
    sys.exit(main(sys.argv[1:]))


if __name__ == "__main__":
    run()
