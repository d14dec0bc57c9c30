"""The live page in a real browser: a whole run, two operators, a dead page, altered records."""

import contextlib
import os
import select
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.support.brokers import MOSQUITTO, mosquitto, mosquitto_on, processes_with
from tests.support.page_run import PHRASE, PageRun, page_run

PATIENCE_MS = 60_000
TABS_MAX = 60
pytestmark = pytest.mark.broker


@pytest.fixture
def run(tmp_path: Path) -> Iterator[PageRun]:
    with page_run(tmp_path) as started:
        yield started


def visit(browser: Browser, run: PageRun, name: str = "") -> Page:
    page = browser.new_context(viewport={"width": 1024, "height": 768}).new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(run.address)
    if name:
        page.get_by_role("button", name="Sign in").click()
        page.get_by_label("Name").fill(name)
        page.get_by_label("Pass phrase").fill(PHRASE)
        page.get_by_label("Pass phrase").press("Enter")
        expect(page.locator("#who")).to_have_text(f"operator {name}")
    return page


def press(page: Page, name: str) -> None:
    """Press a button of the procedure by the keyboard alone."""
    for _ in range(TABS_MAX):
        page.keyboard.press("Tab")
        held = "document.activeElement.dataset.act || document.activeElement.id"
        if page.evaluate(held) == name:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"the keyboard does not reach '{name}'")


def wait_phase(page: Page, word: str) -> None:
    expect(page.locator("#phase")).to_contain_text(word, timeout=PATIENCE_MS, ignore_case=True)


def serious(page: Page) -> list[str]:
    """Return what axe-core finds, at WCAG 2.2 AA, that is serious or critical."""
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    return [
        f"{one['id']}: {one['nodes'][0]['html']}"
        for one in found.response["violations"]
        if one["impact"] in ("serious", "critical")
    ]


def test_a_run_is_released_held_restarted_and_completed_from_the_page(
    browser: Browser, run: PageRun
) -> None:
    """PG5: what an operator needs on a shift, without the terminal; accessible at each stage."""
    looking, page, other = (
        visit(browser, run),
        visit(browser, run, "mate"),
        visit(browser, run, "bosun"),
    )
    wait_phase(page, "running")
    option = page.get_by_role("button", name="release")
    expect(option).to_be_visible(timeout=PATIENCE_MS)
    expect(looking.locator("#prompt-list button").first).to_be_disabled()
    assert serious(page) == []
    press(page, "hold")
    wait_phase(page, "held")
    assert serious(page) == []
    set_aside(page, looking)
    press(page, "restart")
    wait_phase(page, "running")

    # Two click at the same time: one answer counts, the other is told whose.
    twice = """async () => { const {run} = await (await fetch('/api/state')).json();
        const a = await fetch('/api/answers', {method: 'POST',
        body: JSON.stringify({prompt: run.prompts[0].number, option: 'release'})});
        return [a.status, (await a.json()).text]; }"""
    first, second = page.evaluate(twice), other.evaluate(twice)

    assert first[0] == 200
    assert second == [409, second[1]]
    assert "answered by mate" in second[1]
    wait_phase(page, "complete")
    page.goto(f"{run.address}records")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("#chain")).to_contain_text("chain whole")
    assert run.end() == 0


def set_aside(page: Page, looking: Page) -> None:
    """Set an interlock aside and end that; everybody sees who, why and for how long."""
    for one in (page, looking):
        one.get_by_role("button", name="More…").click()
    page.locator("#override-name").select_option("supply_low")
    page.get_by_label("Minutes").fill("5")
    page.get_by_label("Why", exact=True).fill("the gauge sticks")
    page.get_by_role("button", name="Set aside").click()
    for one in (page, looking):
        expect(one.locator("#override-list")).to_contain_text("mate", timeout=PATIENCE_MS)
        expect(one.locator("#override-list")).to_contain_text("the gauge sticks")
        expect(one.locator(".st")).to_contain_text("1 override in force")
    expect(page.locator("#alarm-list")).to_contain_text("override supply low")
    assert serious(page) == []
    if picture := os.environ.get("BOTHSIDES_PICTURES"):
        page.screenshot(path=f"{picture}/override.png", full_page=True)
    page.get_by_role("button", name="Acknowledge override supply_low").click()
    expect(page.locator("#alarm-list")).to_contain_text("acknowledged by mate")
    page.get_by_role("button", name="End the override of supply_low").click()
    expect(page.locator("#overrides")).to_be_hidden(timeout=PATIENCE_MS)
    page.get_by_role("button", name="one step at a time").click()
    expect(page.locator(".st")).to_contain_text("Mode: step", timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="next step", exact=True)).to_be_enabled()
    page.get_by_role("button", name="manual", exact=True).click()
    # A word for all lanes is refused there: each lane has a button of its own.
    expect(page.get_by_role("button", name="next step of aft")).to_be_enabled(timeout=PATIENCE_MS)
    expect(page.get_by_role("button", name="next step", exact=True)).to_have_count(0)
    page.get_by_role("button", name="automatic", exact=True).click()
    expect(page.locator(".st")).not_to_contain_text("Mode:", timeout=PATIENCE_MS)
    page.get_by_role("button", name="Close").click()


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_a_lost_broker_shows_in_ages_and_the_run_goes_on_after_it(
    browser: Browser, tmp_path: Path
) -> None:
    """What was last heard grows old before everybody's eyes; nothing old passes for new."""
    (tmp_path / "run").mkdir()
    with contextlib.ExitStack() as stack:
        first = stack.enter_context(mosquitto(tmp_path))
        started = stack.enter_context(
            page_run(tmp_path / "run", broker=f"mqtt://127.0.0.1:{first}")
        )
        page = visit(browser, started, "mate")
        wait_phase(page, "running")
        (number,) = processes_with(str(tmp_path / "mosquitto.conf"))
        os.kill(number, signal.SIGKILL)
        wait_phase(page, "hold")
        expect(page.locator(".sig li.x").first).to_contain_text("unknown", timeout=PATIENCE_MS)
        expect(page.locator(".side.x").first).to_contain_text("not on the bus")
        old = page.locator(".sig li span:last-child").first
        before_s = float(str(old.text_content()).removesuffix(" s"))
        page.wait_for_timeout(1_500)
        assert float(str(old.text_content()).removesuffix(" s")) >= before_s + 1.0
        assert serious(page) == []
        stack.enter_context(mosquitto_on(tmp_path, first))
        wait_phase(page, "held")
        expect(page.locator("#sides")).not_to_contain_text("not on the bus", timeout=PATIENCE_MS)
        page.locator('[data-act="reset"]').click()
        page.locator('[data-act="restart"]').click()
        wait_phase(page, "running")


def test_a_run_goes_on_when_its_page_dies(browser: Browser, run: PageRun) -> None:
    """PG9: a page is for looking; what it does to itself must not hold an arm's work up."""
    page = visit(browser, run, "mate")
    option = page.get_by_role("button", name="release")
    expect(option).to_be_visible(timeout=PATIENCE_MS)
    option.click()
    expect(page.locator("#prompts")).to_be_hidden(timeout=PATIENCE_MS)

    os.kill(_page_process(run), signal.SIGKILL)

    expect(page.locator("#now")).to_contain_text("Nothing heard", timeout=PATIENCE_MS)
    assert run.end() == 0


def test_a_page_that_outlives_its_run_says_that_the_run_has_ended(
    browser: Browser, run: PageRun
) -> None:
    """It said "the run goes on without this page" of a run that was over."""
    page = visit(browser, run, "mate")
    option = page.get_by_role("button", name="release")
    expect(option).to_be_visible(timeout=PATIENCE_MS)
    option.click()
    wait_phase(page, "complete")
    assert run.end() == 0

    page.wait_for_timeout(4_000)  # Longer than what is heard counts as new.
    expect(page.locator("#now")).to_contain_text("Finished")
    expect(page.locator("#now")).not_to_contain_text("Nothing heard")
    expect(page.locator("#hold")).to_contain_text("run ended")
    assert "the live page has ended" not in (run.out.parent / "said").read_text(encoding="utf-8")


def test_a_page_ends_once_its_run_was_killed(run: PageRun) -> None:
    """PG8: a page that stayed would show a run that is gone, and keep its port."""
    page = os.pidfd_open(_page_process(run))  # Readable once the process has ended.

    run.process.kill()
    run.process.wait()

    ended, _, _ = select.select([page], [], [], PATIENCE_MS / 1000)
    os.close(page)
    assert ended == [page]


def _page_process(run: PageRun) -> int:
    """Return the process of the page, a child of the run's."""
    listed = subprocess.run(
        ["ps", "--ppid", str(run.process.pid), "-o", "pid=,args="],
        capture_output=True,
        text=True,
        check=True,
    )
    (line,) = [one for one in listed.stdout.splitlines() if "page_process" in one]
    return int(line.split()[0])


def test_an_altered_record_is_shown_as_altered(browser: Browser, tmp_path: Path) -> None:
    """PG1: whoever looks at records must see that they are not what was written."""
    from tests.support.filled_store import filled

    filled(f"sqlite:///{tmp_path}/records.sqlite").close()
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        other.execute("UPDATE record SET torque_nm = 1000.0 WHERE seq = 2")
    other.close()
    serve = (
        "import asyncio, sys, uvicorn\n"
        "from coordinator.operate.page_process import *\n"
        "bound = listen('127.0.0.1:0')\n"
        "print(address_of(bound), flush=True)\n"
        "app = make_app(served_records(sys.argv[1], Feed(), Sessions({})))\n"
        "config = uvicorn.Config(app, log_level='warning')\n"
        "asyncio.run(uvicorn.Server(config).serve(sockets=[bound]))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", serve, str(tmp_path)], stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            page = browser.new_page()
            page.goto(process.stdout.readline().strip())
            expect(page.locator("#chain")).to_contain_text("row 2 (record of run 'run_1', bolt 1)")
            assert serious(page) == []
            # 1280 pixels at 400 %, WCAG 1.4.10; a tablet at 200 % is wider.
            page.set_viewport_size({"width": 320, "height": 640})
            assert page.evaluate("document.documentElement.scrollWidth") <= 320
        finally:
            process.terminate()
