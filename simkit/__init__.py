"""simkit cuts a two-sided wood blank in memory exactly as its programs would.

The rooms follow the data: job and program text -> moves -> stock (the cut) -> target -> compare
-> findings -> report. DEVELOPERS.md is the map.
"""

__version__ = "0.1.0"
