"""The routes for programs: webhooks in, health and readiness. Errors are RFC 9457 problem details."""

import asyncio

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.engine import inward
from service.engine.desk import Desk, NotSetUp
from service.engine.together import Together
from service.engine.trouble import StoreError
from service.web.options import WebOptions
from service.web.problems import SOON, answer

PATH = "/in/"
LOOK = ["GET", "HEAD"]
WELL = {"ok": True, "wrong": []}

HINTS = {401: {"www-authenticate": 'Webhook realm="in"'}, 503: SOON}
"""Headers that go with a refusal: what would be proof (RFC 9110, 11.6.1), when to come again (10.2.3)."""

LOOK_SECONDS = 3.0
"""A database that takes longer to be looked at does not answer."""

SILENT = ["the database does not answer"]


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The routes for programs."""
    made = APIRouter(include_in_schema=False)
    door = inward.Inward(desk, options.secrets)
    looks = Together[None, list[str]](lambda asked: [_not_set_up(desk)] * len(asked))

    @made.post(PATH + "{channel}")
    async def take(channel: str, request: Request, token: str | None = None) -> Response:
        """One message from a channel, signed as Standard Webhooks: stored before it is answered, read after."""
        body = await request.body()
        headers = dict(request.headers.items())
        arrival = inward.Arrival(channel, headers, body, options.stamp(), token)
        taken = await asyncio.wrap_future(door.take(arrival))
        if isinstance(taken, inward.Refused):
            return answer(taken.status, taken.title, taken.detail, HINTS.get(taken.status))
        options.wake()
        return JSONResponse({"id": taken.id}, 202)

    @made.api_route("/health", methods=LOOK)
    def health() -> Response:
        """Says nothing of the database or of channels: a process that answers this is alive."""
        return JSONResponse(WELL)

    @made.api_route("/ready", methods=LOOK)
    async def ready() -> Response:
        """A problem with the reasons where it cannot; answered soon, also while the database hangs."""
        try:
            seen = await asyncio.wait_for(asyncio.wrap_future(looks.ask(None)), LOOK_SECONDS)
        except TimeoutError:
            seen = SILENT
        wrong = [*options.ready(), *seen]
        if wrong:
            return answer(503, "Service Unavailable", "; ".join(wrong), SOON, wrong=wrong)
        return JSONResponse(WELL)

    return made


def _not_set_up(desk: Desk) -> list[str]:
    try:
        with desk.glance() as m:
            return [] if m.district.schools else ["no school is configured"]
    except NotSetUp:
        return ["no configuration has been applied"]
    except StoreError:
        return SILENT
