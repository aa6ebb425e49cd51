"""The only place that ends the process."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line and leave with its status."""
    try:
        from simkit.cli import main
    except KeyboardInterrupt:  # before there is a command line that could say more
        sys.exit(130)

    # What a terminal or a log of few letters cannot show must not end a check: names of files above all.
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.reconfigure(errors="backslashreplace")
    sys.exit(main(sys.argv[1:]))


if __name__ == "__main__":
    run()
