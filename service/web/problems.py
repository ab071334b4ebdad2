"""Refusals: a calm page for whoever asks for HTML, problem details (RFC 9457) for everybody else."""

from collections.abc import Mapping, Sequence
from http import HTTPStatus

from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from service.web.rendering import render

MEDIA_TYPE = "application/problem+json"
PAGES = ("text/html", "application/xhtml+xml", "text/*")
PROGRAMS = (MEDIA_TYPE, "application/json")

SOON = {"retry-after": "5"}
"""What a program is told that may try again: seconds (RFC 9110, 10.2.3)."""


def answer(
    status: int, title: str, detail: str, headers: Mapping[str, str] | None = None, **more: object
) -> JSONResponse:
    """A problem: what is wrong (`title`) and what would be right (`detail`); `more` are further members."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail, **more}
    return JSONResponse(body, status, headers, MEDIA_TYPE)


def refusal(
    request: Request,
    status: HTTPStatus,
    title: str,
    lines: Sequence[str] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The same words as a page or as a problem, whichever the request asks for."""
    if asks_for_page(request.headers.get("accept", "")):
        return HTMLResponse(render("sorry.html", title=title, lines=lines), status, headers)
    return answer(status, status.phrase, " ".join([f"{title.rstrip('.')}.", *lines]), headers)


def asks_for_page(accept: str) -> bool:
    """Whether an `Accept` header (RFC 9110, 12.5.1) names HTML, and no program's form above it.

    `*/*` alone names nothing: browsers say that they read HTML.
    """
    wanted = _weights(accept)
    page = max((wanted.get(name, 0.0) for name in PAGES), default=0.0)
    return page > 0 and page >= max(wanted.get(name, 0.0) for name in PROGRAMS)


def _weights(accept: str) -> dict[str, float]:
    found: dict[str, float] = {}
    for part in accept.split(","):
        name, *settings = (piece.strip().lower() for piece in part.split(";"))
        weight = next((s.removeprefix("q=") for s in settings if s.startswith("q=")), "1")
        found[name] = _number(weight)
    return found


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0
