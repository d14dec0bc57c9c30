"""The gates install what is fixed: every declared package is locked, with its hashes."""

import re
import tomllib

from tests.support.house import ROOT

NAME = re.compile(r"^[A-Za-z0-9._-]+")


def _normal(requirement: str) -> str:
    """Return the name in a requirement as packagers compare names."""
    found = NAME.match(requirement)
    assert found is not None, requirement
    return re.sub(r"[-_.]+", "-", found[0]).lower()


def test_every_declared_package_is_fixed_with_its_hashes() -> None:
    """A gate that takes what is newest today may fail, or pass, for no reason of ours."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lists = [project["dependencies"], *project["optional-dependencies"].values()]
    text = (ROOT / "tests" / "constraints.txt").read_text(encoding="utf-8")
    fixed = text.replace("\\\n", " ").splitlines()

    wanted = {_normal(one) for some in lists for one in some} - {"bothsides"}
    assert sorted(wanted - {_normal(line) for line in fixed}) == []
    assert [line for line in fixed if "==" not in line or "--hash=sha256:" not in line] == []
    assert "://" not in text  # From wherever a site takes its packages.
