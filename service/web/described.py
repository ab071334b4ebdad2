"""The HTTP interface in one OpenAPI 3.1 document: every door and page, what each takes and every way it answers."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

from service.web.problems import MEDIA_TYPE

Json = dict[str, Any]

NOTHING: Mapping[int, Json] = MappingProxyType({})
TEXT: Json = {"type": "string"}
FORM = "application/x-www-form-urlencoded"
EVERYWHERE = (400, 405, 414, 421, 429, 431, 500, 503)
"""Ways in which any request may be refused; 421 alone is never a page."""

SENT = (408, 413, 415, 422)
"""Further ways where something is sent."""

SAID = {
    400: "The request is misshapen",
    401: "Proof is missing or wrong",
    403: "The key, the form or the site it was sent from is not the right one",
    404: "There is no such page, or the link opens nothing",
    405: "The address knows other methods, which `Allow` lists",
    408: "The request did not arrive in time",
    410: "The link's day is over",
    413: "What was sent is longer than is taken",
    414: "The address is too long",
    415: "What was sent is of another kind than is taken",
    421: "The service is not known under that name",
    422: "What was sent does not say what is needed",
    429: "Too much in a short time",
    431: "The headers are too long",
    500: "Something of ours failed",
    503: "The service cannot work at this moment",
}

WEBHOOK = {
    "webhook-id": "The sender's own id of the message; a repeated one is answered as the first was.",
    "webhook-timestamp": "Unix seconds at which the message was signed; at most five minutes from now.",
    "webhook-signature": "`v1,` and the signature of Standard Webhooks over id, timestamp and body.",
}

COMPONENTS: Json = {
    "schemas": {
        "Problem": {
            "type": "object",
            "description": "A problem (RFC 9457): what is wrong, and what would be right.",
            "required": ["type", "title", "status", "detail"],
            "properties": {
                "type": {"type": "string", "format": "uri-reference"},
                "title": TEXT,
                "status": {"type": "integer", "minimum": 400, "maximum": 599},
                "detail": TEXT,
                "wrong": {"type": "array", "items": TEXT, "description": "Of /ready: each reason by itself."},
            },
        },
        "Stored": {
            "type": "object",
            "description": "The message is stored under this id; sending it again gives the same one.",
            "required": ["id"],
            "properties": {"id": TEXT},
        },
        "State": {
            "type": "object",
            "description": "All is well.",
            "required": ["ok", "wrong"],
            "properties": {
                "ok": {"const": True},
                "wrong": {"type": "array", "maxItems": 0},
                "notes": {"type": "array", "items": TEXT, "description": "Of /health: worth knowing, though it works."},
            },
        },
    },
    "securitySchemes": {
        "signature": {
            "type": "apiKey", "in": "header", "name": "webhook-signature",
            "description": "Standard Webhooks, with `webhook-id` and `webhook-timestamp`: proves a message.",
        },
        "token": {
            "type": "apiKey", "in": "query", "name": "token",
            "description": "Lets a message in unproven, where the channel has one: it can raise an alarm, not end one.",
        },
        "board": {
            "type": "apiKey", "in": "cookie", "name": "board",
            "description": "Given at /board/key, for one school day; over TLS its name is `__Host-board`.",
        },
        "key": {"type": "http", "scheme": "bearer", "description": "The board's key itself."},
    },
}  # fmt: skip


def document() -> Json:
    """The whole document."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "bellcheck",
            "version": "1",
            "description": "Programs send what people answer to /in/{channel}; the rest is pages for people. Whoever "
            "names HTML in `Accept` gets refusals as pages, everybody else as problem details.",
        },
        "paths": {path: dict(methods) for path, methods in PATHS.items()},
        "components": COMPONENTS,
    }


def _answers(good: Mapping[int, Json], refused: Sequence[int]) -> Json:
    found = {str(status): answer for status, answer in good.items()}
    for status in sorted({*refused, *EVERYWHERE}):
        found[str(status)] = _refusal(status)
    return found


def _refusal(status: int) -> Json:
    content: Json = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    if status != HTTPStatus.MISDIRECTED_REQUEST:
        content["text/html"] = {"schema": TEXT}
    told: Json = {"description": SAID[status], "content": content}
    if status == HTTPStatus.METHOD_NOT_ALLOWED:
        told["headers"] = {"allow": {"schema": TEXT, "required": True}}
    if status == HTTPStatus.TOO_MANY_REQUESTS:
        told["headers"] = {"retry-after": {"schema": {"type": "string", "pattern": "^[0-9]+$"}, "required": True}}
    return told


def _page(says: str) -> Json:
    return {"description": says, "content": {"text/html": {"schema": TEXT}}}


def _json(says: str, schema: str) -> Json:
    return {
        "description": says,
        "content": {"application/json": {"schema": {"$ref": f"#/components/schemas/{schema}"}}},
    }


SEE_OTHER: Json = {"description": "Done: see the page", "headers": {"location": {"schema": TEXT, "required": True}}}
UNCHANGED: Json = {"description": "Unchanged since `If-None-Match`"}
SHOWN = _page("The page again, with what would come of it")


def _in_path(names: Mapping[str, str]) -> list[Json]:
    kind = {"type": "string", "minLength": 1}
    return [
        {"name": name, "in": "path", "required": True, "description": says, "schema": kind}
        for name, says in names.items()
    ]


def _look(
    summary: str,
    good: Json,
    *refused: int,
    also: Mapping[int, Json] = NOTHING,
    parameters: Sequence[Json] = (),
    security: Sequence[Json] = (),
) -> Json:
    """What GET answers, and HEAD without the body."""
    return _both(summary, _answers({200: good, **also}, refused), parameters, security)


def _both(
    summary: str, answers: Json, parameters: Sequence[Json] = (), security: Sequence[Json] = ()
) -> Json:
    told: Json = {"summary": summary, "parameters": list(parameters), "responses": answers}
    if security:
        told["security"] = list(security)
    bare = {status: {"description": each["description"]} for status, each in answers.items()}
    return {"get": told, "head": {**told, "responses": bare}}


def _form(
    summary: str,
    names: Mapping[str, Json],
    *refused: int,
    parameters: Sequence[Json] = (),
    security: Sequence[Json] = (),
) -> Json:
    schema = {"type": "object", "properties": dict(names), "additionalProperties": TEXT}
    told: Json = {
        "summary": summary,
        "parameters": list(parameters),
        "requestBody": {
            "required": True,
            "content": {kind: {"schema": schema} for kind in (FORM, "multipart/form-data")},
        },
        "responses": _answers({200: SHOWN, 303: SEE_OTHER}, (*SENT, 403, *refused)),
    }
    return {**told, "security": list(security)} if security else told


SAID_AFTER: Json = {
    "name": "said", "in": "query", "schema": TEXT, "description": "Which sentence of ours the page begins with.",
}  # fmt: skip
OWN = {"person": "Whose link it is.", "token": "What makes the link this person's own."}
ROUND = _in_path({"round_id": "The round; its links end with its day.", **OWN})
STANDING = _in_path(OWN)
TYPED = _in_path({"id": "The message; the link ends with its day.", **OWN})
PRESS: Mapping[str, Json] = {
    "do": {"type": "string", "description": "What the pressed button says.", "examples": ["all", "1:working", "undo"]},
    "word": {"type": "string", "description": "The mark of the page the button stood on; the same press twice is one."},
}
BOARD: Mapping[str, Json] = {
    "token": {"type": "string", "description": "The mark of the board the form stood on."},
    "actor": {"type": "string", "description": "Who acts, by their own word."},
}
COUNT: Mapping[str, Json] = {
    "shelf": {"type": "string", "description": "Its id in the folder."},
    "seen": {"type": "string", "description": "The last count that the form knew of; empty for none."},
    "coming": {"type": "string", "description": "How many are on order."},
    "n1": {"type": "string", "description": "How many the first lot has; n2 to n6 those after it."},
    "until1": {"type": "string", "description": "Until when the first lot is good; until2 to until6 likewise."},
}
SHUT = 404, 410
KEYED: Sequence[Json] = ({"board": []},)

PATHS: Mapping[str, Json] = {
    "/in/{channel}": {
        "post": {
            "summary": "A message comes in",
            "description": "Stored before it is answered, read after. The names of the body are the channel's own "
            "where its settings say so.",
            "parameters": [
                *_in_path({"channel": "The channel it came by."}),
                *(
                    {"name": n, "in": "header", "description": says, "schema": TEXT}
                    for n, says in WEBHOOK.items()
                    if n != "webhook-signature"
                ),
            ],
            "security": [{"signature": []}, {"token": []}],
            "requestBody": {
                "required": True,
                "content": {
                    "application/json": {
                        "schema": {
                            "type": "object",
                            "required": ["from", "text"],
                            "properties": {
                                "from": {"type": "string", "minLength": 1, "maxLength": 512},
                                "text": TEXT,
                                "in_reply_to": TEXT,
                                "at": {"type": "string", "format": "date-time"},
                            },
                        }
                    }
                },
            },
            "responses": _answers({202: _json("Stored", "Stored")}, (*SENT, 401, 404)),
        }
    },
    "/health": _look("The process answers", _json("It does; the database is not asked", "State")),
    "/ready": _look("The service can work", _json("It can", "State")),
    "/metrics": _look(
        "Figures for a monitor, in the Prometheus text format",
        {"description": "They: of numbers alone, nobody's", "content": {"text/plain": {"schema": TEXT}}},
        401, security=[{"key": []}],
    ),
    "/openapi.json": _look("This document", {"description": "It", "content": {"application/json": {}}}),
    "/r/{round_id}/{person}/{token}": {
        **_look("Somebody's page of a round", _page("The page"), *SHUT, parameters=[*ROUND, SAID_AFTER]),
        "post": _form("A press on it", PRESS, *SHUT, parameters=ROUND),
    },
    "/s/{person}/{token}": {
        **_look("Somebody's page that is always there", _page("The page"), *SHUT, parameters=[*STANDING, SAID_AFTER]),
        "post": _form("A press on it", PRESS, *SHUT, parameters=STANDING),
    },
    "/w/{id}/{person}/{token}": {
        **_look("A coordinator's page of words that were not clear", _page("The page"), *SHUT, parameters=TYPED),
        "post": _form("Read them", {}, *SHUT, parameters=TYPED),
    },
    "/board": _look(
        "The board", _page("The board, or the form that asks for its key"),
        parameters=[SAID_AFTER], security=[*KEYED, {}],
    ),
    "/board/cards": _look(
        "The list of cards to print", _page("The page"), security=[*KEYED, {}], also={303: SEE_OTHER},
    ),
    "/board/cards/student/{id}": _look(
        "A student's card", _page("The page"), 404,
        parameters=_in_path({"id": "Its id in the folder."}), security=[*KEYED, {}], also={303: SEE_OTHER},
    ),
    "/board/cards/office/{id}": _look(
        "A front office's card", _page("The page"), 404,
        parameters=_in_path({"id": "The school's id in the folder."}), security=[*KEYED, {}], also={303: SEE_OTHER},
    ),
    "/board/part": _look(
        "The part of the board that changes", _page("The part"), 401,
        parameters=[{"name": "if-none-match", "in": "header", "schema": TEXT}], security=KEYED, also={304: UNCHANGED},
    ),
    "/board/key": {"post": _form("Open the board", {"key": TEXT})},
    "/board/act": {
        "post": _form("A button of a row", {**BOARD, "do": TEXT, "minutes": TEXT}, 401, security=KEYED),
    },
    "/board/notice": {
        "post": _form("A notice, shown first or given", {**BOARD, "do": TEXT, "line": TEXT}, 401, security=KEYED),
    },
    "/board/withdraw": {"post": _form("Withdraw a notice", {**BOARD, "id": TEXT}, 401, security=KEYED)},
    "/board/supplies": _look(
        "How the shelves stand", _page("The page"),
        parameters=[SAID_AFTER], security=[*KEYED, {}], also={303: SEE_OTHER},
    ),
    "/board/supplies/order.csv": _look(
        "What to order", {"description": "The list", "content": {"text/csv": {}}}, 401, security=KEYED
    ),
    "/board/supplies/count": {
        "post": _form("A shelf as it was counted", {**BOARD, **COUNT}, 401, security=KEYED),
    },
    "/": _both("The way to the board", _answers({303: SEE_OTHER}, ())),
    "/static/{name}": _look(
        "A style sheet or script", {"description": "It", "content": {"text/css": {}, "text/javascript": {}}}, 404,
        parameters=_in_path({"name": "Its name."}),
    ),
    "/robots.txt": _look("What search engines are told", {"description": "Stay away", "content": {"text/plain": {}}}),
}  # fmt: skip
