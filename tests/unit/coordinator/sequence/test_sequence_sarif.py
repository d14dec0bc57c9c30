"""Findings as SARIF: the properties that the OASIS standard requires, at the right places."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coordinator.sequence import CODES, SequenceError, load
from coordinator.sequence.form.sarif import to_sarif
from tests.support.sequence_files import SEQUENCES

# The properties that SARIF 2.1.0 requires, with their kinds, written down from the standard:
# 3.13 sarifLog, 3.14 run, 3.18 tool, 3.19 toolComponent, 3.49 reportingDescriptor, 3.27 result,
# 3.11 message, 3.28 location, 3.29 physicalLocation, 3.4 artifactLocation, 3.30 region,
# 3.20 invocation, 3.58 notification, 3.36 codeFlow, 3.37 threadFlow, 3.38 threadFlowLocation.
TEXT = {"type": "string", "minLength": 1}
MESSAGE = {"type": "object", "required": ["text"], "properties": {"text": TEXT}}
REGION = {
    "type": "object",
    "required": ["startLine", "startColumn"],
    "properties": {
        "startLine": {"type": "integer", "minimum": 1},
        "startColumn": {"type": "integer", "minimum": 1},
        "snippet": MESSAGE,
    },
    "additionalProperties": False,
}
LOCATION = {
    "type": "object",
    "required": ["physicalLocation"],
    "properties": {
        "physicalLocation": {
            "type": "object",
            "required": ["artifactLocation", "region"],
            "properties": {
                "artifactLocation": {
                    "type": "object",
                    "required": ["uri"],
                    "properties": {"uri": {**TEXT, "pattern": r"^[^\s\\]+$"}},
                },
                "region": REGION,
            },
        }
    },
}
FLOW = {
    "type": "object",
    "required": ["locations"],
    "properties": {
        "locations": {
            "type": "array",
            "minItems": 1,
            "items": {"type": "object", "properties": {"location": LOCATION}},
        }
    },
    "additionalProperties": False,
}
RESULT = {
    "type": "object",
    "required": ["ruleId", "ruleIndex", "level", "message", "locations"],
    "properties": {
        "ruleId": TEXT,
        "ruleIndex": {"type": "integer", "minimum": 0},
        "level": {"enum": ["none", "note", "warning", "error"]},
        "message": MESSAGE,
        "locations": {"type": "array", "minItems": 1, "items": LOCATION},
        "codeFlows": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["threadFlows"],
                "properties": {"threadFlows": {"type": "array", "minItems": 1, "items": FLOW}},
                "additionalProperties": False,
            },
        },
    },
    "additionalProperties": False,
}
INVOCATION = {
    "type": "object",
    "required": ["executionSuccessful"],
    "properties": {
        "executionSuccessful": {"type": "boolean"},
        "toolExecutionNotifications": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["message"],
                "properties": {
                    "message": MESSAGE,
                    "level": {"enum": ["none", "note", "warning", "error"]},
                    "descriptor": {"type": "object", "required": ["id"]},
                    "locations": {"type": "array", "items": {"type": "object"}},
                },
                "additionalProperties": False,
            },
        },
    },
    "additionalProperties": False,
}
RULE = {
    "type": "object",
    "required": ["id", "shortDescription"],
    "properties": {"id": TEXT, "shortDescription": MESSAGE},
    "additionalProperties": False,
}
DRIVER = {
    "type": "object",
    "required": ["name", "rules"],
    "properties": {
        "name": TEXT,
        "rules": {"type": "array", "uniqueItems": True, "items": RULE},
        "notifications": {"type": "array", "uniqueItems": True, "items": RULE},
    },
    "additionalProperties": False,
}
LOG = {
    "type": "object",
    "required": ["version", "runs"],
    "properties": {
        "$schema": {**TEXT, "pattern": r"sarif-schema-2\.1\.0\.json$"},
        "version": {"const": "2.1.0"},
        "runs": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["tool", "results"],
                "properties": {
                    "tool": {
                        "type": "object",
                        "required": ["driver"],
                        "properties": {"driver": DRIVER},
                    },
                    "columnKind": {"enum": ["utf16CodeUnits", "unicodeCodePoints"]},
                    "results": {"type": "array", "items": RESULT},
                    "invocations": {"type": "array", "items": INVOCATION},
                },
                "additionalProperties": False,
            },
        },
    },
    "additionalProperties": False,
}


def sarif_of(path: Path) -> dict[str, Any]:
    """Return the document about a sequence with mistakes."""
    with pytest.raises(SequenceError) as caught:
        load(path)
    document = to_sarif(caught.value.diagnostics, CODES, folder=SEQUENCES.parent)
    return json.loads(json.dumps(document))  # type: ignore[no-any-return]  # json gives Any


def all_places(document: dict[str, Any]) -> Iterator[tuple[str, str, int, int]]:
    """Yield (code, file, line, column) of every result."""
    for result in document["runs"][0]["results"]:
        place = result["locations"][0]["physicalLocation"]
        region = place["region"]
        yield (
            result["ruleId"],
            place["artifactLocation"]["uri"],
            region["startLine"],
            region["startColumn"],
        )


def test_a_document_with_findings_has_the_form_of_the_standard() -> None:
    """An editor or a build server that reads SARIF must find what it looks for."""
    document = sarif_of(SEQUENCES / "broken" / "SEQ014_unknown_action.yaml")

    jsonschema.validate(document, LOG)

    rules = document["runs"][0]["tool"]["driver"]["rules"]
    for result in document["runs"][0]["results"]:
        assert rules[result["ruleIndex"]]["id"] == result["ruleId"]


def test_a_result_points_where_the_text_of_the_finding_points() -> None:
    """The same finding twice, told at two places, would send the author astray."""
    path = SEQUENCES / "broken" / "SEQ014_unknown_action.yaml"

    places = list(all_places(sarif_of(path)))

    lines = path.read_text(encoding="utf-8").splitlines()
    assert [(code, file) for code, file, _, _ in places] == [
        ("SEQ014", "sequences/broken/SEQ014_unknown_action.yaml")
    ]
    for _, _, line, column in places:
        assert lines[line - 1][: column - 1].endswith("do: ")


def test_a_document_without_findings_lists_every_rule_and_no_result() -> None:
    """A build server closes what it no longer finds only if it is told that it was judged."""
    document = to_sarif((), CODES, folder=SEQUENCES)

    jsonschema.validate(document, LOG)
    assert [one["id"] for one in document["runs"][0]["tool"]["driver"]["rules"]] == list(CODES)
    assert document["runs"][0]["results"] == []


def test_a_file_outside_the_folder_is_named_by_its_full_address(tmp_path: Path) -> None:
    """A relative reference that leads up and out is refused by readers of SARIF."""
    path = tmp_path / "no such.yaml"

    (_, uri, _, _), *_ = all_places(sarif_of(path))

    assert uri.startswith("file:///")
    assert uri.endswith("/no%20such.yaml")
