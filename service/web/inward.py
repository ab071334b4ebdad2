"""The routes for programs: webhooks in, health and readiness. Errors are RFC 9457 problem details."""

import asyncio

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel

from service.engine import inward
from service.engine.desk import Desk, NotSetUp
from service.engine.trouble import StoreError
from service.web.options import WebOptions
from service.web.problems import MEDIA_TYPE, SOON, answer

PATH = "/in/"

HINTS = {401: {"www-authenticate": 'Webhook realm="in"'}, 503: SOON}
"""Headers that go with a refusal: what would be proof (RFC 9110, 11.6.1), when to come again (10.2.3)."""


class Stored(BaseModel):
    """The message is stored under this id; sending it again gives the same one."""

    id: str


class Problem(BaseModel):
    """A problem (RFC 9457): what is wrong, and what would be right."""

    type: str
    title: str
    status: int
    detail: str


class State(BaseModel):
    """Whether all is well; `wrong` lists what is not."""

    ok: bool
    wrong: list[str] = []


PROBLEMS: dict[int | str, dict[str, object]] = {
    status: {"model": Problem, "content": {MEDIA_TYPE: {}}, "description": words}
    for status, words in {
        400: "The body is not JSON",
        401: "The message is not proven",
        404: "There is no such channel, or it takes no messages",
        413: "The body is too large",
        422: "Sender or text is missing",
        503: "The channel is not fully set up",
    }.items()
}


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The routes for programs."""
    made = APIRouter()
    door = inward.Inward(desk, options.secrets)

    @made.post(
        PATH + "{channel}",
        status_code=202,
        response_model=Stored,
        responses=PROBLEMS,
        summary="A message comes in",
    )
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

    @made.head("/health", include_in_schema=False)
    @made.get("/health", response_model=State, summary="The process answers")
    def health() -> State:
        """Says nothing of the database or of channels: a process that answers this is alive."""
        return State(ok=True)

    @made.head("/ready", include_in_schema=False)
    @made.get("/ready", response_model=State, summary="The service can work")
    def ready() -> Response:
        """A problem with the reasons where it cannot."""
        wrong = [*options.ready(), *_not_set_up(desk)]
        if wrong:
            return answer(503, "Service Unavailable", "; ".join(wrong), SOON, wrong=wrong)
        return JSONResponse({"ok": True, "wrong": []})

    return made


def _not_set_up(desk: Desk) -> list[str]:
    try:
        with desk.glance() as m:
            return [] if m.district.schools else ["no school is configured"]
    except NotSetUp:
        return ["no configuration has been applied"]
    except StoreError:
        return ["the database does not answer"]
