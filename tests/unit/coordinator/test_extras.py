"""Extras: the list is that of pyproject.toml, and what is missing is said in one line."""

import re
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator import extras
from coordinator.campaign.pool import wrong_with_address
from coordinator.cli.app import app
from coordinator.records.store import RecordsFailed, RecordStore
from tests.support.house import ROOT
from tests.support.sequence_files import SEQUENCES

ASKED: dict[str, list[str]] = {
    "figures": ["joint", str(SEQUENCES / "joints" / "airlift_16in_8.yaml"), "--figures", "x"],
    "gateway": ["gateway", str(SEQUENCES / "cells" / "sill_point.yaml"), "--once"],
    "parquet": ["records", "export", "x.parquet"],
    "cluster": ["fuzz", str(SEQUENCES / "park.yaml"), "--on", "tcp://127.0.0.1:1"],
}


@pytest.fixture
def _bare(monkeypatch: pytest.MonkeyPatch) -> None:
    def find_nothing(_: str) -> None:
        return None

    monkeypatch.setattr(extras, "find_spec", find_nothing)


def test_the_extras_are_those_of_the_project_and_the_tests_install_all_of_them() -> None:
    """An extra without a line about it would fail with a traceback."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = project["optional-dependencies"]

    assert sorted(declared) == sorted([*extras.EXTRAS, "dev"])
    assert f"bothsides[{','.join(sorted(extras.EXTRAS))}]" in declared["dev"]


@pytest.mark.usefixtures("_bare")
@pytest.mark.parametrize("extra", ASKED)
def test_a_verb_without_its_extra_says_in_one_line_how_to_install_it(
    tmp_path: Path, extra: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The way that works in a checkout, in one spelling."""
    monkeypatch.chdir(tmp_path)

    done = CliRunner().invoke(app, ASKED[extra])

    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1
    assert f"not installed here; run: pip install -e '.[{extra}]'\n" in done.stderr
    assert [*tmp_path.iterdir()] == []


@pytest.mark.usefixtures("_bare")
def test_the_cluster_names_its_extra_before_anything_is_sent() -> None:
    """Whoever calls the pool without the command line reads the same line."""
    assert "pip install -e '.[cluster]'" in wrong_with_address("tcp://10.0.0.1:8786")


@pytest.mark.usefixtures("_bare")
def test_a_database_server_without_its_driver_names_the_extra(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """SQLAlchemy imports the driver by itself, so the import error is ours to explain."""
    monkeypatch.setitem(sys.modules, "psycopg", None)

    with pytest.raises(RecordsFailed, match=r"pip install -e '\.\[server\]'"):
        RecordStore("postgresql+psycopg://nobody@127.0.0.1/none")


def test_the_guides_spell_the_installation_of_an_extra_in_one_way() -> None:
    """Three spellings left the reader to find out which one works."""
    texts = [path.read_text("utf-8") for path in ROOT.rglob("*.md") if ".venv" not in path.parts]

    spelt = re.findall(r"pip install[^`\n]*\[\w+\][^`\n]*", "\n".join(texts))
    assert {re.sub(r"\[\w+\]", "[x]", one) for one in spelt} <= {"pip install -e '.[x]'"}
