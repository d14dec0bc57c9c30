"""Options of the whole test run, and what it tells at its end about unit tests that take long."""

import os
from collections.abc import Generator

import pytest

SPENT = "processor_s"
UNIT_S = 0.05
"""What a unit test may take of the processor."""
MARGIN = 3.0
"""Chosen: a machine that does other work too takes up to twice as long for the same."""


@pytest.fixture(autouse=True, scope="session")
def _key_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Sign heads with a key of this test run, never with that of whoever runs the tests."""
    os.environ["BOTHSIDES_RECORDS_KEY"] = str(tmp_path_factory.mktemp("key") / "records.key")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add `--update`, which writes the stored files of `golden/` anew instead of comparing."""
    parser.addoption("--update", action="store_true", help="write the files of tests/golden anew")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, object, object]:
    """Note what a test takes of the processor, processes that it has waited for included."""
    begun_s = _spent_s()
    try:
        return (yield)
    finally:
        item.user_properties.append((SPENT, _spent_s() - begun_s))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name unit tests that are not what the folder is for; told, not asserted: machines differ."""
    slow = sorted(
        (spent_s, report.nodeid)
        for report in terminalreporter.getreports("passed")
        if report.when == "call" and report.nodeid.startswith("tests/unit/")
        for name, spent_s in report.user_properties
        if name == SPENT and isinstance(spent_s, float) and spent_s > UNIT_S * MARGIN
    )
    if slow:
        terminalreporter.section(f"unit tests well over {UNIT_S} s of the processor")
        for spent_s, name in reversed(slow):
            terminalreporter.line(f"{spent_s:6.2f} s  {name}")


def _spent_s() -> float:
    own = os.times()
    return own.user + own.system + own.children_user + own.children_system
