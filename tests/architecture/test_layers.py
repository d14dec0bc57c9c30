"""The layers of the house: every import contract of pyproject.toml is kept."""

import ast
import re
import subprocess
import sys
import tomllib

from tests.support.house import ROOT, SOURCES, python_files


def test_every_import_contract_is_kept() -> None:
    """PV22: layers that only promise to be layers are soon one lump."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    names = [one["name"] for one in settings["tool"]["importlinter"]["contracts"]]

    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert [f"{name} KEPT" for name in names if f"{name} KEPT" not in done.stdout] == []
    assert done.returncode == 0, done.stdout
    assert len(names) >= 5


def test_every_source_file_is_where_the_contracts_look() -> None:
    """A folder without `__init__.py` would be outside every contract."""
    bare = [path for path in python_files(*SOURCES) if not (path.parent / "__init__.py").exists()]

    assert bare == []


def test_nothing_of_a_gateway_names_what_writes_to_a_controller() -> None:
    """GW5: a place that is written to may move something; handed on it counts as called."""
    named = {
        node.attr
        for path in python_files("coordinator/gateway")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute)
    }

    assert {"read_coils", "read_attributes"} <= named
    assert [one for one in sorted(named) if re.search("write|set_value|call_method", one)] == []
