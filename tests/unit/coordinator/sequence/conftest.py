"""What the tests of hostile files share."""

from collections.abc import Iterator

import pytest

from tests.support.limited_reader import LimitedReader


@pytest.fixture(scope="module")
def reader() -> Iterator[LimitedReader]:
    """The program that reads under limits, one for all tests of this file."""
    made = LimitedReader()
    yield made
    made.close()
