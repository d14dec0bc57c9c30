"""Every case that a campaign once failed with must go well, whatever it was found in."""

from pathlib import Path

import pytest

from coordinator.cli.replay import judge_case

CASES = sorted(Path(__file__).parent.glob("*.yaml"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_case_that_once_broke_a_promise_keeps_all_of_them(path: Path) -> None:
    """What was found once must not come back."""
    outcome = judge_case(path)

    assert outcome.violations == ()
    assert outcome.index > 0
