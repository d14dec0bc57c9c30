"""The tables of keys in the author's guide, made of the schemas and so of the models."""

import re
from collections.abc import Iterator
from typing import Any

from coordinator.cli.schema import made_schema
from coordinator.sequence.models.fields import NAME_PATTERN

Schema = dict[str, Any]

LABELS: dict[str, tuple[tuple[str, str], ...]] = {
    "sequence": (
        ("the file", "Whole"),
        ("a file based on another", "Derived"),
        *(("barrier", "BarrierModel"), ("point", "PointModel"), ("prompt", "PromptModel")),
        *(("rule of a policy", "RuleModel"), ("move of a recovery", "MoveModel")),
        *(("`{ask: ...}`", "AskModel"), ("exception", "ExceptionModel"), ("block", "BlockModel")),
        *(("step", "DoStep"), ("use of a block", "UseStep"), ("loop", "EachStep")),
        *(("place of a barrier", "BarrierStep"), ("place of a point", "PointStep")),
        *(("property: never", "NeverModel"), ("property: order", "AlwaysBeforeModel")),
        *(("property: count", "AtMostModel"), ("`always_before`", "OrderModel")),
        *(("`at_most`", "CountModel"), ("what begins", "BeginsModel")),
        *(("what ends", "EndsModel"), ("what is under way", "UnderWayModel")),
        *(("how a signal is", "SignalIsModel"), ("who is in a zone", "InZoneModel")),
    ),
    "cell": (
        ("the file", ""),
        *(("timing", "TimingModel"), ("side", "SideModel"), ("tool", "ToolModel")),
        *(("signal", "SignalModel"), ("interlock", "InterlockModel"), ("fault", "FaultModel")),
        *(("action", "ActionModel"), ("gateway", "GatewayModel")),
        *(("source", "GatewaySourceModel"), ("signal of the gateway", "GatewaySignalModel")),
    ),
    "joint": (
        ("the file", ""),
        *(("bolts", "BoltsModel"), ("tightening", "TighteningModel")),
        ("scatter", "ScatterModel"),
        *(("loosening", "LooseningModel"), ("flange", "FlangeModel")),
    ),
    "case": (
        ("the file", ""),
        ("cause", "CauseModel"),
        ("answer", "AnswerModel"),
        ("act", "ActModel"),
        ("step allowed", "StepModel"),
        ("found", "FoundModel"),
    ),
}
"""What each part of a file is called in the guide, against its definition in the schema."""
_STEPS = ("DoStep", "UseStep", "EachStep", "BarrierStep", "PointStep")
_PROPERTIES = ("NeverModel", "AlwaysBeforeModel", "AtMostModel")
_HAPPENINGS = ("BeginsModel", "EndsModel", "UnderWayModel", "SignalIsModel", "InZoneModel")


def key_table(kind: str) -> str:
    """Return every key of one kind of file as a table."""
    schema = made_schema(kind)
    lines = ["| in | key | takes | left out | means |", "|---|---|---|---|---|"]
    for label, name in LABELS[kind]:
        for cells in _rows(schema, schema["$defs"][name] if name else schema):
            lines.append(f"| {label} | " + " | ".join(cells) + " |")
            label = ""
    return "\n".join(lines) + "\n"


def _rows(schema: Schema, part: Schema) -> Iterator[tuple[str, str, str, str]]:
    if (
        "properties" not in part
    ):  # A cause: every one has the same common keys, and parameters of its own.
        options = [one["properties"] for one in part["oneOf"]]
        shared = [key for key in options[0] if all(key in one for one in options)]
        part = {"properties": {key: options[0][key] for key in shared}, "required": ["cause"]}
        part["properties"]["cause"] = {"type": "string", "description": "Which of the catalogue."}
    required = part.get("required", ())
    for key, found in part["properties"].items():
        means = re.sub(r" An? [\w ]+ with its unit(, such as [^|]*)?\.$", "", found["description"])
        absent = (
            "must be given"
            if key in required
            else _word(found["default"])
            if "default" in found
            else ""
        )
        yield f"`{key}`", _takes(schema, found), absent, means.replace("|", "\\|")


def _takes(schema: Schema, found: Schema) -> str:
    """Return in words what stands behind a key."""
    if "$ref" in found:
        name = found["$ref"].rsplit("/", 1)[1]
        return _label(name) if name in _known() else _takes(schema, schema["$defs"][name])
    if "enum" in found or "const" in found:
        words = found.get("enum", [found.get("const")])
        return "yes or no" if True in words else " or ".join(f"`{word}`" for word in words)
    if "anyOf" in found or "oneOf" in found:
        options = [_takes(schema, one) for one in (found.get("anyOf") or found["oneOf"])]
        if "text" in options and "number" in options:
            return "a value or `$reference`"
        labels = list(dict.fromkeys(options))
        return "a step" if "step" in labels else " or ".join(labels)
    return _plain(schema, found)


def _plain(schema: Schema, found: Schema) -> str:
    match found.get("type"):
        case "array" if "prefixItems" in found:
            return f"{len(found['prefixItems'])} × {_takes(schema, found['prefixItems'][0])}"
        case "array":
            return f"list: {_takes(schema, found['items'])}"
        case "object":
            return f"name: {_takes(schema, found['additionalProperties'])}"
        case "integer":
            return "whole number" + _range(found)
        case "number":
            return "number" + _range(found)
        case "string" if found.get("format") == "date":
            return "day such as `2027-08-03`"
        case "string" if found.get("examples"):
            measured = re.search(r"\bAn? ([\w ]+) with its unit", found.get("description", ""))
            kind = f"{measured[1]}, " if measured else ""
            return f"{kind}such as `{found['examples'][0]}`"
        case "string" if NAME_PATTERN in found.get("pattern", ""):
            return "name"
    return "text"


def _range(found: Schema) -> str:
    least = found.get("minimum", found.get("exclusiveMinimum"))
    most = found.get("maximum", found.get("exclusiveMaximum"))
    if least is None or most is None:
        return ""
    return f", {least:g} to {'below ' if 'exclusiveMaximum' in found else ''}{most:g}"


def _known() -> dict[str, str]:
    return {name: label for labels in LABELS.values() for label, name in labels if name}


def _label(name: str) -> str:
    groups = (("step", _STEPS), ("property", _PROPERTIES), ("what happens", _HAPPENINGS))
    return next((label for label, names in groups if name in names), _known()[name])


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"`{value}`" if value not in ([], {}, "") else ""
