"""The demo's page: pocket phones beside the board, and the hand on the clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2 import ChoiceLoader, Environment, PackageLoader
from starlette.concurrency import run_in_threadpool

from service.core.zones import zone
from service.demo.pockets import Note
from service.demo.stage import DAY, HOME, OWNERS, Owner
from service.demo.town import Town
from service.engine import running, views
from service.web import board, rendering
from service.web.board import Doorkeeper
from service.web.options import WebOptions

LOOK = ["GET", "HEAD"]
LONGEST = 500
"""Characters of one answer."""

TYPES = {"try.css": "text/css; charset=utf-8", "try.js": "text/javascript; charset=utf-8"}


@dataclass(frozen=True)
class Phone:
    """One phone as the page shows it, newest note first."""

    owner: Owner
    name: str
    notes: Sequence[Note]


def stand(made: Town, web: WebOptions) -> APIRouter:
    """The routes of the demo's page."""
    router = APIRouter(include_in_schema=False)
    door = board.doorkeeper(made.service.desk, web)

    @router.api_route("/try", methods=LOOK)
    async def whole(request: Request) -> Response:
        return await _page(made, door, request, "try.html")

    @router.api_route("/try/part", methods=LOOK)
    async def part(request: Request) -> Response:
        return await _page(made, door, request, "stage.html")

    @router.api_route("/try/{name}", methods=LOOK)
    async def file(name: str) -> Response:
        if name not in TYPES:
            raise HTTPException(404)
        return Response(_file(name), media_type=TYPES[name])

    @router.post("/try/clock")
    async def clock(request: Request) -> Response:
        form = await _form(door, request)
        await _turn(made, str(form.get("do", "")))
        return RedirectResponse("/try", 303)

    @router.post("/try/say")
    async def say(request: Request) -> Response:
        form = await _form(door, request)
        person, words = str(form.get("person", "")), str(form.get("words", "")).strip()[:LONGEST]
        if person not in {owner.person for owner in OWNERS}:
            raise HTTPException(404)
        if words:
            await made.pens.chat(person, words)
            await made.hand.settle()
        return RedirectResponse(f"/try#{person}", 303)

    return router


async def _form(door: Doorkeeper, request: Request) -> Mapping[str, Any]:
    """What a form of this page says; one shown elsewhere, or to somebody else, is not taken."""
    form, held = await request.form(), door.of(request)
    if held is None or not door.sessions.is_form_token(held, str(form.get("token", ""))):
        raise HTTPException(403)
    return form


async def _turn(made: Town, what: str) -> None:
    hand = made.hand
    match what:
        case "go" | "pause":
            hand.go(paused=what == "pause")
        case "faster" | "slower":
            hand.change(faster=what == "faster")
        case "hold" | "release":
            hand.hold(typing=what == "hold")
        case "next":
            await hand.next_thing()


async def _page(made: Town, door: Doorkeeper, request: Request, name: str) -> Response:
    held = door.of(request)
    cookie = held or door.issue()
    actor = request.cookies.get("actor", "")
    values = await run_in_threadpool(_values, made, actor)
    token = door.sessions.form_token(cookie)
    page = _environment().get_template(name)
    shown = HTMLResponse(page.render(**values, **_phones(made), token=token))
    if held is None:
        door.set(shown, door.cookie, cookie)
    return shown


def _values(made: Town, actor: str) -> dict[str, object]:
    """The board as it is everywhere, and the clock."""
    desk = made.service.desk
    with desk.glance() as m:
        shown, people = views.board(m), views.actors(m)
    due, hand = running.next_due(desk), made.hand
    home = made.stage.district.schools[HOME]
    here = zone(home.zone)
    return {
        "board": shown,
        "actors": people,
        "actor": actor if any(p.id == actor for p in people) else "",
        "now": made.clock.now().astimezone(here),
        "due": due.astimezone(here) if due else None,
        "home": home.name,
        "hand": hand,
        "clock_says": _clock_says(made, due.astimezone(here) if due else None),
    }


def _clock_says(made: Town, due: datetime | None) -> str:
    hand = made.hand
    today = due is not None and due.date() == DAY
    ahead = f" Next: {due:%H:%M}." if due is not None and today else " Nothing more happens today."
    if not hand.begun:
        return "The clock stands until you press Begin."
    if hand.paused:
        return f"The clock stands.{ahead}"
    if hand.typing:
        return "The clock waits while you type."
    return f"{hand.speed:.0f} times as fast as a real day.{ahead}"


def _phones(made: Town) -> dict[str, object]:
    """The phones, and the letters to everybody who has none here."""
    people, pockets = made.stage.district.people, made.pockets
    owners = {owner.person for owner in OWNERS}
    phones = [Phone(o, people[o.person].name, pockets.of(o.person)[::-1]) for o in OWNERS]
    letters = sorted(
        ((note, people[p].name) for p in pockets.people() if p not in owners for note in pockets.of(p)),
        key=lambda pair: pair[0].at,
        reverse=True,
    )
    return {"phones": phones, "letters": letters, "local": _local(made)}


def _local(made: Town) -> Any:
    here = zone(made.stage.district.schools[HOME].zone)
    return lambda at: f"{at.astimezone(here):%H:%M}"


@cache
def _environment() -> Environment:
    """The templates of the service, and ours before them."""
    ours = PackageLoader("service.demo", "pages")
    return rendering.environment().overlay(loader=ChoiceLoader([ours, PackageLoader("service.web", "pages")]))


@cache
def _file(name: str) -> bytes:
    return files("service.demo.pages").joinpath(name).read_bytes()
