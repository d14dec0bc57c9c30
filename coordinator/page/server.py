"""Serve the page and its API: what everybody may see, and what a signed-in operator may ask.

Invariants: PG5, the page speaks to no arm: calls go to the run's coordinator, which decides; PG6,
without a session nothing but looking is possible; PG7, bad input to the page is answered, never
passed on.
"""

import asyncio
import contextlib
import json
import re
import time
from collections.abc import AsyncIterator, Callable, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.base import BaseHTTPMiddleware, RequestResponseEndpoint
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    JSONResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

from coordinator.core.events import Act
from coordinator.page.feed import NOT_ANSWERED, VIEWERS_MAX, Feed
from coordinator.page.openapi import CALL_ID, DOCUMENT
from coordinator.page.operators import Sessions
from coordinator.page.text_view import to_text
from coordinator.records.rows import RecordFilter
from coordinator.records.store import RecordsFailed, RecordStore

FILES = Path(__file__).parent / "files"
COOKIE = "bothsides_session"
BODY_MAX = 4096
"""Bytes; chosen: an act or an answer needs a hundred."""
PAGE_MAX = 500
"""Chosen: records in one answer of the API."""
INT_MAX = 2**31 - 1
_NONE: Mapping[str, type] = {}
_CALL: Mapping[str, type] = {"id": str, "pressed_s": float}
"""What every call may carry: its name where it may come twice, and the run's time at the press."""
_OF_HANDS: Mapping[str, type] = {"torque_nm": float, "done_by": str, **_CALL}
"""What an answer may say besides of work by hand."""
_KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript", ".txt": "text/plain"}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; "
    "style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'self'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True, slots=True)
class Served:
    """What the page is made of."""

    feed: Feed
    sessions: Sessions
    store: Callable[[], RecordStore | None]
    """Opens the record store; None while there is none."""
    certificate: Callable[[str, str], bytes] | None = None
    """Run and ending to a certificate."""
    hold_consoles: tuple[str, ...] = ()
    """Addresses from which a hold needs no sign-in, as the site has named them."""


def make_app(served: Served) -> Starlette:
    """Return the application."""
    page = _Page(served)
    return Starlette(
        routes=[
            Route("/", page.index, methods=["GET"]),
            Route("/records", page.index, methods=["GET"]),
            Route("/text", page.text, methods=["GET"]),
            Route("/files/{name}", page.file, methods=["GET"]),
            Route("/api/openapi.json", page.openapi, methods=["GET"]),
            Route("/api/state", page.state, methods=["GET"]),
            Route("/api/moments", page.moment, methods=["GET"]),
            Route("/api/events", page.events, methods=["GET"]),
            Route("/api/session", page.session, methods=["GET"]),
            Route("/api/session", page.sign_in, methods=["POST"]),
            Route("/api/session", page.sign_out, methods=["DELETE"]),
            Route("/api/acts", page.act, methods=["POST"]),
            Route("/api/answers", page.answer, methods=["POST"]),
            Route("/api/words", page.words, methods=["POST"]),
            Route("/api/runs", page.runs, methods=["GET"]),
            Route("/api/records", page.records, methods=["GET"]),
            Route("/api/records/{number:int}", page.record, methods=["GET"]),
            Route("/api/verify", page.verify, methods=["GET"]),
            Route("/api/certificates/{run}.{ending}", page.certificate, methods=["GET"]),
        ],
        middleware=[Middleware(BaseHTTPMiddleware, dispatch=_guard)],
        exception_handlers={
            HTTPException: _refused,
            RecordsFailed: _records_failed,
        },
    )


async def _guard(request: Request, call_next: RequestResponseEndpoint) -> Response:
    """Refuse writes that another site has started, and set the headers of every answer."""
    origin = request.headers.get("origin")
    is_write = request.method not in ("GET", "HEAD")
    if is_write and origin and urlsplit(origin).netloc != request.headers.get("host"):
        return JSONResponse({"error": "asked from another site"}, 403, headers=_HEADERS)
    response = await call_next(request)
    for name, value in _HEADERS.items():
        response.headers[name] = value
    return response


async def _refused(_: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    return JSONResponse({"error": error.detail}, error.status_code, headers=error.headers)


async def _records_failed(_: Request, error: Exception) -> Response:
    status = 404 if "REC002" in str(error) else 503
    return JSONResponse({"error": str(error)}, status)


class _Page:
    """The endpoints."""

    def __init__(self, served: Served) -> None:
        self._served = served

    async def index(self, _: Request) -> Response:
        return FileResponse(FILES / "index.html", media_type="text/html")

    async def file(self, request: Request) -> Response:
        path = FILES / str(request.path_params["name"])
        known = {one.name for one in FILES.iterdir()}
        if path.name not in known or path.suffix not in _KINDS:
            raise HTTPException(404, "there is no such file")
        return FileResponse(FILES / path.name, media_type=_KINDS[path.suffix])

    async def openapi(self, _: Request) -> Response:
        return JSONResponse(DOCUMENT)

    async def text(self, _: Request) -> Response:
        snapshot = self._served.feed.snapshot
        words = "there is no run behind this page\n" if snapshot is None else to_text(snapshot)
        return PlainTextResponse(words, headers={"Refresh": "5"})

    async def state(self, _: Request) -> Response:
        return JSONResponse({"run": self._served.feed.snapshot})

    async def moment(self, request: Request) -> Response:
        text = request.query_params.get("at", "")
        if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,3})?", text):
            raise HTTPException(422, "at must be seconds since the run began, such as 1100.5")
        return JSONResponse({"moment": self._served.feed.history.at(float(text))})

    async def events(self, _: Request) -> Response:
        if self._served.feed.viewers >= VIEWERS_MAX:
            raise HTTPException(503, f"{VIEWERS_MAX} viewers look already; use /text")
        return StreamingResponse(self._lines(), media_type="text/event-stream")

    async def _lines(self) -> AsyncIterator[str]:
        async with contextlib.aclosing(self._served.feed.follow()) as snapshots:
            yield "retry: 1000\n\n"
            async for snapshot in snapshots:
                if snapshot is None:
                    yield ": still here\n\n"
                else:
                    yield f"data: {json.dumps(snapshot, ensure_ascii=False)}\n\n"

    async def session(self, request: Request) -> Response:
        who = self._who(request)
        return JSONResponse(
            {
                "who": who,
                "can_sign_in": self._served.sessions.is_possible,
                "can_hold": who is not None or self._is_hold_console(request),
                "has_run": self._served.feed.has_run,
            }
        )

    async def sign_in(self, request: Request) -> Response:
        body = await _body(request, {"name": str, "phrase": str})
        sessions, now_s = self._served.sessions, time.monotonic()
        if sessions.is_locked(body["name"], now_s):
            raise HTTPException(429, "too many wrong pass phrases; wait a minute")
        # Elsewhere: a digest takes long on purpose, and viewers must not wait for it.
        token = await asyncio.to_thread(sessions.sign_in, body["name"], body["phrase"], now_s)
        if token is None:
            raise HTTPException(401, "name and pass phrase do not fit")
        response = JSONResponse({"who": body["name"]})
        response.set_cookie(COOKIE, token, httponly=True, samesite="strict")
        return response

    async def sign_out(self, request: Request) -> Response:
        self._served.sessions.sign_out(request.cookies.get(COOKIE, ""))
        response = JSONResponse({"who": None})
        response.delete_cookie(COOKIE)
        return response

    async def act(self, request: Request) -> Response:
        body = await _body(request, {"act": str}, _CALL)
        if body["act"] not in [one.value for one in Act]:
            known = ", ".join(one.value for one in Act)
            raise HTTPException(422, f"act is '{body['act']}', must be one of {known}")
        # A hold needs nobody's leave where the site has named the console.
        is_free = body["act"] == Act.HOLD and self._is_hold_console(request)
        console = f"console {_host_of(request)}" if is_free else ""
        return await self._call({**body, "who": self._require_operator(request, console)})

    async def answer(self, request: Request) -> Response:
        who = self._require_operator(request)
        body = await _body(request, {"prompt": int, "option": str}, _OF_HANDS)
        return await self._call({**body, "who": who})

    async def words(self, request: Request) -> Response:
        who = self._require_operator(request)
        body = await _body(request, {"words": str}, _CALL)
        return await self._call({**body, "who": who})

    async def _call(self, content: dict[str, Any]) -> Response:
        reply = await self._served.feed.call(content)
        outcome = str(reply["outcome"])
        status = {"done": 200, NOT_ANSWERED: 504}.get(outcome, 409)
        return JSONResponse({"outcome": outcome, "text": reply["text"]}, status)

    async def runs(self, _: Request) -> Response:
        def read() -> list[dict[str, Any]]:
            with self._opened() as store:
                return [] if store is None else [asdict(one) for one in store.runs()]

        return JSONResponse({"runs": await asyncio.to_thread(read)})

    async def records(self, request: Request) -> Response:
        wanted, limit, after = _wanted(request)

        def read() -> list[dict[str, Any]]:
            with self._opened() as store:
                if store is None:
                    return []
                found = store.list_records(wanted, traces=False, after=after, limit=limit)
            return [_without_traces(one) for one in found]

        return JSONResponse({"records": await asyncio.to_thread(read)})

    async def record(self, request: Request) -> Response:
        number = int(request.path_params["number"])
        if number > INT_MAX:
            raise HTTPException(404, "there is no such record")

        def read() -> dict[str, Any] | None:
            with self._opened() as store:
                return None if store is None else asdict(store.show(number))

        found = await asyncio.to_thread(read)
        if found is None:
            raise HTTPException(404, "there are no records yet")
        return JSONResponse({"record": found})

    async def verify(self, _: Request) -> Response:
        def read() -> dict[str, Any]:
            with self._opened() as store:
                if store is None:
                    return {"is_whole": True, "rows": 0, "head": "", "finding": None}
                finding, rows, head = store.verified()
            return {"is_whole": finding is None, "rows": rows, "head": head, "finding": finding}

        return JSONResponse(await asyncio.to_thread(read))

    async def certificate(self, request: Request) -> Response:
        run, ending = request.path_params["run"], "." + request.path_params["ending"]
        kinds = {".pdf": "application/pdf", ".html": "text/html"}
        make = self._served.certificate
        if make is None or ending not in kinds:
            raise HTTPException(404, "certificates end in .pdf or .html")
        return Response(await asyncio.to_thread(make, run, ending), media_type=kinds[ending])

    @contextlib.contextmanager
    def _opened(self) -> Any:
        store = self._served.store()
        try:
            yield store
        finally:
            if store is not None:
                store.close()

    def _who(self, request: Request) -> str | None:
        return self._served.sessions.who(request.cookies.get(COOKIE, ""), time.monotonic())

    def _is_hold_console(self, request: Request) -> bool:
        return _host_of(request) in self._served.hold_consoles

    def _require_operator(self, request: Request, otherwise: str = "") -> str:
        """Return who is signed in, else who may do it without that."""
        who = self._who(request) or otherwise
        if not who:
            raise HTTPException(401, "sign in first; without that the page only shows")
        return who


def _host_of(request: Request) -> str:
    return "" if request.client is None else request.client.host


def _without_traces(one: Any) -> dict[str, Any]:
    return {name: value for name, value in asdict(one).items() if not name.startswith("trace_")}


def _wanted(request: Request) -> tuple[RecordFilter, int, int]:
    """Read the filters of a list; a word that is none of them is refused, not passed over."""
    whole = ("bolt", "round")
    names = [one.name for one in fields(RecordFilter)]
    values: dict[str, Any] = {}
    for name, text in request.query_params.multi_items():
        if name in (*whole, "limit", "after"):
            if not (text.isascii() and text.isdecimal()) or int(text) > INT_MAX:
                raise HTTPException(422, f"{name} is '{text}', must be a whole number")
            values[name] = int(text)
        elif name == "simulated":
            if text not in ("true", "false"):
                raise HTTPException(422, f"simulated is '{text}', must be true or false")
            values[name] = text == "true"
        elif name in names:
            if "\x00" in text:
                raise HTTPException(422, f"{name} holds a character that no record has")
            values[name] = text
        else:
            raise HTTPException(422, f"'{name}' is no filter, must be one of {', '.join(names)}")
    limit = values.pop("limit", PAGE_MAX)
    if not 1 <= limit <= PAGE_MAX:
        raise HTTPException(422, f"limit is {limit}, must be 1 to {PAGE_MAX}")
    after = values.pop("after", 0)
    return RecordFilter(**values), limit, after


async def _body(
    request: Request, wanted: dict[str, type], optional: Mapping[str, type] = _NONE
) -> dict[str, Any]:
    """Read a small JSON body with exactly these keys; those of `optional` may be left out."""
    text = b""
    async for chunk in request.stream():
        text += chunk
        if len(text) > BODY_MAX:
            raise HTTPException(413, f"body must be at most {BODY_MAX} bytes")
    try:
        body = json.loads(text)
    except (ValueError, RecursionError):
        raise HTTPException(422, "body must be JSON") from None
    keys = ", ".join(wanted)
    if not isinstance(body, dict) or set(body) - set(optional) != set(wanted):
        more = f" and may have {', '.join(optional)}" if optional else ""
        raise HTTPException(422, f"body must have exactly the keys {keys}{more}")
    for name in (one for one in optional if optional[one] is float):
        value = body.get(name, 0)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise HTTPException(422, f"{name} must be a number")
        if not 0 <= value <= INT_MAX:
            raise HTTPException(422, f"{name} must be 0 to {INT_MAX}")
    texts = {name: kind for name, kind in optional.items() if kind is str and name in body}
    for name, kind in {**wanted, **texts}.items():
        if type(body[name]) is not kind:
            raise HTTPException(422, f"{name} must be {'text' if kind is str else 'a number'}")
        if isinstance(body[name], int) and not 0 <= body[name] <= INT_MAX:
            raise HTTPException(422, f"{name} must be 0 to {INT_MAX}")
        if name == "id" and not re.search(CALL_ID, body[name]):
            raise HTTPException(422, f"id must fit {CALL_ID}")
        if name in ("option", "words", "done_by") and not body[name].isprintable():
            raise HTTPException(422, f"{name} must be printable text")
    return body
