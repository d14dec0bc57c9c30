"""JSON Schemas: equal to the written files, true to the rules, and telling at every key."""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from ruamel.yaml import YAML

from coordinator.cli.schema import made_schema, text_of
from coordinator.sequence import CODES, kind_of
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.source import read_document
from coordinator.sequence.models.schema import KINDS
from tests.support.sequence_files import SEQUENCES

SCHEMAS = {
    kind: json.loads((SEQUENCES / "schema" / f"{kind}.json").read_text(encoding="utf-8"))
    for kind in KINDS
}
SHIPPED = sorted(
    path for path in SEQUENCES.rglob("*.yaml") if "broken" not in path.relative_to(SEQUENCES).parts
)
SAMPLES = sorted((SEQUENCES / "broken").glob("*.yaml"))
REFUSED = ("SEQ006", "SEQ007", "SEQ008", "SEQ009", "SEQ010", "SEQ042", "SEQ043", "SEQ055", "SEQ066")
"""What a schema sees."""
UNREAD = ("SEQ001", "SEQ002", "SEQ003", "SEQ004")
"""What the reader refuses before there is anything that a schema could judge."""
BEYOND = {
    "SEQ005": "a schema does not follow paths",
    "SEQ011": "a list of all units would refuse units that the reader knows",
    "SEQ012": "and so it cannot tell what a unit measures",
    "SEQ053": "whether a thread is a standard one is in the tables",
}
"""Rules of form that lie beyond a schema, and why; all later codes are about meaning."""


def plain(data: Any) -> Any:
    """Return what our reader read, with lists for tuples."""
    if isinstance(data, tuple):
        return [plain(one) for one in data]
    if isinstance(data, dict):
        return {key: plain(value) for key, value in data.items()}
    return data


def errors_of(path: Path) -> list[str] | None:
    """Return what the schema says about a file as our reader reads it; None if it cannot."""
    document = read_document(path, SEQUENCES, Findings())
    if document is None:
        return None
    validator = jsonschema.Draft202012Validator(SCHEMAS[kind_of(path)])
    return [one.message for one in validator.iter_errors(plain(document.tree.data))]


def properties_of(schema: Any, trail: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every property of a schema with its place."""
    if isinstance(schema, list):
        for number, one in enumerate(schema):
            yield from properties_of(one, f"{trail}/{number}")
    elif isinstance(schema, dict):
        keys = schema.get("properties", {})
        for name, one in keys.items():
            yield f"{trail}/{name}", one
            # A key may itself be called `properties`: it is no list of keys.
            yield from properties_of(one, f"{trail}/{name}")
        for key, one in schema.items():
            if one is not keys:
                yield from properties_of(one, f"{trail}/{key}")


@pytest.mark.parametrize("kind", KINDS)
def test_the_written_schema_equals_what_the_models_give(kind: str) -> None:
    """Write them anew with `bothsides schema --out sequences/schema`."""
    written = (SEQUENCES / "schema" / f"{kind}.json").read_text(encoding="utf-8")

    assert written == text_of(made_schema(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_is_sound_by_its_own_standard(kind: str) -> None:
    """An editor drops a schema that it cannot read, and says nothing."""
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[kind])

    assert "x-measures" not in text_of(SCHEMAS[kind])
    assert '"null"' not in text_of(SCHEMAS[kind])


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_a_schema_has_words_to_show(kind: str) -> None:
    """Hover on a key without a description shows its name again, which helps nobody."""
    found = list(properties_of(SCHEMAS[kind]))

    assert [place for place, one in found if not one.get("description")] == []
    assert len(found) >= 8


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_file_is_accepted_and_names_its_schema(path: Path) -> None:
    """SQ9: A schema that refuses what the rules accept would cry in every editor."""
    first = path.read_text(encoding="utf-8").splitlines()[0]
    named = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)

    assert errors_of(path) == []
    assert named is not None
    assert (path.parent / named[1]).resolve() == SEQUENCES / "schema" / f"{kind_of(path)}.json"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_file_is_accepted_as_editors_read_it(path: Path) -> None:
    """Editors read YAML 1.2, in which `no` is a word; another parser is the witness."""
    data = YAML(typ="safe", pure=True).load(path.read_text(encoding="utf-8"))

    # A day becomes a date there; editors hand it over as text.
    data = json.loads(json.dumps(data, default=str))

    jsonschema.Draft202012Validator(SCHEMAS[kind_of(path)]).validate(data)


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_a_broken_sample_is_refused_if_its_mistake_is_one_of_form(sample: Path) -> None:
    """And only then: a rule about meaning that a schema guessed at would guess wrong one day."""
    code, errors = sample.name[:6], errors_of(sample)

    if code in UNREAD:
        assert errors is None
    else:
        assert bool(errors) == (code in REFUSED), errors


def test_each_rule_of_form_is_refused_or_known_to_be_beyond_a_schema() -> None:
    """SEQ001 to SEQ012 are about form; nothing of it is forgotten."""
    form = [code for code in CODES if code <= "SEQ012"]

    assert [one for one in form if one not in (*UNREAD, *REFUSED, *BEYOND)] == []
    assert all(code in CODES for code in (*UNREAD, *REFUSED, *BEYOND))


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("joint", {"bolts": {"count": 7}}),
        ("joint", {"tightening": {"friction": 1.5}}),
        ("joint", {"tightening": {"rounds": []}}),
        ("joint", {"tightening": {"stress": 362}}),
        ("cell", {"hoist": "floor"}),
        ("cell", {"timing": {"asks": 0}}),
        ("cell", {"faults": {"leak": {"text": "it leaks", "alone": "maybe"}}}),
        ("sequence", {"barriers": {"pull": {"balance": "600 N.m"}}}),
        ("sequence", {"barriers": {"Pull": {}}}),
        ("sequence", {"lanes": {"fore": [{"do": "park", "use": "bolt_up"}]}}),
        ("case", {"acts": [{"act": "reset", "by": "mate"}]}),
        ("case", {"causes": [{"cause": "burr", "depth": "2 mm"}]}),
    ],
)
def test_a_sound_file_with_one_change_is_refused(kind: str, change: dict[str, Any]) -> None:
    """The shipped files alone would also please a schema that accepts everything."""
    path = next(one for one in SHIPPED if kind_of(one) == kind)
    document = read_document(path, SEQUENCES, Findings())
    assert document is not None
    data = plain(document.tree.data)
    for key, value in change.items():
        is_merged = isinstance(value, dict) and key in data
        data[key] = {**data[key], **value} if is_merged else value

    assert not jsonschema.Draft202012Validator(SCHEMAS[kind]).is_valid(data)
