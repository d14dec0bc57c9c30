"""Options of the whole test run."""

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--update`, which writes the stored files of `golden/` anew instead of comparing."""
    parser.addoption("--update", action="store_true", help="write the files of tests/golden anew")
