"""Describe the API behind the page as an OpenAPI document; tests judge the API by it."""

from dataclasses import fields
from typing import Any

from coordinator.core.events import Act
from coordinator.records.rows import RecordFilter

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


_CALLED = {
    "202": _answer("given to the coordinator, which decides", _object("text")),
    "409": _answer("cannot count any more; says why", _object("text")),
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
        "/api/session": {
            "get": {
                "summary": "Who is signed in",
                "responses": {"200": _answer("it", _object("who", "can_sign_in", "has_run"))},
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
                "requestBody": _body(act={"type": "string", "enum": [one.value for one in Act]}),
                "responses": _CALLED,
            }
        },
        "/api/answers": {
            "post": {
                "summary": "Answer an open prompt; the first answer counts",
                "requestBody": _body(
                    ("torque_nm", "done_by"),
                    prompt=_WHOLE,
                    option=_TEXT,
                    torque_nm=_TORQUE,
                    done_by=_TEXT,
                ),
                "responses": _CALLED,
            }
        },
        "/api/words": {
            "post": {
                "summary": "Say words as at the terminal: mode, step, override, end, acknowledge, "
                "shelve, take",
                "requestBody": _body(words=_TEXT),
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
