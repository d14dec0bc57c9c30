"""Write findings as a SARIF document, which editors and build servers show at their places.

Keeps: one rule for each code, whether found or not, so that a viewer can list what was judged.

Source:
    OASIS, Static Analysis Results Interchange Format (SARIF) Version 2.1.0, 2020, section 3.
"""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from coordinator.sequence.diagnostics import Diagnostic

_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


def to_sarif(
    diagnostics: Sequence[Diagnostic], codes: Mapping[str, str], *, folder: Path
) -> dict[str, Any]:
    """Return the SARIF document of one checking.

    Args:
        diagnostics: What was found, in the order in which it is told.
        codes: Every code against its heading.
        folder: Files below it are named relative to it, so that the document travels.
    """
    numbers = {code: number for number, code in enumerate(codes)}
    rules = [{"id": code, "shortDescription": {"text": heading}} for code, heading in codes.items()]
    return {
        "$schema": _SCHEMA,
        "version": "2.1.0",
        "runs": [
            {
                "tool": {"driver": {"name": "bothsides", "rules": rules}},
                # Columns are counted in characters, not in the units of some editor's memory.
                "columnKind": "unicodeCodePoints",
                "results": [_result(one, numbers, folder) for one in diagnostics],
            }
        ],
    }


def _result(one: Diagnostic, numbers: Mapping[str, int], folder: Path) -> dict[str, Any]:
    region: dict[str, Any] = {"startLine": one.line, "startColumn": one.column}
    if one.excerpt:
        region["snippet"] = {"text": one.excerpt}
    return {
        "ruleId": one.code,
        "ruleIndex": numbers[one.code],
        "level": "error",
        "message": {"text": f"{one.what}, {one.must}; {one.do}"},
        "locations": [
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": _uri(one.file, folder)},
                    "region": region,
                }
            }
        ],
    }


def _uri(file: str, folder: Path) -> str:
    """Return a file as a relative reference where it lies below the folder, else absolute."""
    absolute = Path(os.path.abspath(file))
    if absolute.is_relative_to(folder):
        return quote(absolute.relative_to(folder).as_posix())
    return absolute.as_uri()
