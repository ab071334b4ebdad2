"""The page behind a link to words as they were typed: shown to who presses, and kept in the record (looking by GET
shows none, since mail scanners open links).
"""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from starlette.concurrency import run_in_threadpool

from service.engine import doors, misread
from service.engine.desk import Desk
from service.languages import phrase as _
from service.languages import speaking
from service.web.pace import Pace, slowed
from service.web.phone import LOOK, PRESSES, shut
from service.web.rendering import render


def router(desk: Desk) -> APIRouter:
    """The one page."""
    made = APIRouter(include_in_schema=False)
    pace = Pace(PRESSES, 60.0)

    @made.api_route("/w/{id}/{person}/{token}", methods=LOOK)
    def closed(id: str, person: str, token: str, request: Request) -> Response:
        return _page(desk, request, id, person, token)

    @made.post("/w/{id}/{person}/{token}")
    async def opened(id: str, person: str, token: str, request: Request) -> Response:
        if not pace.allows(person):
            return slowed(request, _("Many presses in a short time"), pace.wait(person))
        return await run_in_threadpool(_page, desk, request, id, person, token, presses=True)

    return made


def _page(desk: Desk, request: Request, id: str, person: str, token: str, *, presses: bool = False) -> Response:
    with desk.glance() as m:
        found = doors.open_typed(m, id, person, token)
        if found is None or isinstance(found, doors.Ended):
            return shut(m, request, found)
        page = misread.typed(m, id, person)
    with speaking(page.language):
        lines = misread.read(desk, id, person) if presses else ()
        return HTMLResponse(render("typed.html", page=page, lines=lines))
