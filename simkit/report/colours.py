"""Colours of a deviation from the target, the same in every picture.

Source of the hues: ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org, diverging scheme PuOr, the hex
values of its eleven classes; listed there as safe for the colour-blind.  Orange is cut too deep, purple
is left standing.  Lightness carries the size on both arms, so every picture also marks what is too
deep by hatching, or a grey print could not tell the two.
"""

from __future__ import annotations

import numpy as np

# ColorBrewer PuOr, eleven classes, from brown-orange over near-white to purple.
PUOR_11 = (
    "#7f3b08", "#b35806", "#e08214", "#fdb863", "#fee0b6", "#f7f7f7",
    "#d8daeb", "#b2abd2", "#8073ac", "#542788", "#2d004b",
)  # fmt: skip

WITHIN = 4  # class index of what is within the limits
NO_TARGET = -1  # class index where there is nothing to compare with
FOLDS = (1, 2, 4, 8)  # class borders, in multiples of the limit

# Class 0 is cut far too deep, class 8 stands far too proud.  The two palest classes of either arm are
# left out: beside the grey of 'within limits' they would not be seen.
CLASSES = (*PUOR_11[:4], "#e9e9e6", *PUOR_11[7:])
# Of the hatch over each class cut too deep: paler on the two darkest, so that a print in grey shows it on
# all of them, and the deeper, the darker as a whole.
STRIPES = (CLASSES[2], CLASSES[2], CLASSES[1], CLASSES[0])
HOLDING = "#f3eee4"  # wood outside the outline that holds the part, under a hatch
HOLDING_LINE = "#b9ae9b"
OTHER_WOOD = "#d9cfbd"  # wood outside the outline that holds nothing
# Resin: the teal arm of ColorBrewer's BrBG, eleven classes, as safe; dotted, so that a grey print tells it.
RESIN, RESIN_DOT = "#c7eae5", "#35978f"
NOTHING = "#ffffff"
INK = "#262626"
QUIET_INK = "#6a6a6a"

# What the classes say; legends use these words.
TOO_DEEP = "cut too deep"
IN_LIMITS = "within limits"
PROUD = "left standing"


def steps(limit: float) -> tuple[float, ...]:
    """Return the four borders, mm, that divide one arm of the scale: the limit and its doublings.

    limit mm; a limit of nothing is divided at 0, 0.1, 0.2 and 0.4 mm.  Exact.
    """
    if limit <= 0:
        return (0.0, 0.1, 0.2, 0.4)
    return tuple(limit * fold for fold in FOLDS)


def class_index(deviation: np.ndarray, limits: tuple[float, float]) -> np.ndarray:
    """Return the class of each deviation, an index into CLASSES, NO_TARGET where it is NaN.

    deviation: any shape, mm, positive left standing, negative too deep; infinities are allowed.
    limits (gouge, leftover) mm, both positive or zero; a deviation that equals its limit is within.
    Exact: comparisons only, in the type of the deviation.
    """
    gouge, leftover = limits
    deviation = np.asarray(deviation)
    index = np.full(deviation.shape, WITHIN, np.int8)
    for fold, border in enumerate(steps(leftover), start=1):
        index[deviation > border] = WITHIN + fold
    for fold, border in enumerate(steps(gouge), start=1):
        index[deviation < -border] = WITHIN - fold
    index[np.isnan(deviation)] = NO_TARGET
    return index


def rgb(colour: str) -> tuple[int, int, int]:
    """Return '#rrggbb' as three numbers from 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def class_rgb() -> np.ndarray:
    """Return the colours of CLASSES (9, 3) uint8."""
    return np.array([rgb(colour) for colour in CLASSES], np.uint8)


def worse(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Return, place by place, the class further from WITHIN; of two as far, the one cut too deep.

    first, second: class indices of one shape, NO_TARGET counts least.  Exact.
    """

    def rank(index):
        return np.where(index == NO_TARGET, -1, 2 * np.abs(index - WITHIN) + (index < WITHIN))

    return np.where(rank(np.asarray(first)) >= rank(np.asarray(second)), first, second).astype(np.int8)
