"""Write the JSON Schema of each kind of file, so that an editor completes keys and explains them.

A schema knows the form of a file. What a name leads to, and what a figure means for a bolt, stays
with the rules.

Invariants: SQ9, a schema refuses no file that the rules accept.

Source:
    JSON Schema, draft 2020-12: Core and Validation.
"""

import re
from collections.abc import Callable, Mapping
from typing import Any

from coordinator.sequence.form.quantities import Dimension
from coordinator.sequence.models.case_model import CaseModel
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.fields import MEASURES, Strict, quantity_schema
from coordinator.sequence.models.joint_model import JointModel
from coordinator.sequence.models.sequence_model import DerivedModel, SequenceModel
from coordinator.sequence.models.windows_model import WindowsModel

Schema = dict[str, Any]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_MODELS: Mapping[str, type[Strict]] = {
    "cell": CellModel,
    "joint": JointModel,
    "sequence": SequenceModel,
    "case": CaseModel,
    "windows": WindowsModel,
}
KINDS = tuple(_MODELS)
"""The kinds of files that have a schema."""


def schema_of(kind: str, causes: Mapping[str, tuple[str, Mapping[str, str]]]) -> Schema:
    """Return the schema of one kind of file.

    Args:
        kind: One of `KINDS`.
        causes: Of each cause of the catalogue what it does and the dimension word of each of its
            parameters; only the schema of a case holds them.
    """
    made: Schema = _tidy(_MODELS[kind].model_json_schema())
    if kind == "sequence":
        made = _or_derived(made, _tidy(DerivedModel.model_json_schema()))
    if kind == "case":
        made["$defs"]["CauseModel"] = _any_cause(made["$defs"]["CauseModel"], causes)
    return {"$schema": _DIALECT, **made, "title": f"Bothsides {kind} file"}


def _or_derived(whole: Schema, derived: Schema) -> Schema:
    """Return the schema of a whole sequence, or of one that is based on another."""
    parts = {**derived.pop("$defs", {}), **whole.pop("$defs")}
    parts = {**parts, "Derived": derived, "Whole": whole}
    is_derived = {"required": ["based_on"]}
    chosen = {"then": {"$ref": "#/$defs/Derived"}, "else": {"$ref": "#/$defs/Whole"}}
    return {"$defs": parts, "type": "object", "if": is_derived, **chosen}


def _any_cause(common: Schema, causes: Mapping[str, tuple[str, Mapping[str, str]]]) -> Schema:
    """Return the schema of a cause: one of the catalogue, with its own parameters."""
    options = []
    for name, (text, parameters) in causes.items():
        own = {one: _parameter(word) for one, word in parameters.items()}
        said = {"const": name, "title": "Cause", "description": text}
        properties = {**common["properties"], "cause": said, **own}
        options.append(
            {**common, "title": name, "properties": properties, "additionalProperties": False}
        )
    return {"description": common["description"], "oneOf": options}


def _parameter(word: str) -> Schema:
    if word == "number":
        return {"type": "number", "description": "A plain number."}
    if word == "ratio":
        share: Schema = _tidy(quantity_schema(Dimension.SHARE, "30 %"))
        return {"anyOf": [{"type": "number"}, share], "description": "A number, or such as 30 %."}
    quantity: Schema = _tidy(quantity_schema(Dimension(word), ""))
    return quantity


def _tidy(node: Any) -> Any:
    """Return a part of a schema as an author's editor needs it."""
    if isinstance(node, list):
        return [_tidy(one) for one in node]
    if not isinstance(node, dict):
        return node
    made: Schema = {}
    for key, value in node.items():
        is_names = key in ("properties", "$defs")
        made[key] = {k: _tidy(v) for k, v in value.items()} if is_names else _tidy(value)
    for step in _STEPS:
        step(made)
    return made


def _drop_nothing(made: Schema) -> None:
    """Take out `null`: a key without a value is refused, it is left out instead."""
    if {"type": "null"} in made.get("anyOf", ()):
        rest = [one for one in made.pop("anyOf") if one != {"type": "null"}]
        made.update(_joined(rest[0], made) if len(rest) == 1 else {"anyOf": rest})
    if "default" in made and made["default"] in (None, {}, [], ""):
        del made["default"]


def _joined(value: Schema, key: Schema) -> Schema:
    """Return what is said of a key over what is said of any such value, and both descriptions."""
    said = [one["description"] for one in (key, value) if "description" in one]
    return {**value, **key, **({"description": " ".join(said)} if said else {})}


def _name_keys(made: Schema) -> None:
    """Turn patterns of keys into a rule for names, which refuses the others."""
    patterns = made.pop("patternProperties", None)
    if patterns is not None:
        ((pattern, values),) = patterns.items()
        made["additionalProperties"] = values
        made["propertyNames"] = {**made.get("propertyNames", {}), "pattern": pattern}


def _say_unit(made: Schema) -> None:
    """Say in the description which quantity is wanted, and write a default with its unit."""
    measured = made.pop(MEASURES, None)
    if measured is None:
        return
    article = "An" if measured == Dimension.ANGLE else "A"
    example = f", such as {made['examples'][0]}" if made.get("examples") else ""
    told = f"{article} {measured} with its unit{example}."
    made["description"] = f"{made['description']} {told}" if "description" in made else told
    if isinstance(made.get("default"), int):
        made["default"] = _time(made["default"])


def _allow_words(made: Schema) -> None:
    """Allow `yes` and `no`, which editors of YAML 1.2 hand over as text."""
    if made.get("type") == "boolean":
        del made["type"]
        made["enum"] = [True, False, "yes", "no"]


def _name_title(made: Schema) -> None:
    """Call a model by what it describes, not by its class."""
    title = made.get("title")
    if isinstance(title, str) and made.get("type") == "object":
        words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", title.removesuffix("Model"))
        made["title"] = words.capitalize()


def _time(time_us: int) -> str:
    for unit, size_us in (("min", 60_000_000), ("s", 1_000_000), ("ms", 1_000)):
        if time_us % size_us == 0:
            return f"{time_us // size_us} {unit}"
    return f"{time_us} us"


_STEPS: tuple[Callable[[Schema], None], ...] = (
    _drop_nothing,
    _name_keys,
    _say_unit,
    _allow_words,
    _name_title,
)
