"""unsafe-height: a program begins, changes cutters or ends with the tip below the top of the wood."""

from __future__ import annotations

from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.machine.stops import BEGIN, CHANGE, END

_WORDS = {
    BEGIN: (
        "the first place that the program names lies {depth:.2f} mm below the top of the wood{beside}, and "
        "how the machine gets there is not known",
        "Begin with a rapid to a safe height, then go to X and Y, then down.",
    ),
    CHANGE: (
        "the cutter is changed with its tip {depth:.2f} mm below the top of the wood",
        "Retract to a safe height before the change.",
    ),
    END: (
        "the program ends with the tip {depth:.2f} mm below the top of the wood",
        "End with a rapid to a safe height; the next thing the machine does would plough through the wood.",
    ),
}


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each such place, in the order they come."""
    findings = []
    for index, stops in enumerate(evidence.stops):
        for stop in stops:
            message, advice = _WORDS[stop.what]
            findings.append(
                Finding(
                    kind="unsafe-height",
                    severity="safety",
                    message=message.format(
                        depth=stop.depth, beside=", beside the blank" if stop.is_beside else ""
                    ),
                    advice=advice,
                    value=stop.depth,
                    bound=0.0,
                    limit=0.0,
                    measure="height of the highest wood of this setup over the tip",
                    subject=stop.what,
                    side=1 if evidence.frames[index].up > 0 else 2,
                    **evidence.place_of(evidence.frames[index].apply(stop.at), index),
                    **evidence.source_of(stop.row),
                )
            )
    return findings
