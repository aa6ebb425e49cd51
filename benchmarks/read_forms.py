"""Which forms of lines, as shops have them, are read in compiled code, and which fall to plain Python?

Each form fills a program of SIZE bytes, read in one process with the compiled code loaded beforehand; told
are MB/s and the share of lines that the compiled code left to the interpreter.  The same answer of both is
asserted on the first lines of each form.
Run: python benchmarks/read_forms.py [FORM...]
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from simkit.program.fast import FastInterpreter
from simkit.program.interpreter import Options
from simkit.program.source import Source
from tests.program.made_programs import outcome

SIZE = 700_000
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG54 G0 X0 Y0 Z20\nG1 Z0 F1500\n"
END = "G90 G0 Z20\nM5\nM30\n"
OPTIONS = Options(work_offsets={"G55": (1.0, 2.0, 3.0)})
# {a} {b} {c}: coordinates; {long}: one of 17 digits; {k}: number of the line.
FORMS = {
    "lines": "X{a:.3f} Z{b:.3f}",
    "all words each time": "G1 X{a:.3f} Y{b:.3f} Z{c:.3f} F1200",
    "N words, no spaces": "N{k}G01X{a:.3f}Y{b:.3f}Z{c:.3f}",
    "lower case, tabs": "g1\tx{a:.3f}\ty{b:.3f}",
    "comments": "(pass {k})\nX{a:.3f} ; next",
    "rapids between": "G0 Z5\nG0 X{a:.3f} Y{b:.3f} F900\nG1 Z-1 F300\nG1 X{c:.3f} F1500",
    "G91": "G91 X{a:.3f}\nG90 X0 Y0 Z0",
    "17 digits": "X{long:.14f} Y{a:.3f}",
    "arcs by R": "G2 X{x} Y0 R9.000",
    "arcs by negative R": "G3 X{x} Y0 R-9.000 (a)",
    "circles": "G2 I{i:.3f} J0",
    "helices": "G3 X0 Y0 Z-{i:.3f} I5 J0 K0",
    "upright arcs by R": "G18 G2 X{x} Z0 R9.000",
    "words stated again": "G90 G54 G17 G40 G94 M3 S18000 T1 M8\nX{a:.3f}",
    "M8, M9, M0": "M8\nX{a:.3f}\nM9 M0",
    "G20 in an inch program": "G20\nF{f}\nX{a:.3f}",
    "G93": "G93 G1 X{a:.3f} F{f}",
    "a row of holes": "G81 X{a:.3f} Y{b:.3f} Z-5 R2\nX{c:.3f}",
    "deep holes": "G83 X{a:.3f} Y{b:.3f} Z-5 R2 Q2\nG80",
    "S changes": "G1 X{a:.3f} S{f}",
    "spindle off and on": "M5\nG0 X{a:.3f}\nM3\nG1 Y{b:.3f}",
    "dwells": "G4 P.1\nG1 X{a:.3f}",
    "block delete": "/G1 X{a:.3f}",
    "cutters": "T{tool} M6\nM3\nG0 Z5\nG1 X{a:.3f}",
    "G43 each time": "G43 H1 Z20\nG1 X{a:.3f}",
    "G28": "G28 Z20\nG0 X1 Y1 Z5\nG1 X{a:.3f}",
    "work zeros": "G55\nG1 X{a:.3f}\nG54\nX1",
}


def program(form, size):
    """Return about `size` bytes of a form, between a head and an end."""
    random, made, length, k = np.random.default_rng(1), [], 0, 0
    while length < size:
        a, b, c, long = random.uniform(1, 300, 4)
        more = {"k": k, "x": 10 * ((k + 1) % 2), "i": 5 + 0.1 * (k % 9), "f": 900 + k % 9, "tool": 1 + k % 4}
        made.append(form.format(a=a, b=b, c=c, long=long, **more) + "\n")
        length, k = length + len(made[-1]), k + 1
    return (HEAD + "".join(made) + END).encode()


def read(data):
    """Read a program; return seconds, and lines left to the interpreter."""
    state = FastInterpreter("a.nc", Source(data, "a.nc"), None, OPTIONS)
    lines, left = state._lines_to_read, []
    state._lines_to_read = lambda: (left.append(line) or (number, line) for number, line in lines())
    started = time.perf_counter()
    state.run()
    assert not state.problems, state.problems[0]
    return time.perf_counter() - started, len(left)


def main(names):
    for name in names:
        few = program(FORMS[name], 2_000)
        assert outcome(few, is_compiled=True, options=OPTIONS) == outcome(
            few, is_compiled=False, options=OPTIONS
        )
        data = program(FORMS[name], SIZE)
        seconds, left = min(read(data) for _ in range(2))
        share = 100 * left / data.count(b"\n")
        print(
            f"{name:<24} {len(data) / 1e6 / seconds:6.1f} MB/s, {share:5.1f} % of the lines left", flush=True
        )


if __name__ == "__main__":
    main(sys.argv[1:] or list(FORMS))
