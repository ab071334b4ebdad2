"""Errors for programs as RFC 9457 problem details."""

from collections.abc import Mapping

from starlette.responses import JSONResponse

MEDIA_TYPE = "application/problem+json"


def answer(status: int, title: str, detail: str, headers: Mapping[str, str] | None = None) -> JSONResponse:
    """A problem: what is wrong (`title`) and what would be right (`detail`)."""
    body = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    return JSONResponse(body, status, headers, MEDIA_TYPE)
