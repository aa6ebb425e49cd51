"""Results as SARIF 2.1.0 (OASIS), for pages that show findings on the lines of the programs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import simkit
from simkit.report.rules import RULES, UNUSABLE, UNUSABLE_RULE
from simkit.report.source_places import lines_of, path_of, relative_uri
from simkit.report.verdict import FAILING, status_of

ROOT = "%SRCROOT%"  # what relative places count from: the folder in which the check was run
_SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
_KINDS = (*RULES, UNUSABLE)


def sarif_text(results: Sequence[dict[str, Any]], root: Path | None = None) -> str:
    """Return the results of one run, in the order of the jobs, as the text of a SARIF file.

    results: as report.forms Result and Unchecked.  root: that relative places count from, the present folder
    when left out.
    """
    root = root or Path()
    rows, artifacts = [], {}
    for result in results:
        if result["form"] == "simkit unchecked":
            rows += [_problem(result, problem, root) for problem in result["problems"] or [None]]
            continue
        hashes = {
            str(path_of(result, program["file"])): program["sha256"]
            for setup in result["setups"]
            for program in setup["programs"]
        }
        for path, sha256 in hashes.items():  # jobs may share a program, and come to it by different ways
            place = _artifact(Path(path), root)
            artifacts[place["uri"], sha256] = {
                "location": place,
                "hashes": {"sha-256": sha256},
                "roles": ["analysisTarget"],
            }
        texts = _texts(result, hashes)
        rows += [_finding(result, finding, texts, root) for finding in result["findings"]]
    statuses = [status_of(result) for result in results]
    run = {
        "tool": {"driver": _driver()},
        "columnKind": "unicodeCodePoints",
        "originalUriBaseIds": {ROOT: {"description": {"text": "the folder in which simkit was run"}}},
        "artifacts": [artifacts[key] for key in sorted(artifacts)],
        "invocations": [
            {"executionSuccessful": max(statuses, default=0) < 2, "exitCode": max(statuses, default=0)}
        ],
        "results": rows,
    }
    return (
        json.dumps({"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}, indent=1, ensure_ascii=False)
        + "\n"
    )


def _driver() -> dict[str, Any]:
    rules = []
    for kind in _KINDS:
        means, remedy = RULES.get(kind, UNUSABLE_RULE)
        means = f"{means[0].upper()}{means[1:]}."
        rules.append(
            {
                "id": kind,
                "name": "".join(part.capitalize() for part in kind.split("-")),
                "shortDescription": {"text": means},
                "fullDescription": {"text": means},
                "help": {"text": f"{means} {remedy}", "markdown": f"{means}\n\n{remedy}"},
                "defaultConfiguration": {"level": "error"},
            }
        )
    return {
        "name": "simkit",
        "version": simkit.__version__,
        "semanticVersion": simkit.__version__,
        "shortDescription": {"text": "Cuts a blank in memory as its programs would, and says what to fix."},
        "rules": rules,
    }


def _artifact(path: Path, root: Path) -> dict[str, Any]:
    uri, is_inside = relative_uri(path, root)
    return {"uri": uri, "uriBaseId": ROOT} if is_inside else {"uri": uri}


def _texts(result: dict[str, Any], hashes: dict[str, str]) -> dict[str, dict[int, str]]:
    """Return the text of every line that a finding points at, by path and line."""
    wanted: dict[str, set[int]] = {}
    for finding in result["findings"]:
        for place in (finding, *finding["faces"]):
            if place["line"]:
                wanted.setdefault(str(path_of(result, place["file"])), set()).add(place["line"])
    return {path: lines_of(Path(path), lines, hashes.get(path, "")) for path, lines in wanted.items()}


def _region(line: int | None, column: int | None, text: str | None) -> dict[str, Any]:
    """Return a place in a file: from a column, or the first word of the line, to the end of the line."""
    if not line:
        return {"startLine": 1, "startColumn": 1}
    if text is None or not text.strip():
        return {"startLine": line, "startColumn": column or 1}
    first = len(text) - len(text.lstrip()) + 1
    return {
        "startLine": line,
        "startColumn": min(column or first, len(text)),
        "endLine": line,
        "endColumn": len(text.rstrip()) + 1,
        "snippet": {"text": text},
    }


def _finding(
    result: dict[str, Any], finding: dict[str, Any], texts: dict[str, dict[int, str]], root: Path
) -> dict[str, Any]:
    path = path_of(result, finding["file"])
    severity, number = finding["severity"], finding["number"]
    text = f"{finding['message'][0].upper()}{finding['message'][1:]}. {finding['advice']}".strip()
    against = result["against"]
    level = {"warning": "error" if result["strict"] else "warning", "note": "note", "accepted": "note"}
    region = _region(finding["line"], finding["column"], texts.get(str(path), {}).get(finding["line"]))
    row = {
        "ruleId": finding["kind"],
        "ruleIndex": _KINDS.index(finding["kind"]),
        "kind": "fail",
        "level": level.get(severity, "error"),
        "message": {"text": text},
        "locations": [{"physicalLocation": {"artifactLocation": _artifact(path, root), "region": region}}],
        "partialFingerprints": {"simkitFinding/v1": f"{_job_of(result, root)}:{finding['id']}"},
        "properties": {
            key: finding[key]
            for key in (
                "severity",
                "value",
                "bound",
                "limit",
                "unit",
                "side",
                "zone",
                "setup",
                "cutter",
                "at",
            )
            if finding[key] not in (None, "")
        },
    }
    others = [face for face in finding["faces"] if face["line"] and _is_other(face, finding)]
    if others:
        row["relatedLocations"] = [_related(result, face, texts, root) for face in others]
    if against is not None and (severity in FAILING or (severity == "warning" and result["strict"])):
        states = {"new": "new", "worse": "updated", "known": "unchanged"}
        row["baselineState"] = next(states[sort] for sort in states if number in against[sort])
        if row["baselineState"] == "unchanged" and severity != "safety":
            row["level"] = "note"
    if severity == "accepted":
        row["suppressions"] = [{"kind": "external", "status": "accepted", "justification": finding["reason"]}]
    return row


def _is_other(face: dict[str, Any], finding: dict[str, Any]) -> bool:
    return (face["file"], face["line"]) != (finding["file"], finding["line"])


def _related(
    result: dict[str, Any], face: dict[str, Any], texts: dict[str, dict[int, str]], root: Path
) -> dict[str, Any]:
    """Return the line that cut the other face of a wall."""
    path = path_of(result, face["file"])
    return {
        "physicalLocation": {
            "artifactLocation": _artifact(path, root),
            "region": _region(face["line"], None, texts.get(str(path), {}).get(face["line"])),
        },
        "message": {"text": f"The other face, of side {face['side']}"},
    }


def _job_of(result: dict[str, Any], root: Path) -> str:
    """Return what tells the findings of one job from those of another, wherever the folder lies."""
    uri, is_inside = relative_uri(path_of(result, ""), root)
    return uri if is_inside else uri.rpartition("/")[2]


def _problem(result: dict[str, Any], problem: dict[str, Any] | None, root: Path) -> dict[str, Any]:
    file = result["job"]["file"]
    text, line, column = result["sentence"], None, None
    if problem is not None:
        text = f"Found {problem['found']}, expected {problem['expected']}; {problem['remedy']}."
        line, column = problem["line"], problem["column"]
        near = Path(file).parent / problem["file"]
        file = problem["file"] if Path(problem["file"]).is_file() else str(near) if near.is_file() else file
    place = _region(line, column, lines_of(Path(file), [line]).get(line) if line else None)
    return {
        "ruleId": UNUSABLE,
        "ruleIndex": _KINDS.index(UNUSABLE),
        "kind": "fail",
        "level": "error",
        "message": {"text": text},
        "locations": [
            {"physicalLocation": {"artifactLocation": _artifact(Path(file), root), "region": place}}
        ],
    }
