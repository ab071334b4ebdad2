"""What every request passes before anything else sees it: how often, the host it asks for, its size and form, where it
came from. And what every answer carries: a policy without inline code, no referrer, nothing stored.
"""

from collections.abc import Sequence
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.languages import phrase as _
from service.web.failures import LINES, TooLarge, our_fault, too_large
from service.web.pace import Pace, address_of, slowed
from service.web.problems import answer, refusal

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

TARGET_AT_MOST = 4096
"""Bytes of path and query; the longest of our links has some 200."""

HEADERS_AT_MOST = 16 * 1024
"""Bytes of all headers together."""

LAST = {"connection": "close"}

FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")

LOOKS = 1200
"""Pages looked at from one address within a minute: a school behind one address, forty people each every two
seconds. What people send is counted by person instead, so that an emergency is never held up by a neighbour."""


class Guard:
    """Wraps the application. `inward` is the path under which programs post, with its own size limit."""

    def __init__(self, app: ASGIApp, hosts: Sequence[str], inward: str, inward_at_most: int) -> None:
        self._app = app
        self._hosts = frozenset(h.casefold() for h in hosts)
        self._inward, self._inward_at_most = inward, inward_at_most
        self._looks = Pace(LOOKS, 60.0)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse what must not come in; hand on the rest, its answer with our headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request, answering = Request(scope), _Answering(send)
        limit = self._inward_at_most if self._is_inward(request) else FORM_AT_MOST
        refused = self._refused(request, limit)
        try:
            await (refused or self._app)(scope, _measured(receive, limit), answering)
        except Exception as error:
            sorry = our_fault(request, error)
            if not answering.begun:
                await sorry(scope, receive, answering)

    def _is_inward(self, request: Request) -> bool:
        return bool(request.scope["path"].startswith(self._inward))

    def _refused(self, request: Request, limit: int) -> Response | None:
        headers = request.headers
        if (wrong := _misshapen(request)) is not None:
            return refusal(request, wrong, _("That request cannot be taken as it is"), headers=LAST)
        host = _name(headers.get("host", ""))
        if host not in self._hosts:
            # No page under another's name: what its owner would show in our place is theirs to say.
            status = HTTPStatus.MISDIRECTED_REQUEST
            return answer(status, status.phrase, "This service is not known under that name.")
        if request.method in ("GET", "HEAD") and not self._looks.allows(address_of(request)):
            return slowed(request, _("Many pages in a short time"), self._looks.wait(address_of(request)))
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > limit:
            return too_large(request, limit)
        if request.method != "POST":
            return None
        return self._unfit(request, headers, host)

    def _unfit(self, request: Request, headers: Headers, host: str) -> Response | None:
        """Why what is sent here cannot be taken, whatever it holds."""
        if headers.get("content-encoding", "identity").lower() != "identity":
            lines = [_("Send it without a content coding.")]
            title = _("What is packed is not taken")
            return refusal(request, HTTPStatus.UNSUPPORTED_MEDIA_TYPE, title, lines, {"accept-encoding": "identity"})
        if self._is_inward(request):
            return None
        if _from_elsewhere(headers, host):
            return refusal(request, HTTPStatus.FORBIDDEN, _("This form was sent from another site"))
        if headers.get("content-type", FORMS[0]).partition(";")[0].strip().lower() not in FORMS:
            title, line = LINES[HTTPStatus.UNSUPPORTED_MEDIA_TYPE]
            takes = {"accept": ", ".join(FORMS)}
            return refusal(request, HTTPStatus.UNSUPPORTED_MEDIA_TYPE, _(title), [_(line)], takes)
        return None


def _misshapen(request: Request) -> HTTPStatus | None:
    """What is wrong with a request before it is asked what it wants."""
    scope, headers = request.scope, request.headers
    if scope.get("http_version", "1.1") not in ("1.0", "1.1"):
        return HTTPStatus.HTTP_VERSION_NOT_SUPPORTED
    if "\0" in scope["path"]:
        return HTTPStatus.BAD_REQUEST
    if "transfer-encoding" in headers and "content-length" in headers:
        return HTTPStatus.BAD_REQUEST  # two lengths hide a second request in the first (RFC 9112, 6.3)
    if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > TARGET_AT_MOST:
        return HTTPStatus.REQUEST_URI_TOO_LONG
    if sum(len(name) + len(value) for name, value in headers.raw) > HEADERS_AT_MOST:
        return HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE
    return None


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


def _measured(receive: Receive, limit: int) -> Receive:
    seen = 0

    async def measured() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLarge(limit)
        return message

    return measured


class _Answering:
    """Sends the answer with our headers, and knows whether it has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await self._send(message)
