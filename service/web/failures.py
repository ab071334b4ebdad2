"""What is answered when a request cannot be served: no such page, the wrong method, a form that cannot be read,
the database away, something of ours that failed. Never a trace, never a word of anybody's.
"""

import logging
from http import HTTPMethod, HTTPStatus

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.routing import Match

from service.engine.desk import NotSetUp
from service.engine.trouble import StoreError, place_of
from service.languages import N_, gettext
from service.languages import phrase as _
from service.web.problems import SOON, refusal

LINES = {
    HTTPStatus.NOT_FOUND: (
        N_("There is no such page"),
        N_("Open the link in your latest message, or go to the board."),
    ),
    HTTPStatus.BAD_REQUEST: (N_("That arrived damaged"), N_("Nothing was changed. Load the page and press once more.")),
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE: (
        N_("That is no form of ours"),
        N_("Forms come as application/x-www-form-urlencoded or multipart/form-data. Nothing was changed."),
    ),
}
OTHERWISE = (N_("That cannot be done here"), N_("Open the link in your latest message, or go to the board."))

log = logging.getLogger(__name__)


class TooLarge(Exception):
    """A body turned out longer than it may be."""

    def __init__(self, limit: int) -> None:
        super().__init__(limit)
        self.limit = limit


def add_handlers(app: FastAPI) -> None:
    """Let the application answer every failure in these words."""
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _not_of_this_shape)
    app.add_exception_handler(TooLarge, _too_large)
    app.add_exception_handler(ClientDisconnect, _gone)
    app.add_exception_handler(StoreError, _not_now)
    app.add_exception_handler(NotSetUp, _not_now)


async def _refused(request: Request, error: Exception) -> Response:
    status = HTTPStatus(error.status_code) if isinstance(error, HTTPException) else HTTPStatus.BAD_REQUEST
    title, line = LINES.get(status, OTHERWISE)
    headers = {"allow": ", ".join(_allowed(request))} if status == HTTPStatus.METHOD_NOT_ALLOWED else None
    return refusal(request, status, gettext(title), [gettext(line)], headers)


def _allowed(request: Request) -> list[str]:
    """Every method that the address knows; a route by itself knows only its own."""
    routes = request.app.router.routes
    return [
        method
        for method in HTTPMethod
        if any(r.matches({**request.scope, "method": method.value})[0] is Match.FULL for r in routes)
    ]


async def _not_of_this_shape(request: Request, _error: Exception) -> Response:
    return refusal(request, HTTPStatus.UNPROCESSABLE_ENTITY, _("The request is not of the right shape"))


async def _too_large(request: Request, error: Exception) -> Response:
    limit = error.limit if isinstance(error, TooLarge) else 0
    return too_large(request, limit)


def too_large(request: Request, limit: int) -> Response:
    """A body over the limit of `limit` bytes."""
    lines = [_("A message here may hold at most %(n)s bytes. Nothing was changed.", n=limit)]
    return refusal(request, HTTPStatus.REQUEST_ENTITY_TOO_LARGE, _("That is longer than is taken here"), lines)


async def _gone(_request: Request, _error: Exception) -> Response:
    """The sender hung up in the midst of sending; nobody reads this."""
    return Response(status_code=HTTPStatus.REQUEST_TIMEOUT)


async def _not_now(request: Request, error: Exception) -> Response:
    log.error("a request could not be served: %s", place_of(error))
    lines = [_("What you sent may not be recorded. Try again in a moment, or answer the message in words.")]
    title = _("The service cannot work at this moment")
    return refusal(request, HTTPStatus.SERVICE_UNAVAILABLE, title, lines, SOON)


def our_fault(request: Request, error: Exception) -> Response:
    """Something of ours failed: no details to the outside, and no guess that anything was recorded."""
    log.error("a request failed: %s", place_of(error))
    lines = [
        _("Something failed on our side. What you pressed or sent may not be recorded."),
        _("Load the page again to see what is, or send the message again."),
    ]
    return refusal(request, HTTPStatus.INTERNAL_SERVER_ERROR, _("This did not work"), lines)
