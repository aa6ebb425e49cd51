"""`simkit page`: a local page to drop programs on."""

from __future__ import annotations

import argparse
import signal
import sys
import webbrowser

from simkit.commands.words import cell_of, print_text
from simkit.errors import InputProblems, Place, Problem

MOST_SIZE = 200  # MB


def add_page(commands) -> None:
    """Add the command to the parsers of a command line."""
    page = commands.add_parser(
        "page",
        help="a page in your browser to drop programs, a mesh and a job file on",
        description="Serve a page to this machine alone; drop programs, a mesh and a job file there. "
        "It prints the address to open; Ctrl-C ends it and removes what was dropped.",
        allow_abbrev=False,
    )
    page.add_argument("--port", default="0", metavar="N", help="of the address (default: any free one)")
    page.add_argument("--open", action="store_true", help="open the page in the browser of this system")
    page.add_argument("--cell", metavar="MM", help="edge of a cell of the checks (default: 0.2)")
    page.add_argument(
        "--most-size",
        default=str(MOST_SIZE),
        metavar="MB",
        help=f"how large all files dropped on one page may be together (default: {MOST_SIZE})",
    )


def run_page(options: argparse.Namespace) -> int:
    """Serve the page until Ctrl-C.  Raises InputProblems."""
    cell = cell_of(options.cell)
    port = _whole(options.port, "--port", 0, 65535, "a port from 1024 to 65535, or 0 for any free one")
    most = _whole(options.most_size, "--most-size", 1, 2000, "1 to 2000 MB")
    from simkit.page.server import PageServer

    try:
        server = PageServer(port, cell, most * 1_000_000)
    except OSError as reason:
        place = Place("command line", key="--port")
        found = f"port {port}, which cannot be used ({reason.strerror})"
        raise InputProblems(
            Problem(place, found, "a free port", "choose another, or leave --port out")
        ) from None
    before = signal.getsignal(signal.SIGTERM)
    try:
        signal.signal(signal.SIGTERM, _interrupt)  # what was dropped is removed then, too
        print_text(f"open this address in a browser on this machine:\n{server.address}")
        _say("it is secret: whoever has it may use the page.  Ctrl-C ends it.")
        if options.open:
            webbrowser.open(server.address)
        server.serve_forever(poll_interval=0.2)
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
        signal.signal(signal.SIGTERM, before)
    _say("ended; what was dropped is removed")
    return 0


def _say(words: str) -> None:
    sys.stderr.write(f"{words}\n")
    sys.stderr.flush()


def _interrupt(*_) -> None:
    raise KeyboardInterrupt


def _whole(text: str, option: str, least: int, most: int, expected: str) -> int:
    """Return a whole number behind an option.  Raises InputProblems."""
    if text.isascii() and text.isdecimal() and least <= int(text[:9]) <= most and len(text) < 9:
        return int(text)
    raise InputProblems(
        Problem(Place("command line", key=option), f"'{text}'", expected, f"write it like {option} {most}")
    )
