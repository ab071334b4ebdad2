"""The page of supplies: how the shelves stand, an order list, and a form to count each; behind the board's key."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from service.core.supplies.items import Batch
from service.engine.counting import Counting, count
from service.engine.desk import Desk
from service.engine.order_list import order_list
from service.engine.supplies import stands
from service.engine.supply_views import counters, supply_page
from service.languages import phrase as _
from service.web import sentences
from service.web.board import LOOK, Doorkeeper, doorkeeper, nobody, refused, shut
from service.web.forms import fields
from service.web.options import WebOptions
from service.web.rendering import render

LOTS = 6
"""Lots of one shelf that the form takes; more dates than that are better thrown away."""

AT_MOST = 9999
"""Pieces in one lot."""


@dataclass(frozen=True)
class Wrong:
    """What is wrong with a form, and of which shelf; `form` is what was typed."""

    shelf: str
    says: str
    form: Mapping[str, str]


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The routes of the page."""
    made = APIRouter(include_in_schema=False)
    door = doorkeeper(desk, options)

    @made.api_route("/board/supplies", methods=LOOK)
    def whole(request: Request, said: str = "") -> Response:
        held = door.of(request)
        return RedirectResponse("/board", 303) if held is None else _page(desk, door, request, held, said)

    @made.api_route("/board/supplies/order.csv", methods=LOOK)
    def order(request: Request) -> Response:
        if door.of(request) is None:
            return shut(request)
        with desk.glance() as m:
            text = order_list(stands(m))
        named = {"content-disposition": 'attachment; filename="order.csv"', "cache-control": "no-store"}
        return Response(text, media_type="text/csv; charset=utf-8", headers=named)

    @made.post("/board/supplies/count")
    async def counted(request: Request) -> Response:
        return await run_in_threadpool(_counted, desk, door, request, await fields(request))

    return made


def _page(
    desk: Desk, door: Doorkeeper, request: Request, held: str, said: str = "", wrong: Wrong | None = None
) -> HTMLResponse:
    with desk.glance() as m:
        schools, people = supply_page(m), counters(m)
    actor = wrong.form.get("actor", "") if wrong else request.cookies.get("actor", "")
    known = {"schools": schools, "actors": people, "actor": actor, "token": door.sessions.form_token(held)}
    low = sum(shelf.is_low for school in schools for shelf in school.shelves)
    text = render("supplies.html", **known, low=low, said=sentences.told(said), wrong=wrong, lots=LOTS)
    return HTMLResponse(text, HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK)


def _counted(desk: Desk, door: Doorkeeper, request: Request, form: Mapping[str, str]) -> Response:
    no = refused(door, request, form)
    if no is not None:
        return no
    with desk.glance() as m:
        actor = next((p.id for p in counters(m) if p.id == form.get("actor")), None)
    if actor is None:
        return nobody(request)
    shelf = form.get("shelf", "")
    read = _read(form)
    if isinstance(read, str):
        return _page(desk, door, request, door.of(request) or "", wrong=Wrong(shelf, read, form))
    pieces, on_order = read
    done = count(desk, actor, shelf, pieces, on_order, form.get("seen", ""))
    to = f"#{shelf}" if done is not Counting.NO_SHELF else ""
    response = RedirectResponse(f"/board/supplies?said={done.value}{to}", 303)
    door.set(response, "actor", actor)
    return response


def _read(form: Mapping[str, str]) -> tuple[Sequence[Batch], int] | str:
    """What a form says was counted, or what is wrong with it. A row without a number is none."""
    pieces = []
    for row in range(1, LOTS + 1):
        number, until = form.get(f"n{row}", "").strip(), form.get(f"until{row}", "").strip()
        if not number and until:
            return _("Row %(row)s has a date and no number. Say how many there are, or take the date out.", row=row)
        if number:
            many, good = _whole(number), _date(until)
            if many is None:
                return _("“%(text)s” is no number of pieces: write a whole number, as 12.", text=number)
            if until and good is None:
                return _("“%(text)s” is no date: write it as 2027-03-31.", text=until)
            pieces.append(Batch(many, good))
    on_order = _whole(form.get("coming", "").strip() or "0")
    if on_order is None:
        return _("“%(text)s” is no number of pieces: write a whole number, as 12.", text=form["coming"])
    if not pieces:
        return _("No number was given. Where nothing is left, write 0.")
    return pieces, on_order


def _whole(text: str) -> int | None:
    is_number = text.isascii() and text.isdecimal() and len(text) <= len(str(AT_MOST))
    return int(text) if is_number else None


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
