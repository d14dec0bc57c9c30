"""Check a document against its model and say of each deviation where it stands.

Invariants: SQ4, every finding of every file is told at once, and the same one only once.
"""

import re
from collections.abc import Iterator
from difflib import get_close_matches
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, Tag, ValidationError
from pydantic_core import ErrorDetails

from coordinator.sequence.form.diagnostics import Findings, choose_from
from coordinator.sequence.form.kinds import NAMED, kind_of_tree, sign_of
from coordinator.sequence.form.tree import Data, Document, Leaf, Row, Table, Trail, Tree
from coordinator.sequence.models.fields import Strict
from coordinator.sequence.models.property_model import HAPPENING_KEYS, PROPERTY_KEYS
from coordinator.sequence.models.sequence_model import STEP_KEYS

Model = TypeVar("Model", bound=Strict)

_KEY_MARK = "[key]"
_STEP_OPTIONS = ("with", "id", "after", "policy", "round", "steps", "only", "half")
_RANGE = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}
_LENGTH = {"too_short", "too_long"}
_CHOICES = {
    "_step_tag()": (STEP_KEYS, "step says neither what to do nor where to meet"),
    "_property_tag()": (PROPERTY_KEYS, "property does not say of which form it is"),
    "_happening_tag()": (HAPPENING_KEYS, "it does not say what happens"),
}
"""By what tells the members of a union apart: the keys that do, and what is wrong without any."""
_KINDS = {
    "string_type": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "yes or no",
    "dict_type": "a mapping (key: value)",
    "model_type": "a mapping (key: value)",
    "model_attributes_type": "a mapping (key: value)",
    "tuple_type": "a list",
}


def validate(model: type[Model], document: Document, findings: Findings) -> Model | None:
    """Return the document as `model`, or None after telling `findings` every deviation."""
    if has_other_kind(model, document):
        _tell_kind(model, document, findings)
        return None
    told = len(findings)
    for trail in _empty(document.tree):
        what = f"{_name(trail)} is empty"
        must, do = "must have a value", "write the value or take the key out"
        findings.add(document.finding(trail, "SEQ008", what, must, do))
    try:
        found = model.model_validate(document.tree.data)
        return found if len(findings) == told else None
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            if _is_echo(detail):
                continue
            _tell(model, document, detail, findings)
        return None


def errors_of(model: type[Model], data: Data) -> list[Trail]:
    """Return where data deviates from a model."""
    try:
        model.model_validate(data)
    except ValidationError as error:
        found = [one for one in error.errors(include_url=False) if not _is_echo(one)]
        return [_trail(one["loc"]) for one in found]
    return []


def _trail(location: tuple[int | str, ...]) -> Trail:
    # Tags of unions start with a colon, which no key does: they are no part of the file.
    return tuple(
        part
        for part in location
        if part != _KEY_MARK and not (isinstance(part, str) and part.startswith(":"))
    )


def has_other_kind(model: type[Strict], document: Document) -> bool:
    """Return whether a file is plainly of another kind than the one asked for."""
    return kind_of_tree(document.tree) not in ("", model.KIND)


def _tell_kind(model: type[Strict], document: Document, findings: Findings) -> None:
    kind = kind_of_tree(document.tree)
    sign = sign_of(document, kind)
    what = f"file is {NAMED[kind]}, by its key {sign!r}"
    must, do = f"must be {NAMED[model.KIND]}", "give the file of that kind"
    findings.add(document.finding((sign,), "SEQ006", what, must, do, key=True))


def _empty(tree: Tree, trail: Trail = ()) -> Iterator[Trail]:
    """Yield the trails of empty values: a forgotten policy must not pass for none."""
    match tree:
        case Leaf():
            if tree.data is None:
                yield trail
        case Row():
            for place, item in enumerate(tree.items):
                yield from _empty(item, (*trail, place))
        case Table():
            for key, value in zip(tree.keys, tree.values, strict=True):
                yield from _empty(value, (*trail, key.text))


def _is_echo(detail: ErrorDetails) -> bool:
    """Return whether a list counts as too short only because its wrong items were left out."""
    if detail["type"] != "too_short":
        return False
    value = detail["input"]
    return isinstance(value, dict | tuple) and len(value) >= detail["ctx"]["min_length"]


def _tell(
    model: type[BaseModel], document: Document, detail: ErrorDetails, findings: Findings
) -> None:
    location = detail["loc"]
    is_key = bool(location) and location[-1] == _KEY_MARK
    trail = _trail(location)
    misspelt = _misspelt_key(detail)
    if misspelt is not None:
        must, do = choose_from(misspelt, _choice(detail)[0], "keys that say what it is")
        what = f"key is {misspelt!r}"
        findings.add(document.finding((*trail, misspelt), "SEQ006", what, must, do, key=True))
        return
    code, what, must, do = _words(model, detail, trail)
    at_key = is_key or detail["type"] == "extra_forbidden"
    place = trail[:-1] if detail["type"] == "missing" else trail
    findings.add(document.finding(place, code, what, must, do, key=at_key))


def _misspelt_key(detail: ErrorDetails) -> str | None:
    """Return the key that must have been meant to say what a mapping is; None if none is."""
    value = detail["input"]
    if not detail["type"].startswith("union_tag") or not isinstance(value, dict):
        return None
    keys = [key for key in value if isinstance(key, str) and key not in _STEP_OPTIONS]
    known = _choice(detail)[0]
    return next((key for key in keys if get_close_matches(key, known, n=1)), None)


def _choice(detail: ErrorDetails) -> tuple[tuple[str, ...], str]:
    return _CHOICES[detail["ctx"]["discriminator"]]


def _words(model: type[BaseModel], detail: ErrorDetails, trail: Trail) -> tuple[str, str, str, str]:
    """Return code, what, must and do of one deviation."""
    kind, context = detail["type"], detail.get("ctx", {})
    name = _name(trail)
    value = detail["input"]
    if kind == "ours":
        return context["code"], f"{name}: {context['what']}", context["must"], context["do"]
    if kind == "extra_forbidden":
        must, do = choose_from(name, _keys_at(model, detail["loc"][:-1]), "known keys")
        return "SEQ006", f"key is {name!r}", must, do
    if kind == "missing":
        return "SEQ007", f"key {name!r} is missing", "must be given", f"add '{name}:'"
    if kind in ("union_tag_not_found", "union_tag_invalid") and isinstance(value, dict):
        keys, what = _choice(detail)
        return "SEQ007", what, f"must have one of the keys {', '.join(keys)}", "add one of them"
    if kind in ("literal_error", "enum"):
        known = re.findall(r"'([^']*)'", context["expected"]) or [context["expected"]]
        _, do = choose_from(str(value), known, "words")
        must = f"must be {' or '.join(known)}"
        return "SEQ009", f"{name} is {_shown(value)}", must, do
    if kind in _RANGE or kind in _LENGTH:
        reason = detail["msg"].replace("Input should be", "must be")
        must = _length(context) if kind in _LENGTH else reason
        return "SEQ009", f"{name} is {_shown(value)}", must, "correct the value"
    must = f"must be {_KINDS.get(kind, 'of another type')}"
    do = "put it in quotes" if kind == "string_type" and not _is_nested(value) else "rewrite it"
    return "SEQ008", f"{name} is {_shown(value)}", must, do


def _name(trail: Trail) -> str:
    """Return what the last part of a trail is called in a message."""
    if not trail:
        return "file"
    if isinstance(trail[-1], int):
        owner = next((part for part in reversed(trail) if isinstance(part, str)), "list")
        return f"item {trail[-1] + 1} of {owner}"
    return trail[-1]


def _length(context: dict[str, Any]) -> str:
    if "min_length" in context:
        return f"must have at least {context['min_length']} entries"
    return f"must have at most {context['max_length']} entries"


def _is_nested(value: object) -> bool:
    return isinstance(value, dict | tuple)


def _shown(value: object) -> str:
    """Return a value as the author would name it, cut to a readable length."""
    match value:
        case None:
            return "empty"
        case bool():
            return "yes" if value else "no"
        case dict():
            return f"a mapping with {len(value)} keys"
        case tuple():
            return f"a list of {len(value)}"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _keys_at(model: type[BaseModel], location: tuple[int | str, ...]) -> list[str]:
    """Return the keys that the model knows at a location of one of its errors."""
    kind: Any = model
    for part in location:
        kind = _step_into(kind, part)
    options = [kind, *get_args(_bare(kind))]
    models = [one for one in map(_bare, options) if isinstance(one, type)]
    fields = [one.model_fields for one in models if issubclass(one, BaseModel)]
    return [field.alias or name for table in fields for name, field in table.items()]


def _bare(kind: Any) -> Any:
    """Return a type without its annotations."""
    while get_origin(kind) is Annotated:
        kind = get_args(kind)[0]
    return kind


def _step_into(kind: Any, part: int | str) -> Any:
    """Return the type of the part of a value."""
    bare = _bare(kind)
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        fields = {field.alias or name: field for name, field in bare.model_fields.items()}
        return fields[str(part)].annotation if str(part) in fields else Any
    origin, inside = get_origin(bare), get_args(bare)
    if origin in (Union, UnionType):
        if isinstance(part, str) and part.startswith(":"):
            return next((one for one in inside if Tag(part) in get_args(one)[1:]), Any)
        options = [one for one in inside if one is not type(None)]
        return _step_into(options[0], part)
    if origin is dict:
        return inside[1]
    if origin is tuple:
        return inside[0]
    return Any
