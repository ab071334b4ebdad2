"""The routes for programs: webhooks in, health and readiness. Errors are RFC 9457 problem details."""

import asyncio
from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response

from service.engine import inward
from service.engine.desk import Desk, NotSetUp
from service.engine.mail_door import MailDoor
from service.engine.together import Together
from service.engine.trouble import StoreError
from service.web.options import WebOptions
from service.web.problems import SOON, answer

PATH = "/in/"
LOOK = ["GET", "HEAD"]
WELL = {"ok": True, "wrong": []}

HINTS = {401: {"www-authenticate": 'Webhook realm="in"'}, 503: SOON}
"""Headers that go with a refusal: what would be proof (RFC 9110, 11.6.1), when to come again (10.2.3)."""

MAIL_HINTS = {401: {"www-authenticate": 'Bearer realm="in"'}, 503: SOON}
"""The same for raw mail (RFC 6750, 3)."""

LOOK_SECONDS = 3.0
"""A database that takes longer to be looked at does not answer."""

SILENT = ["the database does not answer"]


def router(desk: Desk, options: WebOptions, door: inward.Inward) -> APIRouter:
    """The routes for programs; `door` takes webhooks in."""
    made = APIRouter(include_in_schema=False)
    mail = MailDoor(desk, options.secrets)
    looks = Together[None, list[str]](lambda asked: [_not_set_up(desk)] * len(asked))

    def taking(taken: inward.Taken | inward.Refused, hints: Mapping[int, Mapping[str, str]]) -> Response:
        if isinstance(taken, inward.Refused):
            return answer(taken.status, taken.title, taken.detail, hints.get(taken.status))
        options.wake()
        return JSONResponse({"id": taken.id}, 202)

    @made.post(PATH + "{channel}")
    async def take(channel: str, request: Request, token: str | None = None) -> Response:
        """One message from a channel, signed as Standard Webhooks, or a raw mail with the channel's token: stored
        before it is answered, read after.
        """
        body = await request.body()
        if await asyncio.to_thread(mail.serves, channel):
            authorization = request.headers.get("authorization", "")
            return taking(await asyncio.to_thread(mail.take, channel, authorization, body), MAIL_HINTS)
        headers = dict(request.headers.items())
        arrival = inward.Arrival(channel, headers, body, options.stamp(), token)
        return taking(await asyncio.wrap_future(door.take(arrival)), HINTS)

    @made.api_route("/health", methods=LOOK)
    def health() -> Response:
        """A process that answers this is alive, whatever it has to note; the database is not asked."""
        noted = list(options.notes())
        return JSONResponse({**WELL, "notes": noted} if noted else WELL)

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
