"""From dropping the sample on the page to the verdict, the findings, the 3-D view and the whole report.

    python benchmarks/page_speed.py [DROPS]

Drops the sample on a warm page in Debian's chromium, again and again, each time with a changed program, so
that no kept result is shown.  By the clock, in the browser: when a frame with it was painted.  Beside it the
processor time spent by then by the process that checks, the one that serves, and the browser (Linux alone).
On a machine that does other work only processor times say anything.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from simkit.page import desk
from simkit.page.server import PageServer
from tests.page.webdriver import Browser, until

SAMPLE = Path(__file__).parents[1] / "samples" / "olive_boat"
FILES = ("job.toml", "olive_boat.stl", "side1.nc", "side2.nc")
CELL, MOST = 0.2, 50_000_000
POLL = 1.0  # s between two looks of this driver, which take time themselves
TICKS = os.sysconf("SC_CLK_TCK")
# Whatever changes the page is followed by a look; what is new is told when its frame is behind.
WATCH = """
window.seen = {};
const at = (s) => document.querySelector(s);
const is = {
  verdict: () => at("#verdict").textContent && at("#verdict").checkVisibility(),
  findings: () => at("#column h2") && at("#column").checkVisibility(),
  view: () => at("#solid") && at("#solid").dataset.covered,
  report: () => at("#get-report").href,
};
new MutationObserver(() => {
  for (const name of Object.keys(is).filter((one) => !(one in window.seen) && is[one]())) {
    window.seen[name] = 0;
    requestAnimationFrame(() => setTimeout(() => { window.seen[name] = Date.now() / 1000; }));
  }
}).observe(document.body, { attributes: true, childList: true, characterData: true, subtree: true });
"""


def used(pid: int) -> tuple[float, int]:
    """Return processor time, s, and the parent of a process."""
    words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / TICKS, int(words[1])


def family(root: int) -> float:
    """Return the processor time, s, of a process and all that it started and that still runs."""
    rows = {}
    for path in Path("/proc").iterdir():
        if path.name.isdigit():
            try:
                rows[int(path.name)] = used(int(path.name))
            except OSError:
                continue
    mine = {root}
    for _ in range(6):  # deep enough for any browser
        mine |= {pid for pid, (_, parent) in rows.items() if parent in mine}
    return sum(rows[pid][0] for pid in mine if pid in rows)


class Times:
    """Processor times of all that takes part."""

    def __init__(self, server: PageServer, browser: Browser):
        self._server, self._browser = server, browser

    def now(self) -> tuple[float, float, float]:
        """Return those of the check, the server and the browser, s."""
        worker = self._server.checker._worker
        checking = 0.0 if worker is None else used(worker.process.pid)[0]
        return checking, time.process_time(), family(self._browser._process.pid)


def drop(server: PageServer, browser: Browser, folder: Path, times: Times, known: list) -> None:
    """Drop the sample once and print what it took."""
    for name in FILES:
        data = (SAMPLE / name).read_bytes()
        (folder / name).write_bytes(data + (f"({time.time()})\n".encode() if name == "side1.nc" else b""))
    browser.open(server.address)
    until(lambda: browser.run("return document.body.dataset.ready"))
    browser.run(WATCH)
    known.clear()
    load, before, started = os.getloadavg()[0], times.now(), time.time()
    browser.drop_paths([folder / name for name in FILES])
    ends = time.monotonic() + 900
    while not (seen := browser.run("return window.seen")).get("report"):
        assert time.monotonic() < ends, "it never came"
        time.sleep(POLL)
    clock = "  ".join(
        f"{name} {seen[name] - started:.2f}" for name in ("verdict", "findings", "view", "report")
    )
    print(f"by the clock, s: {clock}   (load before it {load:.1f})")
    for words, after in (("to the result", known[0]), ("to the end", times.now())):
        told = (f"{b - a:.2f}" for a, b in zip(before, after, strict=True))
        print("  processor time {}, s: check {}, server {}, browser {}".format(words, *told), flush=True)


def main() -> None:
    """Serve, open a browser, drop."""
    drops = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    server = PageServer(0, CELL, MOST)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with tempfile.TemporaryDirectory() as folder:
        browser = Browser(Path(folder), 1200, 900)
        times, known, say = Times(server, browser), [], desk.Desk._say

        def told(self, what, value):
            if what == "result":
                known.append(times.now())
            say(self, what, value)

        desk.Desk._say = told
        try:
            time.sleep(1)  # the process that checks is started first, and loads what a check needs
            with server.checker._turn:
                pass
            for number in range(drops):
                (Path(folder) / str(number)).mkdir()
                drop(server, browser, Path(folder) / str(number), times, known)
        finally:
            browser.end()
            server.shutdown()
            server.close()


if __name__ == "__main__":
    main()
