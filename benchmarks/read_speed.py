"""How fast are large programs read, how much memory does it take, and does the cost grow linearly?

Programs of fine finishing passes (short straight moves; lines and arcs; stretches in all planes, centre and
feed modes with words stated again on each line) from 1 MB to 250 MB are written
to a temporary folder and read, each in a process of its own with the compiled code loaded beforehand.  Up to
PLAIN_UP_TO MB the plain Python reader reads the same file in the same process, without and with its own short
cut for lines; the same answer is asserted.  Of the columns of the table those for arcs stay untouched zeros
in a program of lines, so the memory beyond the table can come out below zero.
Run: python benchmarks/read_speed.py [LARGEST_MB]
"""

import json
import platform
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from simkit.program import reader

SIZES = [1, 4, 16, 64, 250]  # MB
PLAIN_UP_TO = 4
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 X0 Y0 Z20\nG1 Z0 F1500\n"
END = "G0 Z20\nM5\nM30\n"


def lines(rng, n):
    """Short straight moves over a wavy surface, as a post-processor writes them: what stays is left out."""
    t = np.arange(n)
    x, y = np.round(600 + 600 * np.sin(t / 997.0), 3), 0.2 * (t // 3000)
    z = np.round(-10 + 5 * np.sin(x / 9) * np.cos(y / 11) + rng.normal(0, 0.002, n), 3)
    return [
        f"X{a:.3f} Z{b:.3f}" if k % 3000 else f"Y{y[k]:.3f}"
        for k, (a, b) in enumerate(zip(x, z, strict=True))
    ]


def arcs(rng, n):
    """Pairs of a line and an arc of a quarter turn, three decimals: honest rounding in every radius."""
    made = []
    x = y = 0.0
    for k in range(n // 2):
        r, turn = round(float(rng.uniform(1, 30)), 3), k % 4
        dx, dy = [(r, r), (-r, r), (-r, -r), (r, -r)][turn]
        i, j = [(0, r), (-r, 0), (0, -r), (r, 0)][turn]
        slip = 0.001 * (k % 2)
        made.append(f"G3 X{x + dx + slip:.3f} Y{y + dy:.3f} I{i:.3f} J{j:.3f}")
        x, y = round(x + dx + slip, 3), round(y + dy, 3)
        x, y = (x + 1, y) if abs(x) < 500 else (0.0, 0.0)
        made.append(f"G1 X{x:.3f} Y{y:.3f}")
    return made


def modes(rng, n):
    """Stretches in less common modes: upright and absolute arcs, G93, G95, S and M words on each line."""
    made = []
    for k in range(n // 10):
        x, z = 0.01 * k, round(float(rng.uniform(-9, 9)), 3)
        made += ["G18 G91.1 G94 F900", f"G1 X{x:.3f} Z{z:.3f}", f"G2 X{x + 10:.3f} Z{z:.3f} I5.000 K0.000"]
        made += ["G19 G1 Y0", f"G3 Y8.000 Z{z:.3f} J4.000 K0.000"]
        made += [f"G17 G1 X{x:.3f} Y0 S18000 M8", f"G1 X{x + 1:.3f} S18000 M8 (pass {k})"]
        made += ["G90 G54 T1 X5.5", "G64 G1 X6.125 M3 S18000", "M8"]
    for head, line in (
        ("G90.1\n", "G3 X10.000 Y10.000 I0.000 J10.000\nG1 X0 Y0"),
        ("G91.1 G93\n", "G1 X{:.3f} Z{:.3f} F900.5"),
        ("G95 F.1\n", "X{:.3f} Z{:.3f}"),
    ):
        made.append(head + "G1 X0 Y0 Z0 F.1")
        made += [line.format(*rng.uniform(-90, 90, 2)) for _ in range(n // 10)]
    return [*made, "G94 F1500"]


def write(path, kind, size):
    """Write a program of about `size` bytes, repeating one stretch that ends where the next can begin."""
    stretch = "\n".join(KINDS[kind](np.random.default_rng(1), 9_000)) + "\n"
    stretch = f"G1 X0 Y0 Z0\n{stretch}".encode()
    with path.open("wb") as file:
        file.write(HEAD.encode())
        for _ in range(-(-size // len(stretch))):
            file.write(stretch)
        file.write(END.encode())


KINDS = {"lines": lines, "arcs": arcs, "modes": modes}


def peak_bytes():
    """The largest memory this process has held since `reset_peak` (Linux), or since it began."""
    if platform.system() == "Linux":
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) * 1024
    unit = 1 if platform.system() == "Darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def reset_peak():
    if platform.system() == "Linux":
        Path("/proc/self/clear_refs").write_text("5")


def table_bytes(moves):
    """What the columns of a table of moves hold."""
    return sum(column.nbytes for column in vars(moves).values() if isinstance(column, np.ndarray))


def measure(path, with_plain):
    """Read one file in this process; return what it took."""
    small = (HEAD + "X1\nG3 X2 Y1 I1 J0.001\n" + END).encode()
    reader._read(small, "small.nc", 0, None, None, is_compiled=True)  # loads the compiled code
    reset_peak()
    before = peak_bytes()
    data = path.read_bytes()
    loaded = time.perf_counter()
    got = reader._read(data, "a.nc", 0, None, None, is_compiled=True)
    taken = {
        "bytes": len(data),
        "lines": got.line_count,
        "first": time.perf_counter() - loaded,
        "peak": peak_bytes() - before,
        "table": table_bytes(got.moves),
    }
    if with_plain:
        for key, has_short_cut in (("plain", False), ("short cut", True)):
            started = time.perf_counter()
            plain = reader._read(data, "a.nc", 0, None, None, has_short_cut, is_compiled=False)
            taken[key] = time.perf_counter() - started
            for name, column in vars(plain.moves).items():
                if name != "programs":
                    assert column.tobytes() == getattr(got.moves, name).tobytes(), name
            assert plain.warnings == got.warnings
    del got
    times = []
    for _ in range(4):  # by now the system has given this process its memory
        started = time.perf_counter()
        reader._read(data, "a.nc", 0, None, None, is_compiled=True)
        times.append(time.perf_counter() - started)
    return {**taken, "warm": min(times)}


def main(largest):
    print("          MB      lines  MB/s first   warm  ns/byte  x plain  x short cut  (peak - table) / file")
    with tempfile.TemporaryDirectory() as folder:
        for kind in KINDS:
            for size in [size for size in SIZES if size <= largest]:
                path = Path(folder) / "a.nc"
                write(path, kind, size * 1_000_000)
                words = [sys.executable, __file__, "--one", str(path), str(int(size <= PLAIN_UP_TO))]
                done = subprocess.run(words, capture_output=True, text=True, check=True)
                got = json.loads(done.stdout)
                mb, warm = got["bytes"] / 1e6, got["warm"]
                plain, short = (
                    f"{got[key] / warm:.0f}" if key in got else "" for key in ("plain", "short cut")
                )
                memory = (got["peak"] - got["table"]) / got["bytes"]
                print(
                    f"{kind:>5} {mb:6.1f} {got['lines']:10,} {mb / got['first']:11.0f} {mb / warm:6.0f}"
                    f" {1000 * warm / mb:8.1f} {plain:>8} {short:>12} {memory:23.2f}",
                    flush=True,
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(Path(sys.argv[2]), sys.argv[3] == "1")))
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else SIZES[-1])
