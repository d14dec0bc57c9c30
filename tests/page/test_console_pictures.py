"""The console in recorded states: kept pictures, one frame at every size, accessible, by keys."""

import json
import os
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.support.page_looks import (
    MADE_WITH,
    SHARE_MAX,
    changed_share,
    keep,
    machine,
    picture,
    visit,
)
from tests.support.page_server import RecordedPage
from tests.support.page_states import states

SIZES = ((1440, 900), (1920, 1080), (820, 1180), (390, 844))
STATES = (
    *("start", "running-up", "pulling", "prompt", "held", "alarm", "twenty-bolts"),
    *("finished-accepted", "finished-rejected"),
)
pytestmark = [pytest.mark.broker, pytest.mark.timeout(600)]


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_every_state_looks_as_it_was_kept(
    browser: Browser, recorded: RecordedPage, size: tuple[int, int], theme: str
) -> None:
    """What people rely on at a glance does not change unseen; looked at whenever it is updated."""
    is_update = bool(os.environ.get("BOTHSIDES_UPDATE_PICTURES"))
    if is_update:
        MADE_WITH.parent.mkdir(exist_ok=True)
        MADE_WITH.write_text(json.dumps(machine(), indent=1) + "\n", encoding="utf-8")
    elif json.loads(MADE_WITH.read_text(encoding="utf-8")) != machine():
        pytest.skip(f"pictures were kept with another browser or font: {MADE_WITH.read_text()}")
    recorded.show(states()["start"])
    page = visit(browser, recorded, size, theme)
    changed = {}
    for name in STATES:
        show(page, recorded, name)
        kept = f"{name}_{size[0]}x{size[1]}_{theme}"
        if is_update:
            keep(kept, picture(page))
        if (share := changed_share(kept, picture(page))) > SHARE_MAX:
            changed[kept] = share

    assert changed == {}, "look at them; if right, keep them with BOTHSIDES_UPDATE_PICTURES=1"


@pytest.mark.parametrize("size", [*SIZES, (1024, 768), (320, 640)], ids=lambda size: str(size[0]))
def test_the_frame_stays_and_hold_is_never_covered(
    browser: Browser, recorded: RecordedPage, size: tuple[int, int]
) -> None:
    """HOLD is one rectangle in all states, on top wherever one has scrolled; nothing sticks out."""
    recorded.show(states()["start"])
    page = visit(browser, recorded, size)
    places = set()
    for name in STATES:
        show(page, recorded, name)
        wide, high = page.evaluate("[document.documentElement.scrollWidth, innerHeight]")
        assert wide <= size[0], f"{name} is {wide} wide"
        if size[0] > 700:
            tall = page.evaluate("document.documentElement.scrollHeight")
            assert tall <= high, f"{name} is {tall} high"
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        if size[0] > 700:
            page.locator('[data-act="more"]').click()
        places.add(json.dumps(page.evaluate(HOLD_PLACE)))
        if size[0] > 700:
            page.get_by_role("button", name="Close").click()
        expect(page.locator("#hold")).to_be_enabled()

    assert len(places) == 1, places
    assert json.loads(places.pop())["is_on_top"]


HOLD_PLACE = """() => {
  const hold = document.querySelector('#hold'), box = hold.getBoundingClientRect();
  const spots = [[.1, .1], [.5, .5], [.9, .9]].map(([x, y]) =>
    document.elementFromPoint(box.left + box.width * x, box.top + box.height * y));
  return {left: box.left, top: box.top, width: box.width, height: box.height,
    is_on_top: spots.every((one) => hold.contains(one))}; }"""


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", [(1440, 900), (390, 844)], ids=["wide", "phone"])
def test_nothing_stands_between_the_console_and_a_screen_reader(
    browser: Browser, recorded: RecordedPage, size: tuple[int, int], theme: str
) -> None:
    """Axe finds no violation at all, in any state, with the panels open too."""
    recorded.show(states()["start"])
    page = visit(browser, recorded, size, theme)
    for name in STATES:
        show(page, recorded, name)
        assert violations(page) == [], name
    page.locator('[data-act="more"]').click()
    assert violations(page) == []
    page.get_by_role("button", name="Close").click()
    page.locator(".who button").click()
    assert violations(page) == []


def test_a_person_recovers_from_a_trip_by_keyboard_alone(
    browser: Browser, recorded: RecordedPage
) -> None:
    """Acknowledge, reset, restart, then hold by its key: no hand on a mouse."""
    recorded.show(states()["floor-clear-again"])
    page = visit(browser, recorded)

    tab_to(page, "ack-person_on_floor")
    page.keyboard.press("Enter")
    tab_to(page, "reset")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("done")
    recorded.show(states()["reset"])
    expect(page.locator('#now [data-act="restart"]')).to_be_enabled()
    tab_to(page, "restart")
    page.keyboard.press("Enter")
    page.keyboard.press("h")
    expect(page.locator("#said")).to_contain_text("done")

    asked = [one.get("act") or one.get("words") for one in recorded.calls]
    assert asked == ["acknowledge person_on_floor", "reset", "restart", "hold"]
    assert {one["who"] for one in recorded.calls} == {"mate"}
    assert len({one["id"] for one in recorded.calls}) == 4


def test_old_data_greys_the_whole_page_and_only_hold_is_left(
    browser: Browser, recorded: RecordedPage
) -> None:
    """Nobody may act on what stood there four seconds ago; to hold is never wrong."""
    recorded.show(states()["pulling"])
    page = visit(browser, recorded)
    expect(page.locator('[data-act="pause"]')).to_be_enabled()

    recorded.is_silent = True

    expect(page.locator("#now")).to_contain_text("Nothing heard", timeout=6_000)
    expect(page.locator("#frame")).to_have_class("stale  ")
    for name in ("pause", "stop", "abort"):
        expect(page.locator(f'[data-act="{name}"]')).to_be_disabled()
    page.locator("#hold").click()
    expect(page.locator("#said")).to_contain_text("done")
    assert [one["act"] for one in recorded.calls] == ["hold"]
    recorded.is_silent = False
    expect(page.locator("#now")).to_contain_text("Fore and aft pull bolts 3 and 7 together.")


def test_looking_back_is_unmistakable_and_cannot_act(
    browser: Browser, recorded: RecordedPage
) -> None:
    """Dragged to the past every act is off but HOLD, which holds the live run."""
    for name in ("start", "running-up", "pulling"):
        recorded.feed.history.keep(states()[name])
    recorded.show(states()["pulling"])
    page = visit(browser, recorded)
    strip = page.locator("#time svg").bounding_box()
    assert strip is not None

    y = strip["y"] + 60
    page.mouse.move(strip["x"] + strip["width"] * 0.8, y)
    page.mouse.down()
    page.mouse.move(strip["x"] + strip["width"] * 0.5, y)
    page.mouse.up()

    expect(page.locator("#now")).to_contain_text("Looking back: 11:40")
    expect(page.locator("#sides")).to_contain_text("looks for hole 4")
    assert page.locator("button.b:enabled").all_inner_texts() == ["Back to now", "More…"]
    expect(page.locator("#hold")).to_contain_text("the live run")
    page.keyboard.press("h")
    expect(page.locator("#hold")).to_contain_text("the live run")
    page.wait_for_timeout(200)
    assert [one["act"] for one in recorded.calls] == ["hold"]
    page.keyboard.press("l")
    expect(page.locator("#now")).to_contain_text("pull bolts 3 and 7 together")


def test_what_is_typed_outlives_every_update(browser: Browser, recorded: RecordedPage) -> None:
    """A torque half typed must not be gone because a signal came."""
    recorded.show(states()["prompt"])
    page = visit(browser, recorded)
    field = page.get_by_label("Check torque by hand, N·m")
    field.fill("3100")
    page.get_by_label("Done by").fill("Ada")
    page.wait_for_timeout(1_200)

    expect(field).to_have_value("3100")
    page.locator('[data-act$="by_hand"]').click()
    expect(page.locator("#prompt-list .said")).to_contain_text("done")
    (call,) = recorded.calls
    assert (call["option"], call["torque_nm"], call["done_by"]) == ("by_hand", 3100, "Ada")


def test_stop_and_abort_ask_once_and_a_refusal_stands_beside_the_button(
    browser: Browser, recorded: RecordedPage
) -> None:
    """One slip ends no run; what the coordinator answered is read where it was pressed."""
    recorded.show(states()["pulling"])
    recorded.answer = lambda call: ("refused", "not from here, says the core")
    page = visit(browser, recorded)

    page.locator('[data-act="stop"]').click()
    assert recorded.calls == []
    page.get_by_role("button", name="No", exact=True).click()
    assert recorded.calls == []
    page.locator('[data-act="abort"]').click()
    page.locator('[data-act="yes-abort"]').click()

    expect(page.locator(".acts-row .said")).to_contain_text("refused: not from here, says the core")
    assert [one["act"] for one in recorded.calls] == ["abort"]


def test_words_of_files_and_wire_are_shown_as_words(
    browser: Browser, recorded: RecordedPage
) -> None:
    """A sequence or a party that carries markup puts no element on the page and runs nothing."""
    bad = (
        "<img src=x onerror=\"document.title='owned'\"><script>document.title='owned'</script>\x07"
    )
    shown: dict[str, Any] = json.loads(json.dumps(states()["prompt"]))
    shown["joint"] = shown["sequence"] = shown["reason"] = bad
    shown["prompts"][0].update(text=bad, caution=bad, fault=bad, evidence={bad: bad})
    shown["lanes"][0].update(doing=bad, unmet=[bad], next=bad)
    shown["notices"] = [{"at_s": 1.0, "severity": "alarm", "kind": "x", "text": bad}]
    recorded.show(shown)
    page = visit(browser, recorded)
    page.locator('[data-act="more"]').click()

    expect(page.locator("#prompt-list")).to_contain_text("<img src=x")
    expect(page.locator("#notices")).to_contain_text("<script>")
    assert page.locator("#app img, #app script").count() == 0
    assert page.title().startswith("▲ Running")


def show(page: Page, recorded: RecordedPage, name: str) -> None:
    """Send a state and wait until it is what the page shows."""
    wanted = states()[name]
    recorded.show(wanted)
    page.wait_for_function(
        "([at, joint, key]) => document.querySelector('#title').textContent === joint"
        " && document.querySelector('#now').dataset.key === key"
        " && document.querySelector('.clock b').textContent === at",
        arg=[clock(wanted["at_s"]), wanted["joint"], wanted["now"]["key"]],
    )
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done, 60)))")


def clock(at_s: float) -> str:
    """Return a time as the page writes it."""
    minutes, seconds = divmod(int(at_s), 60)
    return f"{minutes}:{seconds:02d}"


def tab_to(page: Page, act: str) -> None:
    """Go to an act by the keyboard alone."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.act") == act:
            return
    raise AssertionError(f"the keyboard does not reach '{act}'")


def violations(page: Page) -> list[str]:
    """Return all that axe-core finds."""
    found = Axe().run(page)
    return [f"{one['id']}: {one['nodes'][0]['html'][:200]}" for one in found.response["violations"]]
