"""Describe the API behind the page as an OpenAPI document; tests judge the API by it."""

from dataclasses import fields
from typing import Any

from coordinator.core.events import Act
from coordinator.records.rows import RecordFilter

CALL_ID = "^[A-Za-z0-9_-]{1,64}$"
_TEXT: dict[str, Any] = {"type": "string"}
_WHOLE: dict[str, Any] = {"type": "integer", "minimum": 0, "maximum": 2**31 - 1}
_TORQUE: dict[str, Any] = {"type": "number", "minimum": 0, "maximum": 2**31 - 1}
_ERROR: dict[str, Any] = {
    "type": "object",
    "required": ["error"],
    "properties": {"error": _TEXT},
}


def _answer(text: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"description": text, "content": {"application/json": {"schema": schema}}}


def _object(*names: str) -> dict[str, Any]:
    return {"type": "object", "required": list(names)}


def _errors(*codes: int) -> dict[str, Any]:
    words = {
        401: "nobody is signed in",
        403: "asked from another site",
        404: "not there",
        413: "too long",
        422: "cannot be used; says why",
        429: "wait",
        503: "not now",
    }
    return {str(code): _answer(words[code], _ERROR) for code in codes}


def _body(optional: tuple[str, ...] = (), **properties: dict[str, Any]) -> dict[str, Any]:
    schema = {
        "type": "object",
        "additionalProperties": False,
        "required": [name for name in properties if name not in optional],
        "properties": properties,
    }
    return {"required": True, "content": {"application/json": {"schema": schema}}}


def _filter(name: str) -> dict[str, Any]:
    schema: dict[str, Any] = {"type": "string", "pattern": "^[^\\x00]*$"}
    if name in ("bolt", "round", "after"):
        schema = _WHOLE
    elif name == "limit":
        schema = {"type": "integer", "minimum": 1, "maximum": 500}
    elif name == "simulated":
        schema = {"type": "boolean"}
    return {"name": name, "in": "query", "schema": schema}


_CALL = {
    "id": {
        "type": "string",
        "pattern": CALL_ID,
        "description": "its name, the same if it is sent again",
    },
    "pressed_s": {
        **_TORQUE,
        "description": "the run's time shown last, plus what the caller's own clock has run since; "
        "what was pressed more than 2 s ago is refused as too late, a hold never",
    },
}
_CALLED = {
    "200": _answer("the coordinator has done it; says what", _object("outcome", "text")),
    "409": _answer("refused, too late or taken already; says why", _object("outcome", "text")),
    "504": _answer("not answered in time; it may count yet", _object("outcome", "text")),
    **_errors(401, 403, 413, 422),
}
_FILTERS = [_filter(one.name) for one in fields(RecordFilter)] + [
    _filter("limit"),
    _filter("after"),
]

DOCUMENT: dict[str, Any] = {
    "openapi": "3.1.0",
    "info": {
        "title": "Bothsides page",
        "version": "1",
        "description": "Looking is open to whoever reaches the page. Acting needs a session; it "
        "goes to the coordinator, never to an arm.",
    },
    "paths": {
        "/api/state": {
            "get": {
                "summary": "The newest snapshot of the run, null without one",
                "responses": {"200": _answer("it", _object("run"))},
            }
        },
        "/api/moments": {
            "get": {
                "summary": "The snapshot of the run as it was at a time, null without one",
                "parameters": [
                    {
                        "name": "at",
                        "in": "query",
                        "required": True,
                        "schema": {"type": "string", "pattern": "^[0-9]{1,9}(\\.[0-9]{1,3})?$"},
                    }
                ],
                "responses": {"200": _answer("it", _object("moment")), **_errors(422)},
            }
        },
        "/api/session": {
            "get": {
                "summary": "Who is signed in",
                "responses": {
                    "200": _answer("it", _object("who", "can_sign_in", "can_hold", "has_run"))
                },
            },
            "post": {
                "summary": "Sign in; the session comes as a cookie",
                "requestBody": _body(name=_TEXT, phrase=_TEXT),
                "responses": {
                    "200": _answer("signed in", _object("who")),
                    **_errors(401, 403, 413, 422, 429),
                },
            },
            "delete": {
                "summary": "Sign out",
                "responses": {"200": _answer("signed out", _object("who")), **_errors(403)},
            },
        },
        "/api/acts": {
            "post": {
                "summary": "Do something to the procedure",
                "requestBody": _body(
                    tuple(_CALL),
                    act={"type": "string", "enum": [one.value for one in Act]},
                    **_CALL,
                ),
                "responses": _CALLED,
            }
        },
        "/api/answers": {
            "post": {
                "summary": "Answer an open prompt; the first answer counts",
                "requestBody": _body(
                    ("torque_nm", "done_by", *_CALL),
                    prompt=_WHOLE,
                    option=_TEXT,
                    torque_nm=_TORQUE,
                    done_by=_TEXT,
                    **_CALL,
                ),
                "responses": _CALLED,
            }
        },
        "/api/words": {
            "post": {
                "summary": "Say words as at the terminal: mode, step, override, end, acknowledge, "
                "shelve, take",
                "requestBody": _body(tuple(_CALL), words=_TEXT, **_CALL),
                "responses": _CALLED,
            }
        },
        "/api/runs": {
            "get": {
                "summary": "All runs",
                "responses": {"200": _answer("they", _object("runs")), **_errors(503)},
            }
        },
        "/api/records": {
            "get": {
                "summary": "Records that fit, without samples, in the order written",
                "parameters": _FILTERS,
                "responses": {"200": _answer("they", _object("records")), **_errors(422, 503)},
            }
        },
        "/api/records/{number}": {
            "get": {
                "summary": "One record with its samples",
                "parameters": [
                    {"name": "number", "in": "path", "required": True, "schema": _WHOLE}
                ],
                "responses": {"200": _answer("it", _object("record")), **_errors(404, 503)},
            }
        },
        "/api/verify": {
            "get": {
                "summary": "Whether the chain over all records is whole",
                "responses": {
                    "200": _answer("it", _object("is_whole", "rows", "head", "finding")),
                    **_errors(503),
                },
            }
        },
    },
}
