"""Write findings as a SARIF document, which editors and build servers show at their places.

Every code has its rule, whether found or not, so that a viewer can list what was judged.

Source:
    OASIS, Static Analysis Results Interchange Format (SARIF) Version 2.1.0, 2020, section 3.
"""

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from coordinator.sequence.form.diagnostics import Diagnostic

_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)
_NOT_PROVED = {
    "id": "not_proved",
    "shortDescription": {"text": "a proof was cut: nothing is known of what it did not see"},
}


@dataclass(frozen=True, slots=True)
class Spot:
    """A place in a file, and what is so there."""

    file: str
    line: int
    column: int
    text: str = ""


@dataclass(frozen=True, slots=True)
class Breach:
    """Something that a proof found to be broken."""

    rule: str
    promised: str
    """The rule as a sentence."""
    text: str
    at: Spot
    course: tuple[Spot, ...] = ()
    """The steps on the way to it that have a place."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """Something that was asked for and did not come to its end, so that nothing is known of it."""

    file: str
    text: str


def to_sarif(
    diagnostics: Sequence[Diagnostic],
    codes: Mapping[str, str],
    *,
    folder: Path,
    breaches: Sequence[Breach] = (),
    unfinished: Sequence[Unfinished] = (),
) -> dict[str, Any]:
    """Return the SARIF document of one checking.

    Args:
        diagnostics: What was found, in the order in which it is told.
        codes: Every code, and every property that was judged, against its heading.
        folder: Files below it are named relative to it, so that the document travels.
        breaches: What proofs found to be broken, in the order in which it is told.
        unfinished: What was cut, so that the results are not all that there may be.
    """
    numbers = {code: number for number, code in enumerate(codes)}
    rules = [{"id": code, "shortDescription": {"text": heading}} for code, heading in codes.items()]
    results = [_result(one, numbers, folder) for one in diagnostics]
    results += [_breach(one, numbers, folder) for one in breaches]
    return {
        "$schema": _SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {
                    "driver": {"name": "bothsides", "rules": rules, "notifications": [_NOT_PROVED]}
                },
                # Columns are counted in characters, not in the units of some editor's memory.
                "columnKind": "unicodeCodePoints",
                "invocations": [_invocation(unfinished, folder)],
                "results": results,
            }
        ],
    }


def _invocation(unfinished: Sequence[Unfinished], folder: Path) -> dict[str, Any]:
    """Return how the run went (3.20 invocation); one that was cut is no success."""
    told = [
        {
            "level": "error",  # 3.58 notification: results may be missing.
            "descriptor": {"id": _NOT_PROVED["id"], "index": 0},
            "message": {"text": one.text},
            "locations": [_artifact(one.file, folder)],
        }
        for one in unfinished
    ]
    return {"executionSuccessful": not told, "toolExecutionNotifications": told}


def _artifact(file: str, folder: Path) -> dict[str, Any]:
    return {"physicalLocation": {"artifactLocation": {"uri": _uri(file, folder)}}}


def _result(one: Diagnostic, numbers: Mapping[str, int], folder: Path) -> dict[str, Any]:
    location = _location(Spot(one.file, one.line, one.column), folder)
    if one.excerpt:
        location["physicalLocation"]["region"]["snippet"] = {"text": one.excerpt}
    return {
        "ruleId": one.code,
        "ruleIndex": numbers[one.code],
        "level": "error",
        "message": {"text": f"{one.what}, {one.must}; {one.do}"},
        "locations": [location],
    }


def _breach(one: Breach, numbers: Mapping[str, int], folder: Path) -> dict[str, Any]:
    steps = [{"location": _location(spot, folder)} for spot in one.course]
    flows = {"codeFlows": [{"threadFlows": [{"locations": steps}]}]} if steps else {}
    return {
        "ruleId": one.rule,
        "ruleIndex": numbers[one.rule],
        "level": "error",
        "message": {"text": f"{one.text}; promised: {one.promised}"},
        "locations": [_location(one.at, folder)],
        **flows,
    }


def _location(spot: Spot, folder: Path) -> dict[str, Any]:
    said = {"message": {"text": spot.text}} if spot.text else {}
    location = _artifact(spot.file, folder)
    location["physicalLocation"]["region"] = {"startLine": spot.line, "startColumn": spot.column}
    return location | said


def _uri(file: str, folder: Path) -> str:
    """Return a file as a relative reference where it lies below the folder, else absolute."""
    absolute = Path(os.path.abspath(file))
    if absolute.is_relative_to(folder):
        return quote(absolute.relative_to(folder).as_posix())
    return absolute.as_uri()
