"""Does a check that is ended at any moment ever leave half a file that looks like a whole one?

    python benchmarks/interruptions.py [MOMENTS [SEED]]

Starts a check that writes all it can, ends it at a random moment by SIGKILL, SIGTERM or SIGINT in turn, and
does so MOMENTS times (20) with report and pictures, which take most of the time, and five times as often
without.  It looks at every file that bears a name a person or another run would read: each must be one that
a check wrote to its end.  Half of the moments lie near the end, where files are written.  What was begun
beside its place (.simkit-...) is counted and counts as no file.  Not for Windows, which has no such signals.
"""

import contextlib
import gzip
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as Xml

sys.path.insert(0, str(Path(__file__).parents[1]))
from simkit.cache import CACHE_FOLDER
from tests.runs.some_jobs import write_two_sided

SIGNALS = ("SIGKILL", "SIGTERM", "SIGINT")
# The last chunk of a PNG (ISO/IEC 15948) with its checksum, and the last line of a report.
ENDS = {".png": b"IEND\xaeB`\x82", ".html": b"</html>\n"}
NEAR_END = 0.25  # of the time of a whole run


def fault_in(path: Path) -> str:
    """Return what is wrong with a file, '' for one that is whole."""
    data = path.read_bytes()
    kind = path.suffix
    try:
        if kind == ".gz":
            data, kind = gzip.decompress(data), ".json"
        if kind in (".json", ".sarif"):
            json.loads(data)
        elif kind == ".xml":
            Xml.fromstring(data)
        elif not data.endswith(ENDS.get(kind, b"")):
            return "ends too soon"
    except (ValueError, OSError, EOFError, Xml.ParseError) as reason:
        return str(reason)
    return ""


class Check:
    """A check in a folder of its own, with kept results of its own and the kernels that are there."""

    def __init__(self, folder: Path, pictures: bool):
        self.folder, self.cache, self.out = folder, folder / "cache", folder / "out"
        job = write_two_sided(folder / "job")
        self.out.mkdir()
        self.cache.mkdir()
        (self.cache / "kernels").symlink_to(CACHE_FOLDER.parent)
        words = ["check", job, "--cell", "1", "--quiet", "--fresh", "--json", "r.json", "--junit", "r.xml"]
        words += ["--sarif", "r.sarif", *(["--report", "r.html", "--pictures", "."] if pictures else [])]
        self.words = [sys.executable, "-m", "simkit", *map(str, words)]
        path = os.pathsep.join(filter(None, [str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH")]))
        self.around = os.environ | {
            "SIMKIT_CACHE": str(self.cache),
            "SIMKIT_KEEP": "yes",
            "PYTHONPATH": path,
        }

    def start(self) -> subprocess.Popen:
        """Start it."""
        return subprocess.Popen(
            self.words, cwd=self.out, env=self.around, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )

    def files(self) -> list[Path]:
        """Return what it wrote."""
        return sorted([*self.out.iterdir(), *(self.cache / "results").glob("*")])

    def clear(self) -> None:
        """Take out what it wrote."""
        for path in self.files():
            path.unlink()


def interrupt(moments: int, seed: int, pictures: bool = True) -> tuple[Counter, list[str]]:
    """End checks at moments; return how they ended and what was left, counted, and a line for each fault."""
    dice, told, faults = random.Random(seed), Counter(), []
    with tempfile.TemporaryDirectory() as name:
        check = Check(Path(name), pictures)
        started = time.monotonic()
        check.start().communicate()
        whole = time.monotonic() - started
        all_files = len(check.files())
        check.clear()
        for number in range(moments):
            sent = SIGNALS[number % len(SIGNALS)]
            first = (1 - NEAR_END) * whole if number // len(SIGNALS) % 2 else 0.0
            moment = dice.uniform(first, 1.02 * whole)
            process = check.start()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(moment)
            process.send_signal(getattr(signal, sent))
            _, words = process.communicate()
            case = f"seed {seed}, moment {number}, {sent} after {moment:.2f} s"
            # Python itself may not be ready for an interruption yet: then it ends by the signal.
            ends = {"SIGKILL": (-9,), "SIGTERM": (-15,), "SIGINT": (130, -2)}[sent]
            if process.returncode not in (1, *ends):
                faults.append(f"{case}: it ended with {process.returncode}: {words.decode()[-300:]}")
            told["ended by itself" if process.returncode == 1 else f"ended by {sent}"] += 1
            there = [path for path in check.files() if not path.name.startswith(".")]
            told["left some files"] += 0 < len(there) < all_files
            told["left something begun beside its place"] += len(check.files()) > len(there)
            for path in there:
                if wrong := fault_in(path):
                    faults.append(f"{case}: {path.name}: {wrong}")
            if process.returncode == 130 and len(check.files()) > len(there):
                faults.append(f"{case}: something begun was left, though it was asked to stop")
            check.clear()
    return told, faults


if __name__ == "__main__":
    wanted = [int(word) for word in sys.argv[1:]]
    often, first_seed = (wanted + [20, 1][len(wanted) :])[:2]
    counts, found = interrupt(often, first_seed)
    without = interrupt(5 * often, first_seed, pictures=False)
    counts, found = counts + without[0], found + without[1]
    print("\n".join(f"{count:6} {what}" for what, count in sorted(counts.items())))
    print("\n".join(found) if found else "no fault")
    sys.exit(bool(found))
