"""Programs made at random, good ones and spoilt ones, and all that a reader says of them."""

import math

import numpy as np

from simkit.errors import InputProblems
from simkit.program.reader import PROBLEM_LIMIT, _read

HEAD = b"G21 G90 G17 T1 M6 S900 M3\nG0 X0 Y0 Z5\nF300\n"
SETTINGS = [
    "G90",
    "G91",
    "G20",
    "G21",
    "G17",
    "G18",
    "G19",
    "G54",
    "G55",
    "G92 X1 Y2",
    "G92.1",
    "G93",
    "G94",
    "G95",
]
SETTINGS += [
    "G80",
    "G90.1",
    "G91.1",
    "G40",
    "G49",
    "G43 H1",
    "G53 G0 Z0",
    "G28",
    "G64",
    "G4 P1",
    "G98",
    "G99",
]
SETTINGS += [
    "G81 Z-2 R1",
    "G83 X4 Z-2 R1 Q.5",
    "T2 M6",
    "M3 S100",
    "M5",
    "M8",
    "M9",
    "M0",
    "M2",
    "M30",
    "%",
    "/X1",
]
SETTINGS += [
    "F0",
    "F20",
    "G0",
    "G1",
    "G2",
    "G3",
    "N5",
    "G41",
    "O1",
    "M98 P1",
    "#1=2",
    "(MSG, turn)",
    "MSG turn",
    "F-1",
]
ODD = [
    "X",
    "X1O",
    "(a",
    "(a(b))",
    ")",
    ";(",
    "/",
    "%",
    "#1",
    "1.2.3",
    "--",
    ",",
    "é",
    "−1",
    "\t",
    "\f",
    "\0",
    "=",
    "*",
]
ODD += [
    "$",
    "X1 0",
    "X- 5",
    "Y+.5.",
    "X.",
    "G-1",
    "G1.",
    "G+1",
    "G001",
    "G1.0",
    "X1e3",
    "N1N2",
    "N1.5",
    "N-1",
    "K0",
    "K1",
]
ODD += [
    "X9007199254740993",
    "X0.1234567890123456789",
    "X123456789012345678",
    "F1e9",
    "X10000001",
    "X-0",
    "R0",
    "P2",
]
STATED_AGAIN = ["G90", "G17", "G94", "G40", "G21", "G90 G17", "G017"]
STATED_AGAIN += ["S900", "M3", "T1", "M8", "M7 M9", "G98", "G49", "G61", "S900 M03", "T1 M9"]


def number(random, value=None, decimals=None):
    """A number as posts write them: rounded, bare, padded, signed."""
    if value is None:
        value = random.choice([random.uniform(-50, 50), random.uniform(-1, 1), float(random.integers(-9, 9))])
    if decimals is None:
        decimals = random.integers(0, 6)
    text = f"{value:.{decimals}f}"
    style = random.integers(12)
    if style == 0 and "." in text:
        text = text.rstrip("0")
    elif style == 1:
        text = text.replace("0.", ".", 1) if text.lstrip("-").startswith("0.") else text
    elif style == 2 and not text.startswith("-"):
        text = "+" + text
    elif style == 3 and "." not in text:
        text += "."
    elif style == 4:
        text = f"{value:0{decimals + 8}.{decimals}f}"
    return text


class Maker:
    """Writes one program block by block and knows where it stands, so that its arcs fit."""

    def __init__(self, random):
        self.random = random
        self.x = self.y = 0.0
        self.is_incremental = False
        self.is_calm = random.integers(3) > 0  # nothing odd in it
        self.decimals = int(random.integers(2 if self.is_calm else 1, 5))
        self.needs_motion = True  # an arc or nothing is in force, and a line is meant next

    def _to(self, x, y):
        """The words that lead to a point, rounded; where they do lead."""
        if self.is_incremental:
            dx, dy = round(x - self.x, self.decimals), round(y - self.y, self.decimals)
            self.x, self.y = self.x + dx, self.y + dy
        else:
            dx, dy = self.x, self.y = round(x, self.decimals), round(y, self.decimals)
        return [f"X{number(self.random, dx, self.decimals)}", f"Y{number(self.random, dy, self.decimals)}"]

    def arc(self):
        """An arc by centre or radius, now and then a helix or a full circle."""
        random, d = self.random, self.decimals
        i, j = (round(float(random.uniform(-20, 20)), d) for _ in "IJ")
        sense = random.integers(2, 4)
        radius = math.hypot(i, j)
        if not radius:
            return ["(no arc)"]
        turn = random.uniform(0.05, 6.2) * (1 if sense == 3 else -1)
        c, s = math.cos(turn), math.sin(turn)
        words = [f"G{sense}"] if random.integers(4) else [f"G0{sense}"]
        if random.integers(8):
            words += self._to(self.x + i - c * i + s * j, self.y + j - s * i - c * j)
        if random.integers(5) == 0:
            words.append(f"Z{number(random)}")
        if random.integers(4) == 0 and len(words) > 2:
            size = radius if abs(turn) <= math.pi else -radius
            words.append(f"R{number(random, size + random.choice([0, 0.001]), d + 1)}")
        else:
            words += [f"I{number(random, i, d)}", f"J{number(random, j, d)}"]
        return words

    def block(self):
        """The words of one block."""
        random = self.random
        sort = random.integers(20) if not self.is_calm else random.integers(18)
        if sort < 8:
            words = [f"G{random.integers(2)}"] if random.integers(2) or self.needs_motion else []
            self.needs_motion = False
            both = self._to(*random.uniform(-60, 60, 2))
            if not self.is_calm and random.integers(4) == 0:
                both.pop()
            words += both
            if random.integers(2):
                words.append(f"Z{number(random)}")
        elif sort < 15:
            words = self.arc()
            self.needs_motion = True
        elif sort < 18:
            mild = ["G90", "G91", "F20", "M8", "G1", "(note)", "N7", "G17", "S900", "; text", "", "/M9"]
            words = [str(random.choice(mild if self.is_calm or random.integers(3) else SETTINGS))]
            self.needs_motion |= words[0] == "G1"
            self.is_incremental = {"G90": False, "G91": True}.get(words[0], self.is_incremental)
        elif sort < 19:
            words = [f"{letter}{number(random)}" for letter in "XYZIJR" if random.integers(3) == 0]
        else:
            words = [str(random.choice(ODD))]
        words = list(words)
        if random.integers(6) == 0:
            words.append(f"F{number(random, random.uniform(1, 900), 1)}")
        if random.integers(12) == 0:
            words.insert(random.integers(len(words) + 1), str(random.choice(STATED_AGAIN)))
        if random.integers(10) == 0 and len(words) > 1:
            random.shuffle(words)
        if random.integers(10) == 0:
            words.insert(0, f"N{random.integers(99999)}")
        if random.integers(12) == 0:
            words.insert(
                random.integers(len(words) + 1), str(random.choice(["(a b)", "()", "; c (d", "(é)"]))
            )
        text = str(random.choice([" ", "", "  ", "\t"])).join(words)
        if random.integers(10) == 0:
            text = text.lower()
        if random.integers(20) == 0:
            text = "".join(c + " " if c.isalpha() and c.isascii() else c for c in text)
        return text


def made_program(random, blocks):
    """Bytes of a program that is mostly good."""
    maker = Maker(random)
    end = str(random.choice(["\n", "\n", "\n", "\r\n", "\r"]))
    lines = [HEAD.decode().replace("\n", end)] if random.integers(12) else [""]
    lines += [maker.block() + end for _ in range(blocks)]
    if random.integers(4):
        lines.append("M30" + (end if random.integers(3) else ""))
    data = "".join(lines).encode("utf-8" if random.integers(8) else "latin-1", "replace")
    return (b"\xef\xbb\xbf" if random.integers(16) == 0 else b"") + data


def spoilt(random, data):
    """A copy with bytes flipped or lost, lines cut, doubled, swapped or lost, words doubled, the end lost."""
    data = bytearray(data or b"G1")
    for _ in range(random.integers(1, 4)):
        lines = bytes(data).split(b"\n")
        k, i = random.integers(len(lines)), random.integers(len(data))
        sort = random.integers(8)
        if sort == 0:
            data[i] = random.integers(256)
        elif sort == 1:
            data[i] = int(random.choice(list(b"GXYZIJRFNMST0123456789.+- ();%/\r\n")))
        elif sort == 2:
            del data[i]
        elif sort == 3:
            lines[k] = lines[k][: random.integers(len(lines[k]) + 1)]
        elif sort == 4:
            lines.insert(k, lines[random.integers(len(lines))])
        elif sort == 5:
            del lines[k]
        elif sort == 6:
            words = lines[k].split()
            lines[k] += b" " + (words[random.integers(len(words))] if words else b"X1")
        else:
            data = data[:i]
        if 3 <= sort <= 6:
            data = bytearray(b"\n".join(lines))
        data = data or bytearray(b"G1")
    return bytes(data)


def outcome(source, *, is_compiled, has_short_cut=False, **options):
    """All a reader says of a program, in a form that compares to the bit."""
    try:
        got = _read(source, "a.nc", 0, options.pop("cutter", None), options.pop("units", None),
                    has_short_cut, is_compiled, **options)  # fmt: skip
    except InputProblems as problems:
        assert len(problems.problems) <= PROBLEM_LIMIT  # noqa: PT017 (either outcome is allowed)
        return [str(problem) for problem in problems.problems]
    said = {name: value for name, value in vars(got).items() if name not in ("moves", "warnings")}
    said["warnings"] = [str(warning) for warning in got.warnings]
    for name, column in vars(got.moves).items():
        said[name] = (
            (column.dtype, column.shape, column.tobytes()) if isinstance(column, np.ndarray) else column
        )
    return said
