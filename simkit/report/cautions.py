"""What is said beside every verdict: what was not simulated, and the cautions of the shop."""

NOT_SIMULATED = (
    "deflection and run-out of the cutter, backlash",
    "path blending by the control (exact-stop paths are assumed)",
    "tear-out and grain; what moisture moves, but for the errors of [budget]",
    "a blank that is not flat, or not as large as stated",
    "a cutter that is not as stated (worn, re-ground; `simkit whatif` supposes one)",
    "neck, shank and holder of a cutter, clamps and travel that the job does not state",
)

CAUTIONS = (
    "A simulation is no proof: run the program in the air first and keep a hand at the stop.",
    "Check clamps, tape and dowels before each side; a loose offcut can be thrown out.",
    "Guards on; wear eye and ear protection; extract the dust and wear a mask.",
    "Measure the blank, the cutters and the zero at the machine; they may not be as stated.",
    "The machine's manual, local codes and licensed practice come first.",
)
