"""The AsyncAPI document and its schemas, judged by what knows nothing of ours."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.contract.broker_config import accounts, rights, to_acl
from coordinator.contract.compatibility import breaking_changes
from coordinator.contract.document import VERSION, bodies, document, example_of, schema_of
from coordinator.wire.codec import RemoteProtocolError, decode, encode
from coordinator.wire.topics import subscriptions_of_coordinator, subscriptions_of_party, topic_of

RELEASED = sorted((Path(__file__).parents[3] / "golden" / "contract").glob("*.json"))
"""Documents that parties were written to; they are never written anew."""
PUBLISHED = Path(__file__).parents[3] / "published" / "asyncapi" / "3.0.0.json"
PUBLISHED_SHA256 = "abe96881dbfaad495ccbb6bd8d3fb43ca18a13b9d7564849ccb66f39d5e5b20f"


def test_the_published_schema_of_asyncapi_accepts_the_document() -> None:
    """AsyncAPI 3.0.0 as the AsyncAPI Initiative says it; see `tests/published/asyncapi`."""
    judge = jsonschema.Draft7Validator(json.loads(PUBLISHED.read_text(encoding="utf-8")))

    assert [one.message for one in judge.iter_errors(document())] == []
    assert [one.message for one in judge.iter_errors(document("sill_point"))] == []
    spoils: tuple[Callable[[dict[str, Any]], object], ...] = (
        lambda one: one.pop("info"),
        lambda one: one.update(asyncapi="2.6.0"),
        lambda one: one["operations"]["command"].update(action="publish"),
        lambda one: one["channels"]["lease"].update(adress="elsewhere"),
        lambda one: one["operations"]["lease"]["bindings"]["mqtt"].update(qos=3),
        lambda one: one["components"]["messages"]["Do"].update(payload={"type": "number or so"}),
    )
    for spoil in spoils:
        spoiled = json.loads(json.dumps(document()))
        spoil(spoiled)
        assert not judge.is_valid(spoiled)


def test_the_published_schema_is_the_published_one() -> None:
    """A judge that was bent to fit would judge nothing."""
    assert hashlib.sha256(PUBLISHED.read_bytes()).hexdigest() == PUBLISHED_SHA256


@pytest.mark.parametrize("body", bodies(), ids=lambda body: body.__name__)
def test_each_example_fits_its_schema_and_its_topic_and_is_read_back(body: type[Any]) -> None:
    """CN1: whoever writes a driver replays these; a schema that takes anything takes less too."""
    example = example_of(body)
    payload = encode(example)
    schema = schema_of(body)
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)

    judge.validate(json.loads(payload))
    assert decode(topic_of("sill_point", example), payload) == example
    spoiled = json.loads(payload)
    spoiled["data"]["surplus"] = 1
    assert not judge.is_valid(spoiled)
    del spoiled["data"]
    assert not judge.is_valid(spoiled)
    with pytest.raises(RemoteProtocolError):
        decode("x", json.dumps(spoiled).encode())


def test_every_message_stands_on_the_channel_that_it_travels_on() -> None:
    """The topics of the document and of the program are the same."""
    channels = document("sill_point")["channels"].values()
    told = {
        name: channel["address"].replace("{party}", example_of(body).subject)
        for channel in channels
        for name in channel["messages"]
        for body in bodies()
        if body.__name__ == name
    }

    assert told == {body.__name__: topic_of("sill_point", example_of(body)) for body in bodies()}


@pytest.mark.parametrize("released", RELEASED, ids=lambda path: path.stem)
def test_parties_written_to_a_released_contract_can_still_take_part(released: Path) -> None:
    """A change that breaks them raises the first number, and keeps the older one served."""
    was = json.loads(released.read_text(encoding="utf-8"))

    if was["info"]["version"].split(".")[0] == VERSION.split(".")[0]:
        assert breaking_changes(was, document()) == ()


def test_this_version_is_among_the_released_ones() -> None:
    """What is not kept cannot be compared with later."""
    assert f"{VERSION}.json" in [path.name for path in RELEASED]


def broken(change: Any) -> tuple[str, ...]:
    """Return what is told of a contract after a change."""
    now = json.loads(json.dumps(document()))
    change(now["components"]["messages"], now["channels"])
    return breaking_changes(document(), now)


def test_what_breaks_old_parties_is_told_and_what_does_not_is_not() -> None:
    """CN2: the comparison can fail, and does not cry wolf."""

    def data(messages: Any, name: str) -> Any:
        return messages[name]["payload"]["properties"]["data"]

    def add_optional(messages: Any, _: Any) -> None:
        data(messages, "Do")["properties"]["hint"] = {"type": "string", "default": ""}

    assert broken(add_optional) == ()
    assert broken(lambda m, _: m.pop("Ask")) == ("message Ask is gone",)
    assert broken(lambda m, _: data(m, "Do")["required"].append("barrier")) == (
        "Do.data: barrier must be given now",
    )
    assert broken(lambda m, _: data(m, "Do")["properties"].pop("step")) == (
        "Do.data: step is gone",
    )
    assert broken(lambda m, _: data(m, "Refused")["properties"]["reason"]["enum"].remove("unfit"))
    assert broken(lambda m, _: data(m, "Do")["properties"]["command"].update(type="string"))
    assert broken(lambda _, c: c["lease"].update(address="elsewhere"))


def test_the_verb_writes_and_compares(tmp_path: Path) -> None:
    """A driver's maker keeps the document that it was written to, and asks again later."""
    wrote = CliRunner().invoke(app, ["contract", "--out", str(tmp_path)])
    same = CliRunner().invoke(app, ["contract", "--against", str(tmp_path / "asyncapi.json")])
    older = json.loads((tmp_path / "asyncapi.json").read_text())
    older["components"]["messages"]["Farewell"] = older["components"]["messages"]["Ask"]
    (tmp_path / "older.json").write_text(json.dumps(older))
    broke = CliRunner().invoke(app, ["contract", "--against", str(tmp_path / "older.json")])
    no = CliRunner().invoke(app, ["contract", "--against", str(tmp_path / "none.json")])

    assert (wrote.exit_code, same.exit_code, broke.exit_code, no.exit_code) == (0, 0, 1, 2)
    assert len(list(tmp_path.glob("*.schema.json"))) == len(bodies())


def test_every_topic_that_a_party_needs_is_allowed_and_commands_are_the_coordinators() -> None:
    """Default deny is of no use if it denies the work, or allows an arm to command."""
    found = rights("sill_point", ("fore", "aft"), "hoist")
    reads = {(one.party, one.topic) for one in found if one.may != "write"}
    writes = {(one.party, one.topic) for one in found if one.may != "read"}

    for account, parties in accounts(("fore", "aft"), "hoist").items():
        for party in parties if account != "coordinator" else ():
            needed = {(account, topic) for topic in subscriptions_of_party("sill_point", party)}
            assert needed <= reads
    heard = {topic.rpartition("/")[2] for topic in subscriptions_of_coordinator("sill_point")}
    assert heard == {topic.rpartition("/")[2] for who, topic in reads if who == "coordinator"} | {
        "signals"
    }
    commanding = {who for who, topic in writes if topic.endswith(("/command", "/lease"))}
    assert commanding == {"coordinator"}
    assert not any("simulated" in one.topic or "#" in one.topic for one in found)
    assert to_acl(found).count("user ") == 4
