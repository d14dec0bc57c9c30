"""What every test of the page in a real browser starts from."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.support.page_server import RecordedPage

CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return Debian's Chromium."""
    if not Path(CHROMIUM).exists():
        pytest.skip("Debian's chromium is not installed; tests/all.sh installs it")
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield made
        made.close()


@pytest.fixture
def recorded() -> Iterator[RecordedPage]:
    """Return a page that shows recorded states."""
    with RecordedPage().served() as page:
        yield page
