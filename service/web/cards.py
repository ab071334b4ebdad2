"""Cards to print, as pages: the same facts as the PDF. Who may see the board may see them."""

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from service.engine import cards
from service.engine.desk import Desk
from service.web.board import LOOK, doorkeeper
from service.web.options import WebOptions
from service.web.rendering import render


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The list of cards, and each of them."""
    made = APIRouter(include_in_schema=False)
    door = doorkeeper(desk, options)

    def shut(request: Request) -> Response | None:
        return RedirectResponse("/board", 303) if door.of(request) is None else None

    @made.api_route("/board/cards", methods=LOOK)
    def every(request: Request) -> Response:
        with desk.glance() as m:
            return shut(request) or HTMLResponse(render("cards.html", schools=cards.listed(m)))

    @made.api_route("/board/cards/student/{id}", methods=LOOK)
    def student(id: str, request: Request) -> Response:
        with desk.glance() as m:
            return shut(request) or _page(cards.of_student(m, id))

    @made.api_route("/board/cards/office/{id}", methods=LOOK)
    def office(id: str, request: Request) -> Response:
        with desk.glance() as m:
            return shut(request) or _page(cards.of_office(m, id))

    return made


def _page(card: cards.Card | None) -> Response:
    if card is None:
        raise HTTPException(404)
    return HTMLResponse(render("paper.html", card=card))
