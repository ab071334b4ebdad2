"""What every request passes before anything else sees it: the host it asks for, its size, where a form came from.

And what every answer carries: a policy without inline code, no referrer, nothing stored.
"""

from collections.abc import Sequence
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.problems import answer

POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self' data:; script-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

HEADERS = {
    "content-security-policy": POLICY,
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-robots-tag": "noindex, nofollow",
}

FORM_AT_MOST = 64 * 1024
"""Bytes of a form; a notice is a line, a page's form a few words."""


class Guard:
    """Wraps the application. `inward` is the path under which programs post, with its own size limit."""

    def __init__(self, app: ASGIApp, hosts: Sequence[str], inward: str, inward_at_most: int) -> None:
        self._app = app
        self._hosts = frozenset(h.casefold() for h in hosts)
        self._inward, self._inward_at_most = inward, inward_at_most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse what must not come in; hand on the rest, its answer with our headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers, path = Headers(scope=scope), scope["path"]
        refusal = self._refusal(scope["method"], path, headers)
        if refusal is not None:
            await refusal_answer(scope, receive, _dressed(send), *refusal)
            return
        limit = self._inward_at_most if path.startswith(self._inward) else FORM_AT_MOST
        await self._app(scope, _measured(receive, limit), _dressed(send))

    def _refusal(self, method: str, path: str, headers: Headers) -> tuple[HTTPStatus, str] | None:
        host = _name(headers.get("host", ""))
        if host not in self._hosts:
            return HTTPStatus.MISDIRECTED_REQUEST, "This service is not known under that name."
        limit = self._inward_at_most if path.startswith(self._inward) else FORM_AT_MOST
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > limit:
            return HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"A message here may hold at most {limit} bytes."
        if method == "POST" and not path.startswith(self._inward) and _from_elsewhere(headers, host):
            return HTTPStatus.FORBIDDEN, "This form was sent from another site."
        return None


async def refusal_answer(scope: Scope, receive: Receive, send: Send, status: HTTPStatus, detail: str) -> None:
    """Answer a request that goes no further."""
    await answer(status.value, status.phrase, detail)(scope, receive, send)


def _name(host: str) -> str:
    """The host without its port, in small letters; an IPv6 address without its brackets. Nothing where it cannot
    be read.
    """
    try:
        return "" if "@" in host else urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _from_elsewhere(headers: Headers, host: str) -> bool:
    if headers.get("sec-fetch-site") in ("cross-site", "same-site"):
        return True
    origin = headers.get("origin")
    # A page without a referrer sends the origin "null"; then only the browser's own word above counts.
    return origin not in (None, "null") and _name(origin.partition("://")[2]) != host


class TooLarge(Exception):
    """A body without a length turned out longer than it may be."""


def _measured(receive: Receive, limit: int) -> Receive:
    seen = 0

    async def measured() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLarge
        return message

    return measured


def _dressed(send: Send) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return dressed
