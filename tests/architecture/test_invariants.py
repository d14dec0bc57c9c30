"""Invariants: the catalogue, the code and what is saved mean the same by the same code."""

import json
import re
import tomllib

import pytest

from coordinator.campaign.oracles import PROMISES
from coordinator.invariants import INVARIANTS, Invariant, read_catalogue
from coordinator.prove import PROPERTIES
from tests.support.house import ROOT
from tests.support.invariants import (
    CODE,
    cited,
    codes_in,
    judges_of,
    reported,
    required,
    sections,
    upheld_in,
    without_codes,
)
from tests.support.promela.export import SHARED


def test_a_code_that_is_declared_twice_is_refused() -> None:
    """One code for two things was so in 47 of 95 cases."""
    with pytest.raises(tomllib.TOMLDecodeError, match="Z1"):
        read_catalogue("[Z1]\ntext = 'never two'\n[Z2]\ntext = 'kept'\n[Z1]\ntext = 'other'\n")


def test_no_two_invariants_have_one_text_and_no_two_one_property() -> None:
    """Two codes for one thing would be two places to look."""
    texts = [one.text for one in INVARIANTS.values()]
    properties = [one.property for one in INVARIANTS.values() if one.property]

    assert sorted(set(texts)) == sorted(texts)
    assert sorted(set(properties)) == sorted(properties)
    assert all(re.fullmatch(CODE, code) for code in INVARIANTS)


def test_what_a_module_says_that_it_upholds_is_in_the_words_of_the_catalogue() -> None:
    """A text that is written in two ways is soon meant in two ways."""
    listed = [(name, *entry) for name, entries in sections().items() for entry in entries]

    assert listed
    assert [
        (name, code, text)
        for name, code, text in listed
        if code not in INVARIANTS or text != INVARIANTS[code].text
    ] == []


def test_every_invariant_that_a_module_lists_has_a_code() -> None:
    """What has no code is in no catalogue and has no named judge."""
    assert without_codes() == []


def test_every_code_that_is_checked_cited_reported_or_saved_is_in_the_catalogue() -> None:
    """Whoever meets a code looks it up there."""
    used = [*required(), *cited(), *_saved(), *(("an oracle", code) for code in reported())]

    assert len(used) > 300
    assert [(where, code) for where, code in used if code not in INVARIANTS] == []


def test_every_invariant_is_upheld_somewhere() -> None:
    """What no module upholds holds by luck."""
    assert [code for code in INVARIANTS if not upheld_in(code)] == []
    named = [one.upheld for one in INVARIANTS.values() if one.upheld]
    assert [name for name in named if not (ROOT / name).is_file()] == []


def test_every_invariant_has_a_judge() -> None:
    """What nobody would see broken is a hope: an oracle, the proof, a check or a test must."""
    assert [code for code in INVARIANTS if not judges_of(code)] == []


def test_proof_campaign_and_spin_judge_what_the_catalogue_says_that_they_judge() -> None:
    """They share its texts and names, and none of the code that upholds them."""
    assert dict(PROPERTIES) == {
        one.property: one.text for one in INVARIANTS.values() if one.property
    }
    assert set(SHARED) <= set(PROPERTIES)
    assert set(PROMISES) == reported()
    assert all(f"proof (`{one.property}`)" in judges_of(code) for code, one in _proved().items())


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("S3, S6: one side must not pull on.", ["S3", "S6"]),
        ("WR9 and WR3: the retain flag reaches the party.", ["WR9", "WR3"]),
        ("It must never pull by itself (S5).", ["S5"]),
        ("Z2, found by the second model: the zone stayed leased.", ["Z2"]),
        ("J2, for every kind of event.", ["J2"]),
        ("Half of the yield of ASTM A193 B7; M30 and 2-8UN.", []),
        ("B7 studs and M30 nuts.", []),
    ],
)
def test_the_reader_finds_codes_at_the_start_and_in_brackets_alone(
    text: str, codes: list[str]
) -> None:
    """A steel or a thread is no invariant; what is not read would be compared with nothing."""
    assert codes_in(text) == codes


def _proved() -> dict[str, Invariant]:
    return {code: one for code, one in INVARIANTS.items() if one.property}


def _saved() -> list[tuple[str, str]]:
    """Return the codes that saved cases and the table of planted defects name."""
    found = []
    for path in sorted((ROOT / "tests" / "regression").glob("*.yaml")):
        broken = re.search(r"^  broken:\n((?:  - .*\n)+)", path.read_text("utf-8"), re.MULTILINE)
        codes = re.findall(rf"- ({CODE}) at ", broken[1]) if broken else []
        found += [(path.name, code) for code in codes]
    planted = json.dumps(json.loads((ROOT / "tests/quality/planted.json").read_text("utf-8")))
    return found + [("planted.json", code) for code in re.findall(rf'"({CODE}) at ', planted)]
