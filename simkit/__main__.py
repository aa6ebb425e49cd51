"""The only place that ends the process."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line and leave with its status."""
    from simkit.cli import main

    sys.exit(main(sys.argv[1:]))


if __name__ == "__main__":
    run()
