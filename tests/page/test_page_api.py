"""The API behind the page, judged by its own OpenAPI document and by what must never happen."""

import asyncio
from pathlib import Path
from typing import Any

import httpx
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.core.result import Ok

from coordinator.page.feed import Feed
from coordinator.page.openapi import DOCUMENT
from coordinator.page.operators import Operator, Sessions
from coordinator.page.server import Served, make_app
from coordinator.records.store import RecordStore
from tests.support.filled_store import filled

PHRASE = "up the string"
MATE = Operator.of("mate", PHRASE)


def app_of(folder: Path, feed: Feed | None = None, consoles: tuple[str, ...] = ()) -> Any:
    path = folder / "records.sqlite"
    if not path.exists():
        filled(f"sqlite:///{path}").close()
    opened = lambda: RecordStore(f"sqlite:///{path}")  # noqa: E731
    sessions = Sessions({"mate": MATE})
    return make_app(Served(feed or Feed(), sessions, opened, hold_consoles=consoles))


def test_every_endpoint_answers_whatever_it_is_sent(tmp_path: Path) -> None:
    """PG7: nothing that can be sent may end in an error of ours or in an answer not documented."""
    schema = schemathesis.openapi.from_asgi("/api/openapi.json", app_of(tmp_path))
    tried = []
    for found in schema.get_all_operations():
        assert isinstance(found, Ok), found
        operation = found.ok()

        @settings(
            max_examples=20,
            deadline=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def try_one(case: Any) -> None:
            case.call_and_validate()

        try_one()
        tried.append(operation.label)

    assert len(tried) == sum(len(ways) for ways in DOCUMENT["paths"].values())


def ask(app: Any, *calls: tuple[str, str, Any]) -> list[httpx.Response]:
    async def run() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url="http://page") as client:
            return [
                await client.request(method, path, **({} if body is None else body))
                for method, path, body in calls
            ]

    return asyncio.run(run())


def test_nobody_acts_without_a_session(tmp_path: Path) -> None:
    """PG6: reaching the page is no right to move arms."""
    sent: list[dict[str, Any]] = []

    (act, answer) = ask(
        app_of(tmp_path, Feed(sent.append)),
        ("POST", "/api/acts", {"json": {"act": "start"}}),
        ("POST", "/api/answers", {"json": {"prompt": 1, "option": "again"}}),
    )

    assert (act.status_code, answer.status_code, sent) == (401, 401, [])


def test_a_console_that_the_site_has_named_may_hold_without_a_session(tmp_path: Path) -> None:
    """Whoever stands beside the arms must not first remember a pass phrase; nothing else is let."""
    sent: list[dict[str, Any]] = []
    feed = Feed(lambda call: answer(feed, sent, call))
    asked = [("POST", "/api/acts", {"json": {"act": act}}) for act in ("hold", "restart")]

    named = ask(app_of(tmp_path, feed, ("127.0.0.1",)), *asked, ("GET", "/api/session", None))
    other = ask(app_of(tmp_path, feed, ("10.0.0.7",)), *asked)

    assert [one.status_code for one in (*named, *other)] == [200, 401, 200, 401, 401]
    assert named[0].json() == {"outcome": "done", "text": "held by console 127.0.0.1"}
    assert (named[2].json()["who"], named[2].json()["can_hold"]) == (None, True)
    assert [(one["act"], one["who"]) for one in sent] == [("hold", "console 127.0.0.1")]


def answer(feed: Feed, sent: list[dict[str, Any]], call: dict[str, Any]) -> None:
    """Answer a call of the page at once, as a run does."""
    sent.append(call)
    text = f"held by {call['who']}"
    said = {"reply": call["call"], "outcome": "done", "text": text}
    asyncio.get_running_loop().call_soon(feed.take_reply, said)


def test_a_call_that_the_run_does_not_answer_is_told_so(tmp_path: Path) -> None:
    """P7: neither done nor refused may be shown where nobody knows."""
    consoles = ("127.0.0.1",)
    (lost,) = ask(
        app_of(tmp_path, Feed(lambda _: None), consoles),
        ("POST", "/api/acts", {"json": {"act": "hold"}}),
    )

    assert (lost.status_code, lost.json()["outcome"]) == (504, "not answered")


def test_another_site_cannot_act_with_an_operators_session(tmp_path: Path) -> None:
    """A page open beside ours must not be able to press our buttons."""
    sent: list[dict[str, Any]] = []
    signed, act = ask(
        app_of(tmp_path, Feed(sent.append)),
        ("POST", "/api/session", {"json": {"name": "mate", "phrase": PHRASE}}),
        ("POST", "/api/acts", {"json": {"act": "hold"}, "headers": {"Origin": "http://evil"}}),
    )

    assert (signed.status_code, act.status_code, sent) == (200, 403, [])


def test_guessing_a_pass_phrase_is_slowed_down(tmp_path: Path) -> None:
    """PG11: after five wrong ones even the right one waits."""
    wrong = ("POST", "/api/session", {"json": {"name": "mate", "phrase": "wrong"}})
    right = ("POST", "/api/session", {"json": {"name": "mate", "phrase": PHRASE}})

    said = ask(app_of(tmp_path), *[wrong] * 5, right)

    assert [one.status_code for one in said] == [401] * 5 + [429]


def test_files_outside_the_page_are_not_served(tmp_path: Path) -> None:
    """The folder of the page is the only one."""
    said = ask(
        app_of(tmp_path),
        ("GET", "/files/..%2Fserver.py", None),
        ("GET", "/files/console.js", None),
    )

    assert [one.status_code for one in said] == [404, 200]
    assert "default-src 'none'; script-src 'self'" in said[1].headers["content-security-policy"]


def test_the_document_tells_of_every_endpoint_of_the_api(tmp_path: Path) -> None:
    """An endpoint that the document leaves out is tested by nobody."""
    served = {
        (route.path.replace(":int", ""), method.lower())
        for route in app_of(tmp_path).routes
        for method in route.methods
        if route.path.startswith("/api/") and method != "HEAD"
    }
    left_out = {
        ("/api/openapi.json", "get"),
        ("/api/events", "get"),
        ("/api/certificates/{run}.{ending}", "get"),
    }

    told = {(path, method) for path, ways in DOCUMENT["paths"].items() for method in ways}

    assert served - told == left_out
    assert told - served == set()
