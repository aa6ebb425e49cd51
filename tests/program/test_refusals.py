"""Every refusal with its whole message, numbers included.

The words and what they would do: ISO 6983-1 and NISTIR 6556 (2000); what is common usage of controls
(O numbers, G65, M98, G68, corner words, checksums, // and $ lines) is common practice, no source.
"""

import pytest

from simkit.errors import InputProblems
from simkit.program.reader import PROBLEM_LIMIT, Options, read_program

# ruff: noqa: E501 (a message stands on one line, as it is told)

HEAD = "G21 G90\nT1 M6\nS18000 M3\nG0 Z20\nG0 X0 Y0\nF600\n"  # the block under test is line 7

# name: (block, messages without the file's name)
BLOCKS = {
    "upright_plane_odd_offset": (
        "G18 G2 X10 Z20 I5 J1",
        [
            "7:19: found 'J1' in an arc of the XZ plane, expected a centre given by I and K; delete it, or write G17 if an arc in another plane is meant",
        ],
    ),
    "upright_plane_no_centre": (
        "G19 G3 Y5 Z5",
        [
            "7:8: found 'Y5' in an arc with neither centre nor radius, expected J and K to the centre, or R; post again, or write G1 if a straight line is meant",
        ],
    ),
    "upright_plane_centre_and_radius": (
        "G18 G2 X10 Z20 K1 R5",
        [
            "7:19: found 'R5' in one block with I or K, expected one of them, for together they may say two different things; delete R, or I and K",
        ],
    ),
    "upright_plane_centre_off": (
        "G18 G2 X10.0 Z19 I5.0 K0.",
        [
            "7:18: found 'I5.0', a centre 0.0990 mm nearer to one end of its arc than to the other, expected a difference of at most 0.0283 mm, the most that is put down to rounding (2 decimals); correct I or K or the end point, or post again with more decimals; if so much does not matter, raise the tolerance (--arc-tolerance, or arc_tolerance in the job file)",
        ],
    ),
    "path_with_q": (
        "G64 P0.05 Q0.02",
        [
            "7:11: found 'Q0.02' with G64, expected P alone with G64, for Q means something else on other controls; delete it: everything is checked as written",
        ],
    ),
    "absolute_centre_half": (
        "G90.1 G2 X10 Y0 I5",
        [
            "7:17: found 'I5' alone for the centre of an arc, expected I and J together, for in G90.1 one of them alone says no place; write both, or G91.1 before it if it counts from the start of the arc",
        ],
    ),
    "tapping": (
        "G84 X10 Y10 Z-5 R2",
        [
            "7:1: found 'G84' (a cycle for tapping, back boring or boring by hand), expected a drilling or boring cycle (G73, G81 to G83, G85, G86, G89), for this one needs more than a router; post again with G81 or G83, or with single moves (G0 and G1)",
        ],
    ),
    "boring_by_hand": (
        "G88 X10 Y10 Z-5 R2",
        [
            "7:1: found 'G88' (a cycle for tapping, back boring or boring by hand), expected a drilling or boring cycle (G73, G81 to G83, G85, G86, G89), for this one needs more than a router; post again with G81 or G83, or with single moves (G0 and G1)",
        ],
    ),
    "cycle_no_r": (
        "G81 X10 Z-5",
        [
            "7:5: found 'X10' in G81 with no R in force, expected R and Z in the first block of G81, for they say where the hole begins and ends; write R here",
        ],
    ),
    "cycle_feed_of_another_mode": (
        "G95\nG81 X10 Z-5 R2",
        [
            "8:5: found 'X10' in a cutting move after a change of feed mode with no new F, expected F in the new mode, for controls differ on what becomes of the old one; write an F word on or before this line",
        ],
    ),
    "cycle_words_alone": (
        "G81 X10 Z-5 R2\nR3",
        [
            "8:1: found 'R3' with no X, Y or Z, expected X, Y or Z in each block of G81, for that is what makes a hole; write the place of the hole, or delete the word",
        ],
    ),
    "cycle_dwell_alone": (
        "G82 X10 Z-5 R2 P1\nP2",
        [
            "8:1: found 'P2' with no X, Y or Z, expected X, Y or Z in each block of G82, for that is what makes a hole; write the place of the hole, or delete the word",
        ],
    ),
    "cycle_and_end_of_cycles": (
        "G80 G81 X10 Z-5 R2",
        [
            "7:5: found 'G81' in one block with 'G80', expected at most one of the kinds of motion in a block; delete one of them, or write two blocks",
        ],
    ),
    "cycle_no_z": (
        "G81 X10 R2",
        [
            "7:5: found 'X10' in G81 with no Z in force, expected R and Z in the first block of G81, for they say where the hole begins and ends; write Z here",
        ],
    ),
    "cycle_nothing_said": (
        "G82 X10 P1",
        [
            "7:5: found 'X10' in G82 with no R and Z in force, expected R and Z in the first block of G82, for they say where the hole begins and ends; write R and Z here",
        ],
    ),
    "cycle_no_place": (
        "G81 R2",
        [
            "7:5: found 'R2' with no X, Y or Z, expected X, Y or Z in each block of G81, for that is what makes a hole; write the place of the hole, or delete the word",
        ],
    ),
    "cycle_upside_down": (
        "G81 X10 Z5 R2",
        [
            "7:9: found 'Z5', a bottom 3 mm above the height R of the hole, expected Z below R, for the cycle drills down from R; correct R or Z; in G91 Z counts down from R",
        ],
    ),
    "cycle_no_q": (
        "G83 X10 Z-5 R2",
        [
            "7:5: found 'X10' in G83 with no Q, expected the depth of one step; write Q, or G81 for one step",
        ],
    ),
    "cycle_q_zero": (
        "G73 X10 Z-5 R2 Q0",
        [
            "7:16: found 'Q0', expected a depth of step above zero; write the depth of one step",
        ],
    ),
    "cycle_q_tiny": (
        "G83 X10 Z-5 R2 Q.00001",
        [
            "7:16: found 'Q.00001' asks for 700001 steps down, expected at most 100000 in a block; correct Q or L",
        ],
    ),
    "cycle_repeats_none": (
        "G81 X10 Z-5 R2 L0",
        [
            "7:16: found 'L0', expected the whole number of repeats, one or more; write how often, or delete it",
        ],
    ),
    "cycle_repeats_broken": (
        "G81 X10 Z-5 R2 L1.5",
        [
            "7:16: found 'L1.5', expected the whole number of repeats, one or more; write how often, or delete it",
        ],
    ),
    "cycle_repeats_many": (
        "G81 X10 Z-5 R2 L200000",
        [
            "7:16: found 'L200000' asks for 200000 steps down, expected at most 100000 in a block; correct Q or L",
        ],
    ),
    "cycle_dwell_negative": (
        "G82 X10 Z-5 R2 P-1",
        [
            "7:16: found 'P-1', expected a time of zero or more; correct the time of the dwell",
        ],
    ),
    "cycle_upright": (
        "G18 G81 X10 Z-5 R2",
        [
            "7:9: found 'X10' in G81 with G18 in force, expected G17, for G18 asks for a hole along Y, and the cutter stands along Z; write G17 before it; a hole from the side is no work for a three-axis router",
        ],
    ),
    "cycle_inverse_time": (
        "G93 G81 X10 Z-5 R2 F1",
        [
            "7:9: found 'X10' in G81 with G93 in force, expected feed per minute (G94), for a cycle is more than one move; write G94 and F before it",
        ],
    ),
    "cycle_q_without_steps": (
        "G81 X10 Z-5 R2 Q1",
        [
            "7:16: found 'Q1' with no drilling in steps, expected Q only with G73 and G83, which drill in steps; write G83 if steps are meant, else delete it",
        ],
    ),
    "cycle_centre": (
        "G81 X10 Z-5 R2 I3",
        [
            "7:16: found 'I3' in a block that is no arc, expected I only with G2 or G3; write G2 or G3 if an arc is meant, else delete it",
        ],
    ),
    "cycle_other_cycle_anew": (
        "G81 X10 Z-5 R2\nG83 X20 Q1",
        [
            "8:5: found 'X20' in G83 with no R and Z in force, expected R and Z in the first block of G83, for they say where the hole begins and ends; write R and Z here",
        ],
    ),
    "cycle_incremental_behind_g99": (
        "G91 G99 G81 X1 Z-5 R-18\nX1",
        [
            "8:1: found 'X1' in G81 with G91, and no R after G99, expected R in this block, for controls differ on where an R stated before counts from; write the drilling in G90",
        ],
    ),
    "cycle_after_machine_place": (
        "G53 G0 Z0\nG81 X10 Z-5 R2",
        [
            "8:5: found 'X10' in a cutting move that starts at an unknown Z since G53, expected rapids that say where X, Y and Z are before the next cut; write rapids such as G0 X0 Y0 and G0 Z20 before it",
        ],
    ),
    "cycle_behind_g49": (
        "G43 H1\nG49\nG81 X10 Z-5 R2",
        [
            "9:5: found 'X10' in a cutting move that starts at an unknown Z since G49, expected the zeros that the other cuts count from, for where this one lies stands in the control; write G43 and H before it",
        ],
    ),
    "q_alone": (
        "G1 X5 Q1",
        [
            "7:7: found 'Q1' with no drilling in steps, expected Q only with G73 and G83, which drill in steps; write G83 if steps are meant, else delete it",
        ],
    ),
    "repeats_alone": (
        "G1 X5 L2",
        [
            "7:7: found 'L2' with no cycle it repeats, expected L only with a cycle; write repeats out as moves, or delete it",
        ],
    ),
    "machine_zero_and_rapid": (
        "G0 G28 Z0",
        [
            "7:1: found 'G0' in one block with 'G28', expected one word in a block that says what X, Y and Z are for; delete G0, or write two blocks",
        ],
    ),
    "stored_place": (
        "G28.1",
        [
            "7:1: found 'G28.1' (a stored place of the machine, or the way back from one), expected places measured from the work zero, for what is stored is known to the control alone; write a rapid to a safe height instead, such as G0 Z20",
        ],
    ),
    "way_back": (
        "G29 X0",
        [
            "7:1: found 'G29' (a stored place of the machine, or the way back from one), expected places measured from the work zero, for what is stored is known to the control alone; write a rapid to a safe height instead, such as G0 Z20",
        ],
    ),
    "cut_after_machine_zero": (
        "G28 Z0\nG1 X5",
        [
            "8:4: found 'X5' in a cutting move that starts at an unknown X, Y, Z since G28, expected rapids that say where X, Y and Z are before the next cut; write rapids such as G0 X0 Y0 and G0 Z20 before it",
        ],
    ),
    "cut_after_machine_zero_some_known": (
        "G91 G28 Z0\nG90 G0 Z5\nG1 X5",
        [
            "9:4: found 'X5' in a cutting move that starts at an unknown X, Y since G28, expected rapids that say where X, Y and Z are before the next cut; write rapids such as G0 X0 Y0 and G0 Z20 before it",
        ],
    ),
    "machine_coordinates_arc": (
        "G2 X10 I5\nG53 X0",
        [
            "8:1: found 'G53' with neither G0 nor G1 in force, expected G0 or G1 with G53, which says how to go there; write it as G53 G0 Z0",
        ],
    ),
    "cut_after_machine_coordinates": (
        "G53 G0 Z0\nG1 X5",
        [
            "8:4: found 'X5' in a cutting move that starts at an unknown Z since G53, expected rapids that say where X, Y and Z are before the next cut; write rapids such as G0 X0 Y0 and G0 Z20 before it",
        ],
    ),
    "incremental_after_machine_coordinates": (
        "G53 G0 Z0\nG91 G0 Z-5",
        [
            "8:8: found 'Z-5' in G91 where Z is not known since G53, expected G90 for the first Z, for nothing says where the machine stands; begin with rapids in G90, such as G90 G0 Z20 and G0 X0 Y0",
        ],
    ),
    "work_zero": (
        "G55",
        [
            "7:1: found 'G55' (a work zero), expected the place of this work zero, for it stands in the control; add work_offsets = { \"G55\" = [0, 0, 0] } to the setup, with the true distance from its zero",
        ],
    ),
    "work_zero_many": (
        "G54.1 P1",
        [
            "7:1: found 'G54.1' (one of many further work zeros), expected G54 to G59.3, for the numbers of further zeros differ from control to control; post with one of G54 to G59.3, and state where it lies: work_offsets in the job file, or --work-offset",
        ],
    ),
    "work_zero_named": (
        "G59.3",
        [
            "7:1: found 'G59.3' (a work zero), expected the place of this work zero, for it stands in the control; add work_offsets = { \"G59.3\" = [0, 0, 0] } to the setup, with the true distance from its zero",
        ],
    ),
    "zero_shift_nothing": (
        "G92",
        [
            "7:1: found 'G92' with no axis words, expected the coordinates of the present place; write it as G92 X0 Y0 Z0, or delete it",
        ],
    ),
    "zero_shift_nowhere": (
        "G53 G0 Z0\nG92 Z0",
        [
            "8:5: found 'Z0' where Z is not known since G53, expected a known place, for G92 names the place where the cutter stands; write G92 before it, or state the zero in the job file",
        ],
    ),
    "zero_shift_restored": (
        "G92.3",
        [
            "7:1: found 'G92.3' (a shift of the work zero), expected one zero for the whole program; post again without it and state where the zero is: zero and work_offsets in the job file, or --zero and --work-offset",
        ],
    ),
    "set_offset": (
        "G10 L2 P1 X0",
        [
            "7:1: found 'G10' (a shift of the work zero), expected one zero for the whole program; post again without it and state where the zero is: zero and work_offsets in the job file, or --zero and --work-offset",
        ],
    ),
    "local_zero": (
        "G52 X1",
        [
            "7:1: found 'G52' (a shift of the work zero), expected one zero for the whole program; post again without it and state where the zero is: zero and work_offsets in the job file, or --zero and --work-offset",
        ],
    ),
    "length_no_number": (
        "G43 Z20",
        [
            "7:1: found 'G43' with no H, expected the number of the length behind it; write G43 H1, with the number of the cutter",
        ],
    ),
    "length_broken_number": (
        "G43 H1.5",
        [
            "7:5: found 'H1.5', expected the whole number of a length offset; write the cutter's number, such as H1",
        ],
    ),
    "length_negative_number": (
        "G43 H-1",
        [
            "7:5: found 'H-1', expected the whole number of a length offset; write the cutter's number, such as H1",
        ],
    ),
    "length_subtracted": (
        "G44 H1",
        [
            "7:1: found 'G44' (a length offset that adds, subtracts or is written in the program), expected G43 with H, or none, so that Z is the height of the cutter's tip; post again with G43 and H, or without length offsets",
        ],
    ),
    "length_written": (
        "G43.1 Z5",
        [
            "7:1: found 'G43.1' (a length offset that adds, subtracts or is written in the program), expected G43 with H, or none, so that Z is the height of the cutter's tip; post again with G43 and H, or without length offsets",
        ],
    ),
    "cut_behind_g49": (
        "G43 H1\nG49\nG1 Z-1",
        [
            "9:4: found 'Z-1' in a cutting move that starts at an unknown Z since G49, expected the zeros that the other cuts count from, for where this one lies stands in the control; write G43 and H before it",
        ],
    ),
    "feed_of_inverse_time": (
        "G93 G1 X5",
        [
            "7:8: found 'X5' in a cutting move with no F in G93, expected F in every cutting block, for in G93 it is one over the minutes of this one move; post again with feed per minute (G94)",
        ],
    ),
    "feed_of_inverse_time_each": (
        "G93 G1 X5 F2\nX6",
        [
            "8:1: found 'X6' in a cutting move with no F in G93, expected F in every cutting block, for in G93 it is one over the minutes of this one move; post again with feed per minute (G94)",
        ],
    ),
    "feed_after_inverse_time": (
        "G93 G1 X5 F2\nG94 X6",
        [
            "8:5: found 'X6' in a cutting move after a change of feed mode with no new F, expected F in the new mode, for controls differ on what becomes of the old one; write an F word on or before this line",
        ],
    ),
    "feed_mode_twice": (
        "G94 G93",
        [
            "7:5: found 'G93' in one block with 'G94', expected at most one of the feed modes in a block; delete one of them, or write two blocks",
        ],
    ),
    "feed_per_turn_standing": (
        "M5\nG95 G1 X5 F.1",
        [
            "8:8: found 'X5' in a cutting move in G95 with the spindle standing, expected S and M3 before it, for in G95 the feed counts per turn of the spindle; write S and M3, or post again with feed per minute (G94)",
        ],
    ),
    "feed_per_turn_no_feed": (
        "G95 G1 X5",
        [
            "7:8: found 'X5' in a cutting move after a change of feed mode with no new F, expected F in the new mode, for controls differ on what becomes of the old one; write an F word on or before this line",
        ],
    ),
    "return_twice": (
        "G98 G99",
        [
            "7:5: found 'G99' in one block with 'G98', expected at most one of G98 and G99 in a block; delete one of them, or write two blocks",
        ],
    ),
    "unknown_m": (
        "M123",
        [
            "7:1: found 'M123' (an M word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = [\"M123\"] at the top of the job file",
        ],
    ),
    "printer": (
        "M104 S200",
        [
            "7:1: found 'M104' (a 3-D printer's word on most controls), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = [\"M104\"] at the top of the job file",
        ],
    ),
    "message": (
        "M117 Hello",
        [
            "7:1: found 'M117' (an M word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = [\"M117\"] at the top of the job file",
        ],
    ),
    "message_text": (
        "MSG Hello",
        [
            "7:1: found 'MSG Hello', expected a number after each letter; put text into a comment ( ), or delete it; if it moves nothing, write harmless_words = [\"MSG\"] at the top of the job file",
        ],
    ),
    "text_behind_words": (
        "G1 X5 Hello",
        [
            "7:7: found 'Hello', expected a number after each letter; put text into a comment ( ), or delete it",
        ],
    ),
    "block_delete_twice": (
        "//G1 X5",
        [
            "7:1: found '//G1 X5' (a // comment), expected comments in ( ) or after ;, for controls do not know // as a comment; write it as ( ) or after a ;",
        ],
    ),
    "block_delete_level": (
        "/2 G1 X5",
        [
            "7:1: found '/2' (block delete with a number), expected / alone, for which of several switches is set is known at the machine alone; take the number away, or delete the line",
        ],
    ),
    "lone_p": (
        "P5",
        [
            "7:1: found 'P5' with no word it belongs to, expected P only with G4, G64 or a cycle that dwells; delete it, or write the G4 it belongs to",
        ],
    ),
    "k_in_plan": (
        "G2 X10 Y0 I5 J0 K1",
        [
            "7:17: found 'K1' in an arc of the XY plane, expected a centre given by I and J; delete it, or write G18 or G19 if an arc in another plane is meant",
        ],
    ),
    "unknown_g": (
        "G123",
        [
            "7:1: found 'G123' (a G word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, delete it",
        ],
    ),
    "polar": (
        "G16",
        [
            "7:1: found 'G16' (polar coordinates), expected X and Y coordinates; post again with X and Y",
        ],
    ),
    "compensation": (
        "G41 D1 G1 X10",
        [
            "7:1: found 'G41' (cutter compensation), expected the path of the cutter's centre, for the width it would be shifted by stands in the control; post again without cutter compensation",
        ],
    ),
    "compensation_right": (
        "G42 X10",
        [
            "7:1: found 'G42' (cutter compensation), expected the path of the cutter's centre, for the width it would be shifted by stands in the control; post again without cutter compensation",
        ],
    ),
    "rotary_axis": (
        "G1 X10 A90",
        [
            "7:8: found 'A90' (a rotary axis), expected moves of X, Y and Z alone; post again for a three-axis router",
        ],
    ),
    "second_axis": (
        "G1 U10",
        [
            "7:4: found 'U10' (a second linear axis), expected moves of X, Y and Z alone; post again for a three-axis router",
        ],
    ),
    "extruder": (
        "G1 X10 E3.5",
        [
            "7:8: found 'E3.5' (an extruder's word, or a number with an exponent), expected X, Y and Z in plain decimals; give the router's program, or write the number without exponent",
        ],
    ),
    "exponent": (
        "G1 X1e3",
        [
            "7:6: found 'e3' (an extruder's word, or a number with an exponent), expected X, Y and Z in plain decimals; give the router's program, or write the number without exponent",
        ],
    ),
    "turned_coordinates": (
        "G68 X0 Y0 R30",
        [
            "7:1: found 'G68' (turned, scaled or mirrored coordinates), expected coordinates as they are cut; post again with the pattern drawn where it is wanted",
        ],
    ),
    "lathe_thread": (
        "G32 X10 F1",
        [
            "7:1: found 'G32' (a turning word: this is a lathe program), expected a program for a router or mill with X, Y and Z; give the router's program, or choose a milling post",
        ],
    ),
    "lathe_speed": (
        "G96 S200",
        [
            "7:1: found 'G96' (a turning word: this is a lathe program), expected a program for a router or mill with X, Y and Z; give the router's program, or choose a milling post",
        ],
    ),
    "probe": (
        "G38.2 Z-10 F50",
        [
            "7:1: found 'G38.2' (probing), expected moves whose end is known beforehand; take the probing out and run it as a program of its own",
        ],
    ),
    "spline": (
        "G5 X1 Y1 I1 J1 P1 Q1",
        [
            "7:1: found 'G5' (a spline), expected lines and arcs; post again with lines and arcs (G1, G2, G3)",
        ],
    ),
    "negative_g": (
        "G-1 X5",
        [
            "7:1: found 'G-1' (a G word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, delete it",
        ],
    ),
    "macro_call": (
        "G65 P100",
        [
            "7:1: found 'G65' (a subprogram or macro call), expected one file that holds every move; post again as one program without calls",
        ],
    ),
    "subprogram": (
        "M98 P100",
        [
            "7:1: found 'M98' (a subprogram or macro call), expected one file that holds every move; post again as one program without calls",
        ],
    ),
    "spindle_and_coolant": (
        "M13",
        [
            "7:1: found 'M13' (spindle and coolant in one), expected a word of the standard; write M3 and M8 instead",
        ],
    ),
    "program_number": (
        "O1000",
        [
            "7:1: found 'O1000' (a subprogram's number, or a program's that is not alone in the first block), expected one file that holds every move, under its file name; delete it if it is the program's, or put it into a comment; else post again without subprograms",
        ],
    ),
    "letter_o": (
        "G1 X1O.5",
        [
            "7:4: found 'X1O.5' (a letter O), expected a number after X; replace the letter O by a zero",
        ],
    ),
    "letter_o_first": (
        "G1 XO.5",
        [
            "7:4: found 'XO.5' (a letter O), expected a number after X; replace the letter O by a zero",
        ],
    ),
    "letter_o_several": (
        "S18OOO M3",
        [
            "7:1: found 'S18OOO' (a letter O), expected a number after S; replace the letter O by a zero",
        ],
    ),
    "unknown_words_in_one_line_for_the_job": (
        "M106 S255\nM117 Slot G1 X5\nMSG ready\nM106",
        [
            "7:1: found 'M106' (a 3-D printer's word on most controls), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = [\"M106\"] at the top of the job file",
            '8:1: found \'M117\' (an M word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = ["M106", "M117"] at the top of the job file',
            '9:1: found \'MSG ready\', expected a number after each letter; put text into a comment ( ), or delete it; if it moves nothing, write harmless_words = ["M106", "M117", "MSG"] at the top of the job file',
            '10:1: found \'M106\' (a 3-D printer\'s word on most controls), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, write harmless_words = ["M106", "M117", "MSG"] at the top of the job file',
        ],
    ),
    "centre_from_the_zero": (
        "G1 X50 Y40\nG2 X60 Y50 I60.0 J40.0",
        [
            "8:12: found 'I60.0', a centre 13.8015 mm nearer to one end of its arc than to the other, expected a difference of at most 0.0283 mm, the most that is put down to rounding (2 decimals); write G90.1 before it, for measured from the zero it fits",
        ],
    ),
    "centre_from_the_start": (
        "G1 X50 Y40\nG90.1 G2 X60 Y50 I10 J0",
        [
            "8:18: found 'I10', a centre 14.1421 mm nearer to one end of its arc than to the other, expected a difference of at most 0.0283 mm, the most that is put down to rounding (2 decimals); write G91.1 before it, for measured from the start of the arc it fits",
        ],
    ),
    "letter_o_in_g": (
        "GO X5",
        [
            "7:1: found 'GO' (a letter O), expected a number after G; replace the letter O by a zero",
        ],
    ),
    "parameter": (
        "#1=5",
        [
            "7:1: found '#1=5' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "parameter_value": (
        "G1 X#1",
        [
            "7:4: found 'X#1' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "expression": (
        "G1 X[1+2]",
        [
            "7:4: found 'X[1+2]' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "flow": (
        "WHILE [#1 LT 5] DO1",
        [
            "7:1: found 'WHILE [#1 LT 5] DO1' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "goto": (
        "GOTO 100",
        [
            "7:1: found 'GOTO 100' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "corner": (
        "G1 X10 ,R2",
        [
            "7:8: found ',R2' (a corner word after a comma), expected corners drawn as moves, for this word asks the control to draw a round or a chamfer; post again with the corner as an arc or a line",
        ],
    ),
    "decimal_comma": (
        "G1 X1,5",
        [
            "7:4: found 'X1,5' (a comma for a decimal point), expected a number with a point; post again with points as decimal signs",
        ],
    ),
    "lone_comma": (
        "G1 X1, Y2",
        [
            "7:6: found a comma, expected spaces or nothing between words; delete the comma",
        ],
    ),
    "two_points": (
        "G1 X1.2.3",
        [
            "7:4: found 'X1.2.3' (a number with 2 points), expected one number: a sign or none, digits, at most one point; correct the number, or post the program again",
        ],
    ),
    "two_signs": (
        "G1 X--1",
        [
            "7:4: found 'X--1', expected one number: a sign or none, digits, at most one point; correct the number, or post the program again",
        ],
    ),
    "lone_point": (
        "G1 X. Y1",
        [
            "7:4: found 'X.', expected one number: a sign or none, digits, at most one point; correct the number, or post the program again",
        ],
    ),
    "letter_alone": (
        "G1 X Y1",
        [
            "7:4: found 'X' with no number, expected a number after X; add the number or delete the letter",
        ],
    ),
    "number_alone": (
        "G1 10",
        [
            "7:1: found 'G1 10' (a G word this reader does not know), expected words whose meaning is certain; look up what it does on your control; if it moves nothing, delete it",
        ],
    ),
    "slashes": (
        "// comment",
        [
            "7:1: found '// comment' (a // comment), expected comments in ( ) or after ;, for controls do not know // as a comment; write it as ( ) or after a ;",
        ],
    ),
    "division": (
        "G1 X4/2",
        [
            "7:6: found '/2' (parameters, expressions or flow words), expected plain numbers, for what a control computes depends on what is stored in it; post the program again as plain moves, without macros",
        ],
    ),
    "checksum": (
        "G1 X5*71",
        [
            "7:6: found '*71' (a checksum or a product), expected words of a letter and a number; post without checksums",
        ],
    ),
    "control_setting": (
        "$H",
        [
            "7:1: found '$H' (a command to a control box), expected words of a program, for a setting of the machine is not part of it; delete the line",
        ],
    ),
    "odd_character": (
        "G1 X5 @",
        [
            "7:7: found the character '@', expected letters, numbers and comments; delete it, or put it into a comment ( )",
        ],
    ),
    "odd_dash": (
        "G1 X−5",
        [
            "7:4: found 'X−5' (a dash that is no minus sign), expected the plain minus sign '-'; type '-' instead",
        ],
    ),
    "percent_inside": (
        "G1 X5 %",
        [
            "7:7: found '%' among other words, expected '%' alone on its line; put the % on a line of its own, or delete it",
        ],
    ),
    "open_comment": (
        "G1 X5 (deep",
        [
            "7:7: found '(deep' with no ')', expected a closed comment; close the comment on its line",
        ],
    ),
    "nested_comment": (
        "G1 X5 (a (b) c)",
        [
            "7:10: found the comment '(a (b)' with a second '(' inside, expected comments that are not nested, for controls differ on where such a comment ends; take this inner bracket out",
        ],
    ),
    "closing_bracket": (
        "G1 X5 )",
        [
            "7:7: found ')' with no '(' before it, expected a '(' that opens the comment; delete the bracket",
        ],
    ),
    "repeated_word": (
        "G1 X5 Y1 X6",
        [
            "7:10: found 'X6', a second X word, expected X once in a block, for nothing says whether it or 'X5' holds; delete one of them, or write two blocks",
        ],
    ),
    "same_group": (
        "G0 G1 X5",
        [
            "7:4: found 'G1' in one block with 'G0', expected at most one of the kinds of motion in a block; delete one of them, or write two blocks",
        ],
    ),
    "same_word": (
        "G1 G1 X5",
        [
            "7:4: found 'G1' in one block with 'G1', expected at most one of the kinds of motion in a block; delete one of them, or write two blocks",
        ],
    ),
    "units_twice": (
        "G20 G21",
        [
            "7:5: found 'G21' in one block with 'G20', expected at most one of the units in a block; delete one of them, or write two blocks",
        ],
    ),
    "spindle_twice": (
        "M3 M5",
        [
            "7:4: found 'M5' in one block with 'M3', expected at most one of the spindle words in a block; delete one of them, or write two blocks",
        ],
    ),
    "coolant_twice": (
        "M7 M9",
        [
            "7:4: found 'M9' in one block with 'M7', expected at most one of the coolant words in a block; delete one of them, or write two blocks",
        ],
    ),
    "five_m_words": (
        "M3 M6 M8 M48 M7",
        [
            "7:14: found 'M7', M word number 5 here, expected at most 4 M words in a block; write two blocks",
        ],
    ),
    "n_behind": (
        "G1 N10 X5",
        [
            "7:4: found 'N10' behind other words, expected a line number at the start of its line; start a new line before it, or delete it",
        ],
    ),
    "n_decimal": (
        "N1.5 G1 X5",
        [
            "7:1: found 'N1.5', expected a line number of digits alone; delete the line number",
        ],
    ),
    "huge_number": (
        "G1 X100000000",
        [
            "7:4: found 'X100000000', expected a number up to 10000000; correct the number, or post the program again",
        ],
    ),
    "negative_feed": (
        "G1 X5 F-100",
        [
            "7:7: found 'F-100', expected a feed above zero; write the feed in units per minute",
        ],
    ),
    "zero_feed": (
        "G1 X5 F0",
        [
            "7:7: found 'F0', expected a feed above zero; write the feed in units per minute",
        ],
    ),
    "negative_speed": (
        "S-100",
        [
            "7:1: found 'S-100', expected a spindle speed of zero or more; use M4 to turn the spindle the other way",
        ],
    ),
    "broken_tool": (
        "T1.5 M6",
        [
            "7:1: found 'T1.5', expected the whole number of a cutter; write the cutter's number, such as T1",
        ],
    ),
    "dwell_without_time": (
        "G4",
        [
            "7:1: found 'G4' with no P, expected the time of the dwell after P; write it as G4 P0.5, or delete it",
        ],
    ),
    "dwell_with_axis": (
        "G4 X2",
        [
            "7:1: found 'G4' in one block with axis words, expected a dwell in a block of its own, for some controls read X as its time; write G4 P on a line of its own",
        ],
    ),
    "negative_dwell": (
        "G4 P-1",
        [
            "7:4: found 'P-1', expected a time of zero or more; correct the time of the dwell",
        ],
    ),
    "radius_on_line": (
        "G1 X5 R2",
        [
            "7:7: found 'R2' in a block that is no arc, expected R only with G2 or G3 or a cycle; write G2 or G3 if an arc is meant, else delete it",
        ],
    ),
    "centre_on_line": (
        "G1 X5 I2 J0",
        [
            "7:7: found 'I2' in a block that is no arc, expected I only with G2 or G3; write G2 or G3 if an arc is meant, else delete it",
            "7:10: found 'J0' in a block that is no arc, expected J only with G2 or G3; write G2 or G3 if an arc is meant, else delete it",
        ],
    ),
    "no_centre": (
        "G2 X5 Y5",
        [
            "7:4: found 'X5' in an arc with neither centre nor radius, expected I and J to the centre, or R; post again, or write G1 if a straight line is meant",
        ],
    ),
    "centre_and_radius": (
        "G2 X10 Y0 I5 J0 R5",
        [
            "7:17: found 'R5' in one block with I or J, expected one of them, for together they may say two different things; delete R, or I and J",
        ],
    ),
    "radius_too_short": (
        "G2 X10 Y0 R4.9",
        [
            "7:11: found 'R4.9', 0.1000 mm too short to reach from start to end, expected at least 5.0000 mm, half the distance from start to end, to within 0.0283 mm; correct R or the end point, or post again with more decimals",
        ],
    ),
    "radius_full_circle": (
        "G2 X0 Y0 R5",
        [
            "7:10: found 'R5' in an arc that ends where it starts, expected an end away from the start, for a radius does not say where a full circle lies; give the centre by I and J",
        ],
    ),
    "centre_off": (
        "G2 X10 Y0 I5.05 J0.",
        [
            "7:11: found 'I5.05', a centre 0.1000 mm nearer to one end of its arc than to the other, expected a difference of at most 0.0283 mm, which is what rounding explains; correct I or J or the end point, or post again with more decimals; if so much does not matter, raise the tolerance (--arc-tolerance, or arc_tolerance in the job file)",
        ],
    ),
    "centre_off_in_g91": (
        "G91 G2 X20 Y0 I5.0 J0.",
        [
            "7:15: found 'I5.0', a centre 10.0000 mm nearer to one end of its arc than to the other, expected a difference of at most 0.0283 mm, the most that is put down to rounding (2 decimals); correct I or J or the end point, or post again with more decimals; G91 is in force: write G90 where it should have ended, if X and Y are meant as places",
        ],
    ),
    "centre_on_start": (
        "G2 X10 Y0 I0 J0",
        [
            "7:11: found 'I0', a centre that lies on the start of its arc, expected a centre away from both ends; post again with arc centres measured from the start (G91.1), or with R",
        ],
    ),
    "centre_on_end": (
        "G2 X10 Y0 I10 J0",
        [
            "7:11: found 'I10', a centre that lies on the end of its arc, expected a centre away from both ends; post again with arc centres measured from the start (G91.1), or with R",
        ],
    ),
    "turns": (
        "G2 X0 Y0 I5 J0 P3",
        [
            "7:16: found 'P3' (an arc of several turns), expected at most one turn in a block; write each turn as a block of its own",
        ],
    ),
    "g80_with_axis": (
        "G80 X5",
        [
            "7:5: found 'X5' in one block with G80, expected no axis words with G80, for it ends every motion; write G0 or G1 on a line of its own",
        ],
    ),
    "motion_ended": (
        "G80\nX5",
        [
            "8:1: found 'X5' with no kind of motion in force, for G80 ended it with the cycle, expected G0, G1, G2 or G3 first, for nothing says how to go there; write G0 or G1 before it",
        ],
    ),
    "feed_in_other_units": (
        "G20 F10",
        [
            "7:5: found 'F10' in the block that changes the units, expected F in a block of its own, for controls differ on which unit it is in; write F in the block behind the change of units",
        ],
    ),
    "units_change_loses_feed": (
        "G20\nG1 X1",
        [
            "8:4: found 'X1' in a cutting move after a change of units with no new F, expected F in the new units, for controls differ on what becomes of the old one; write an F word on or before this line",
        ],
    ),
    "text_after_end": (
        "M30\n\n  G0 X0",
        [
            "9:3: found 'G0 X0' after the end of the program, expected nothing but comments behind M2, M30 or the closing %, for the control never runs it; delete what follows the end, or move the end behind it",
        ],
    ),
    "text_after_percent": (
        "%\nG0 X0",
        [
            "8:1: found 'G0 X0' after the end of the program, expected nothing but comments behind M2, M30 or the closing %, for the control never runs it; delete what follows the end, or move the end behind it",
        ],
    ),
}

# name: (file, messages)
FILES = {
    "units_not_set": (
        "G90\nT1 M6\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n",
        [
            "a.nc:3:4: found 'X0' before the units are set, expected G21 (mm) or G20 (inch) first, for a forgotten inch makes everything 25.4 times wrong; write G21 or G20 at the top of the program, or program_units in the job",
        ],
    ),
    "feed_before_units": (
        "F600\nG21 G90\nM30\n",
        [
            "a.nc:1:1: found 'F600' before the units are set, expected G21 (mm) or G20 (inch) first, for a forgotten inch makes everything 25.4 times wrong; write G21 or G20 at the top of the program, or program_units in the job",
        ],
    ),
    "no_feed": (
        "G21 G90\nT1 M6\nG0 X0 Y0 Z5\nG1 X5\nX6\nM30\n",
        [
            "a.nc:4:4: found 'X5' in a cutting move before any F, expected the feed first; write an F word on or before this line",
        ],
    ),
    "first_move_cuts": (
        "G21 G90\nT1 M6\nG1 X5 Y5 Z5 F600\nM30\n",
        [
            "a.nc:3:4: found 'X5' in a cutting move that starts at an unknown X, Y, Z, expected rapids that say where X, Y and Z are before the first cut; begin the program with rapids such as G0 Z20 and G0 X0 Y0",
        ],
    ),
    "height_unknown": (
        "G21 G90\nT1 M6\nG0 X5 Y5\nG1 X6 F600\nX7\nM30\n",
        [
            "a.nc:4:4: found 'X6' in a cutting move that starts at an unknown Z, expected rapids that say where X, Y and Z are before the first cut; begin the program with rapids such as G0 Z20 and G0 X0 Y0",
        ],
    ),
    "incremental_first": (
        "G21 G91\nG0 X5 Y5 Z5\nM30\n",
        [
            "a.nc:2:4: found 'X5' in G91 before any absolute X, expected G90 for the first X, for nothing says where the machine stands; begin with rapids in G90, such as G90 G0 Z20 and G0 X0 Y0",
        ],
    ),
    "no_motion_mode": (
        "G21 G90\nX5 Y5\nX6\nM30\n",
        [
            "a.nc:2:1: found 'X5' with no kind of motion in force, expected G0, G1, G2 or G3 first, for nothing says how to go there; write G0 or G1 before it",
        ],
    ),
    "no_cutter": (
        "G21 G90\nG0 X0 Y0 Z5\n  G1 X5 F600\nM30\n",
        [
            "a.nc:3:3: found a cutting move with no cutter chosen, expected a cutter, for its shape decides what is cut; write T1 M6, with its number, or state the cutter for this program in the job",
        ],
    ),
    "empty_spindle": (
        "G21 G90\nT1 M6\nG0 X0 Y0 Z5\nT0 M6\nG1 X5 F600\nM30\n",
        [
            "a.nc:5:1: found a cutting move with no cutter chosen, expected a cutter, for its shape decides what is cut; write T1 M6, with its number, or state the cutter for this program in the job",
        ],
    ),
    "change_without_number": (
        "G21 G90\nM6\nG0 X0 Y0 Z5\nG1 X5 F600\nM30\n",
        [
            "a.nc:2:1: found 'M6' with no T word on or before its line, expected the number of the cutter that cuts from here on; write T and its number, such as T1 M6",
        ],
    ),
    "cut_off_letter": (
        "G21 G90\nG0 X0 Y0 Z5\nX",
        [
            "a.nc:3:1: found 'X' with no number, expected a number after X; the file is cut off here: post it again",
        ],
    ),
    "cut_off_number": (
        "G21 G90\nG0 X0 Y0 Z5\nX5 Y-",
        [
            "a.nc:3:4: found 'Y-', expected one number: a sign or none, digits, at most one point; the file is cut off here: post it again",
        ],
    ),
    "cut_off_comment": (
        "G21 G90\nG0 X0 Y0 Z5 (next",
        [
            "a.nc:2:13: found '(next' with no ')', expected a closed comment; the file is cut off here: post it again",
        ],
    ),
    "empty": (
        "",
        [
            "a.nc: found an empty file, expected a program as plain text; post the program again and look whether the disk is full",
        ],
    ),
    "blank": (
        " \n\n",
        [
            "a.nc: found an empty file, expected a program as plain text; post the program again and look whether the disk is full",
        ],
    ),
    "only_comments": (
        "%\n(nothing)\n%\n",
        [
            "a.nc: found a file with no words in it, expected a program; post the program again and look whether this is the right file",
        ],
    ),
    "binary": (
        b"G21\nG0 X\x00\x01",
        [
            "a.nc:2:5: found a binary file (a zero byte), expected a program as plain text; give the program that goes to the machine, not the drawing or an archive",
        ],
    ),
    "mesh": (
        "solid part\nfacet normal 0 0 1\n",
        [
            "a.nc:1:1: found a mesh, for it begins 'solid', expected a program as plain text; give the program that goes to the machine, not the drawing or the part",
        ],
    ),
    "drawing": (
        "\n <svg width='9'>\n",
        [
            "a.nc:1:1: found a drawing or a document, for it begins '<svg', expected a program as plain text; give the program that goes to the machine, not the drawing or the part",
        ],
    ),
    "drawing_of_another_kind": (
        b"  0\r\nSECTION\r\n",
        [
            "a.nc:1:1: found a drawing or a document, for it begins '0', expected a program as plain text; give the program that goes to the machine, not the drawing or the part",
        ],
    ),
    "utf16": (
        b"\xff\xfeG\x002\x001\x00\n\x00",
        [
            "a.nc:1:1: found a file in UTF-16, expected a program as plain text; save it again as plain text (ASCII or UTF-8)",
        ],
    ),
    "control_character": (
        "G21 \x1b\nM30\n",
        [
            "a.nc:1:5: found the character '\\x1b', which cannot be seen, expected letters, numbers and comments; type a plain space in its place, or delete it",
        ],
    ),
    "no_break_space": (
        "G21\xa0G90\nM30\n",
        [
            "a.nc:1:4: found the character '\\xa0', which cannot be seen, expected letters, numbers and comments; type a plain space in its place, or delete it",
        ],
    ),
    "percent_with_name": (
        "%O1\nG21\nM30\n",
        [
            "a.nc:1:1: found '%' among other words, expected '%' alone on its line; put the % on a line of its own, or delete it",
            "a.nc:1:2: found 'O1' (a subprogram's number, or a program's that is not alone in the first block), expected one file that holds every move, under its file name; delete it if it is the program's, or put it into a comment; else post again without subprograms",
        ],
    ),
    "percent_behind_text": (
        "the lid\n%\nG21 G90\nM30\n%\n",
        [
            "a.nc:1:1: found 'the lid', expected a number after each letter; put text into a comment ( ), or delete it; if it moves nothing, write harmless_words = [\"THE\"] at the top of the job file",
        ],
    ),
    "colon": (
        ":1000\nG21 G90\nM30\n",
        [
            "a.nc:1:1: found ':1000' (a program's number, or a mark, of some controls), expected words of a letter and a number, for controls differ on what ':' says; delete it, or put it into a comment ( )",
        ],
    ),
    "end_mark_of_a_file": (
        "G21 G90\nM30\n\x1a",
        [
            "a.nc:3:1: found '\\x1a', an end mark that cannot be seen, after the end of the program, expected nothing but comments behind M2, M30 or the closing %, for the control never runs it; delete it: it is the last character of the file",
        ],
    ),
    "feed_before_units_in_another_unit": (
        "F100\nG20 G90 T1 M6 M3 S1\nG0 X0 Y0 Z1\nG1 Z-1\nM30\n",
        [
            "a.nc:1:1: found 'F100' before the units are set, expected G21 (mm) or G20 (inch) first, for a forgotten inch makes everything 25.4 times wrong; write G21 or G20 at the top of the program, or program_units in the job",
        ],
    ),
    "several_sorted": (
        "G21 G90 G41\nT1 M6\nG0 X0 Y0 Z5 A3\nG1 X1O Y5\nG3 X9 Y9\nM98 G55\n",
        [
            "a.nc:1:9: found 'G41' (cutter compensation), expected the path of the cutter's centre, for the width it would be shifted by stands in the control; post again without cutter compensation",
            "a.nc:3:13: found 'A3' (a rotary axis), expected moves of X, Y and Z alone; post again for a three-axis router",
            "a.nc:4:4: found 'X1O' (a letter O), expected a number after X; replace the letter O by a zero",
            "a.nc:5:4: found 'X9' in an arc with neither centre nor radius, expected I and J to the centre, or R; post again, or write G1 if a straight line is meant",
            "a.nc:6:1: found 'M98' (a subprogram or macro call), expected one file that holds every move; post again as one program without calls",
            "a.nc:6:5: found 'G55' (a work zero), expected the place of this work zero, for it stands in the control; add work_offsets = { \"G55\" = [0, 0, 0] } to the setup, with the true distance from its zero",
        ],
    ),
}


def messages(text, **options):
    with pytest.raises(InputProblems) as raised:
        read_program(text, "a.nc", **options)
    return [str(problem) for problem in raised.value.problems]


@pytest.mark.parametrize("name", BLOCKS)
def test_refusal__of_one_block(name):
    block, expected = BLOCKS[name]
    assert messages(f"{HEAD}{block}\nG0 X0 Y0\n".encode()) == [f"a.nc:{message}" for message in expected]


@pytest.mark.parametrize("name", FILES)
def test_refusal__of_a_file(name):
    text, expected = FILES[name]
    assert messages(text) == expected


def test_refusal__enough_kinds_are_tried():
    assert len(BLOCKS) + len(FILES) >= 100


def test_refusal__all_together_up_to_the_limit_in_order():
    text = HEAD + "G41 G55 M98\n" * 40
    with pytest.raises(InputProblems) as raised:
        read_program(text, "a.nc")
    places = [(p.place.line, p.place.column) for p in raised.value.problems]
    assert len(places) == PROBLEM_LIMIT == 50
    assert places == sorted(places)
    assert places[:4] == [(7, 1), (7, 5), (7, 9), (8, 1)]


def test_refusal__missing_cutter_is_settled_by_the_job():
    text = FILES["no_cutter"][0]
    assert read_program(text, "a.nc", cutter=4).moves.tool.tolist() == [4, 4]


def test_refusal__missing_units_are_settled_by_the_job():
    text = FILES["units_not_set"][0]
    assert read_program(text, "a.nc", units="in").moves.end[-1].tolist() == [5 * 25.4, 0.0, 5 * 25.4]
    with pytest.raises(ValueError, match="units must be 'mm', 'in' or None, not 'cm'"):
        read_program(text, "a.nc", units="cm")


def test_refusal__one_problem_brings_no_others_behind_it():
    """Blocks that lean on a refused one are not held against: cycle rows, moves after a lost place."""
    text = HEAD + "G84 Z-5 R2\nX10\nX20\nG80\nG38.2 Z0\nG1 X5\nG2 X9 Y9 I1 J0\nG16\nG1 X1 Y1\n"
    assert [message.split(" (")[0] for message in messages(text)] == [
        "a.nc:7:1: found 'G84'",
        "a.nc:11:1: found 'G38.2'",
        "a.nc:14:1: found 'G16'",
    ]


def test_refusal__long_text_is_cut_in_the_message():
    (message,) = messages(HEAD + "(" + "x" * 500)
    assert (
        message
        == f"a.nc:7:1: found '({'x' * 39}...' with no ')', expected a closed comment; the file is cut off here: post it again"
    )


WORDS = Options(has_job_file=False)


@pytest.mark.parametrize(
    ("block", "remedy"),
    [
        ("M106", "if it moves nothing, add --harmless M106"),
        ("MSG hello", "if it moves nothing, add --harmless MSG"),
        ("G55", "add --work-offset G55=0,0,0, with the true distance from its zero"),
        ("T0 M6\nG1 X5", "or give one --cutter alone"),
    ],
)
def test_refusal__names_the_option_where_there_is_no_job_file(block, remedy):
    (message,) = messages(f"{HEAD}{block}\nM30\n", options=WORDS)
    assert message.endswith(remedy)
    assert "job" not in message


def test_refusal__names_the_units_option_where_there_is_no_job_file():
    (message,) = messages("G90\nG0 X1\nM30\n", options=WORDS)
    assert message.endswith("write G21 or G20 at the top of the program, or give --units mm or --units in")


def test_warnings__name_the_options_where_there_is_no_job_file():
    text = "G21 G90 T1 M6\nG0 X0 Y0 Z5\n/G1 X5 F9\nM30\n"
    deleted, spindle = read_program(text, "a.nc", options=WORDS).warnings
    assert deleted.text.endswith("(--skip-deleted passes over them)")
    assert spindle.text.endswith("(--spindle-by-hand says that it is)")
