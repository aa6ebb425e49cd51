"""What each kind of finding means, and what to do about it, in words that stand beside it anywhere."""

from __future__ import annotations

# kind -> what it means, as README has it; what to do in general.
RULES = {
    "rapid-contact": (
        "a rapid went through wood that stood at that moment, or a program begins with one from where the"
        " program before it ended",
        "Lift above the wood before the rapid, or make it a feed move.",
    ),
    "fixture-contact": (
        "cutter, neck, shank or holder comes nearer than `machine.clearance` to a clamp or a stop of the job,"
        " or to a dowel pin whose `pin_height` is stated, or to what of the setup's jig stands beside the"
        " wood; or goes into the jig under the wood, above the blank's lower face; what passes under the"
        " `bottom` of a clamp that bridges over is no contact",
        "Move the clamp, or lead the program round it or over it.",
    ),
    "holder-contact": (
        "holder, shank or neck met wood that stood at that moment, and how much longer the cutter must be",
        "Let the cutter stick out farther, take a longer one, or clear the wood beside it first.",
    ),
    "shank-contact": (
        "holder, shank or neck met wood that stood at that moment, and how much longer the cutter must be",
        "Take a cutter with longer edges or a relieved neck, or clear the wood beside it first.",
    ),
    "table-contact": (
        "the tip goes below the blank, deeper than the setup's `spoilboard`",
        "Check the zero and the signs of Z; state the spoilboard if one lies there.",
    ),
    "loose-piece": (
        "a piece comes free: the part, a piece of the frame or an offcut; only a warning where no later move"
        " touches it, unless it is the part and nothing holds it",
        "Leave tabs, or hold it with tape, vacuum or screws until the program ends.",
    ),
    "weak-hold": (
        "at the end of a setup so little tape or vacuum is left under a piece that, by the figures of the"
        " job, it bears less than twice the largest cutting force (a warning)",
        "Hold more of it from below, add a clamp or a screw, or cut in more levels.",
    ),
    "travel": (
        "a program goes beyond the ends of the machine's travel",
        "Put the blank elsewhere on the table, or shorten the way.",
    ),
    "spindle-off": (
        "a feed move takes wood while the spindle stands still, and the programs of the job switch it on"
        " elsewhere",
        "Switch the spindle on (S and M3) before the cut.",
    ),
    "unsafe-height": (
        "a program begins, changes cutters or ends with the tip below the top of the wood, over the blank; or"
        " begins so beside it, where it does not come straight down",
        "Lift above the wood there.",
    ),
    "wrong-turn": (
        "the programs fit the part with the blank turned over another way, not turned over, swung round, or"
        " with its zero at another corner or face",
        "Correct the turn or the zero, in the job file or at the machine, and mark the blank.",
    ),
    "dowel-miss": (
        "a dowel hole is off its place or does not go through, no hole meets a pin, or the blank does not go"
        " onto its pins",
        "Check where the holes are drilled, how deep, and where the pins stand.",
    ),
    "seat": (
        "the turned piece does not drop into its jig, stands up in it or lies too low, rocks, or has more"
        " play than `jig_play`",
        "Cut the jig deeper or wider where it says, or correct where it stands.",
    ),
    "setup": ("the programs of a setup remove nothing at all", "Check its zero and its programs."),
    "old-thickness": (
        "the zero of a setup is set by the thickness that the blank had before it was planed",
        "Set the zero on the wood as it is then.",
    ),
    "step": (
        "a pour finds nothing to fill or stands too high, a step to a thickness takes nothing, the blank is"
        " laid on resin that stands over its face, or such resin is never taken off; a face taken off or a"
        " cut of the saw parts what held together (a warning)",
        "Check the step's side, level and thickness, and what it follows.",
    ),
    "spill": (
        "poured resin runs out through the blank, over its edge, or into what the other side opened",
        "Close the opening, pour less high, or pour inside an `outline`.",
    ),
    "pour-depth": (
        "resin is poured deeper at once than the step's `most_depth`",
        "Pour in two steps, or take a resin for deeper pours.",
    ),
    "inlay-lost": (
        "a step to a thickness takes away all the resin of an inlay somewhere; a warning where it takes all"
        " of a carved place",
        "Leave the blank thicker, or cut the pocket deeper.",
    ),
    "break-through": ("nothing is left of the part there", "Raise the cut there, from one side or both."),
    "gouge": ("cut into the part, deeper than the limit", "Correct the program at that line."),
    "thin-wall": (
        "floor, side wall or rib of the part (leftover taken off) thinner than the limit, and by over"
        " 0.1 mm than the part wants it (a note where the part is as thin, undecided where that is not"
        " certain); told with the lines that cut its two faces, when it became that thin, and how thick it"
        " was after each run of a cutter",
        "Check the depths from both sides there, and the thickness of the blank.",
    ),
    "fragile": (
        "a rib, rim or spire that stands tall for its thickness while cutting goes on",
        "Take wood in steps on both sides of it, or leave it thicker until the end.",
    ),
    "witness-step": ("the walls that the two sides cut do not meet", "Check the zeros of the two sides."),
    "leftover-cutter": (
        "left standing, and no cutter used on that side can get in",
        "Add a pass with a smaller cutter, or finish it by hand.",
    ),
    "leftover-program": (
        "left standing, though a cutter could get in: the program did not go there",
        "Let the program go over that place too.",
    ),
    "cusp": (
        "ridges between neighbouring passes higher than `limits.cusp`, where the job states it",
        "Lay the passes closer together.",
    ),
    "bite": (
        "a full-width slot deeper than `slot_depth`, or a way down into the wood steeper than `plunge_angle`"
        " of the cutter (a warning); steeper than 45 degrees only wood under the cutter's middle counts, so a"
        " hole drilled there first is enough",
        "Cut in more steps, or ramp down at a lower angle.",
    ),
    "chip-load": (
        "the feed for each tooth, as programmed or reached, is outside the cutter's `chip_load` (a warning)",
        "Change the feed or the speed of the spindle.",
    ),
    "spindle-speed": (
        "a program asks for a speed that `machine.spindle` does not have (a warning)",
        "Change the speed, and the feed with it.",
    ),
    "hidden": (
        "the part has surface that neither side can see; it is not counted as leftover",
        "No turn of the blank about x or y reaches it; carve it by hand, or change the part.",
    ),
    "wrong-unit": (
        "a program fits the blank, or the part's mesh the cuts, only when its numbers are read in another"
        " unit, inches or millimetres",
        "Write the unit that its numbers are in: G21 or G20 in the program, `units` of the target in the"
        " job.",
    ),
    "program": (
        "something to look at that was met when the programs were read (a warning)",
        "Look at that line; if it is meant, let it stand.",
    ),
}
UNUSABLE = "unusable-input"  # among kinds, for what keeps a job from being checked
UNUSABLE_RULE = (
    "a job, program or mesh cannot be used, and nothing was checked",
    "Do what the message says, and check again.",
)
