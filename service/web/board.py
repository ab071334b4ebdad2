"""The board: today of the whole district on one page, opened by a key, acted on by whoever says who they are."""

import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass, replace
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from service.core.district import Severity
from service.core.notices import NoticeError
from service.core.reading import Aside, Command, Reading
from service.engine import commands, notice_views, roster, unclear, views
from service.engine.chase_views import ChaseView
from service.engine.desk import Desk
from service.languages import phrase as _
from service.web import sentences
from service.web.forms import fields
from service.web.options import WebOptions
from service.web.pace import Pace, address_of, slowed
from service.web.problems import asks_for_page, refusal
from service.web.rendering import render
from service.web.session import LASTS, Sessions

LOOK = ["GET", "HEAD"]
MINUTES_AT_MOST = 240
WRONG_KEYS = 10
"""Wrong keys from one address within a minute."""

UNPROVEN = {"www-authenticate": 'BoardKey realm="board"'}
"""What would open the board, in the form that RFC 9110, 11.6.1 asks for."""

PRESSES = 60
"""Presses under one cookie within a minute."""

READINGS = {
    "mine": Reading(command=Command.MINE),
    "working": Reading(command=Command.WORKING),
    "loaner": Reading(command=Command.LOANER),
    "found": Reading(aside=Aside.FOUND),
    "help": Reading(aside=Aside.MEDICAL_HELP),
    "yes": Reading(aside=Aside.YES),
    "no": Reading(aside=Aside.NO),
}
"""What the buttons of a row say; the last four are for emergencies."""


@dataclass(frozen=True)
class Doorkeeper:
    """Who may see the board: whoever has given the key, remembered in a cookie of its own."""

    options: WebOptions
    sessions: Sessions
    wrong: Pace
    presses: Pace

    @property
    def cookie(self) -> str:
        """The cookie's name; over TLS the browser holds it to this host alone."""
        return "__Host-board" if self.options.is_https else "board"

    def of(self, request: Request) -> str | None:
        """The cookie of a request, if it opens the board."""
        held = request.cookies.get(self.cookie, "")
        return held if self.sessions.is_valid(held) else None

    def admits(self, offered: str) -> bool:
        """Whether a key is the right one."""
        right = self.options.board_key
        return right is None or hmac.compare_digest(offered.encode("utf-8", "replace"), right.encode())

    def issue(self) -> str:
        """A new cookie."""
        return self.sessions.issue(self.options.nonce())

    def set(self, response: Response, name: str, value: str) -> None:
        """A cookie that no script reads and no other site sends."""
        seconds, secure = int(LASTS.total_seconds()), self.options.is_https
        response.set_cookie(name, value, seconds, path="/", secure=secure, httponly=True, samesite="strict")


def doorkeeper(desk: Desk, options: WebOptions) -> Doorkeeper:
    """A doorkeeper whose cookies end when the server's key or the board's key changes."""
    both = hashlib.sha256((options.board_key or "").encode()).digest()
    sessions = Sessions(hmac.digest(desk.key, both, "sha256"), options.stamp)
    return Doorkeeper(options, sessions, Pace(WRONG_KEYS, 60.0), Pace(PRESSES, 60.0))


def router(desk: Desk, options: WebOptions) -> APIRouter:
    """The routes of the board."""
    made = APIRouter(include_in_schema=False)
    door = doorkeeper(desk, options)

    @made.api_route("/board", methods=LOOK)
    def whole(request: Request, said: str = "") -> Response:
        held = door.of(request)
        if held is None and options.board_key is not None:
            return HTMLResponse(render("key.html", wrong=""))
        cookie = held or door.issue()
        shown = _page(desk, door, request, cookie, said)
        if held is None:
            door.set(shown, door.cookie, cookie)
        return shown

    @made.api_route("/board/part", methods=LOOK)
    def part(request: Request) -> Response:
        held = door.of(request)
        if held is None:
            return shut(request)
        return _fragment(desk, door, request, held)

    @made.post("/board/key")
    async def key(request: Request) -> Response:
        return _keyed(door, request, (await fields(request)).get("key", ""))

    @made.post("/board/act")
    async def act(request: Request) -> Response:
        return await run_in_threadpool(_acted, desk, door, request, await fields(request))

    @made.post("/board/notice")
    async def notice(request: Request) -> Response:
        return await run_in_threadpool(_noticed, desk, door, request, await fields(request))

    @made.post("/board/withdraw")
    async def withdraw(request: Request) -> Response:
        return await run_in_threadpool(_withdrawn, desk, door, request, await fields(request))

    return made


def _keyed(door: Doorkeeper, request: Request, offered: str) -> Response:
    address = address_of(request)
    if door.wrong.is_spent(address):
        # Even the right key waits: else the limit would cost a guesser nothing.
        return slowed(request, _("Too many keys in a short time"), door.wrong.wait(address))
    if not door.admits(offered):
        door.wrong.allows(address)
        if asks_for_page(request.headers.get("accept", "")):
            return HTMLResponse(render("key.html", wrong=_("That is not the key.")), 403)
        return refusal(request, HTTPStatus.FORBIDDEN, _("That is not the key"))
    response = RedirectResponse("/board", 303)
    door.set(response, door.cookie, door.issue())
    return response


def _values(desk: Desk, door: Doorkeeper, request: Request, held: str) -> dict[str, object]:
    with desk.glance() as m:
        people = views.actors(m)
        shown = views.board(m)
        notices = notice_views.standing_notices(m)
        rosters = roster.asked_of(m)
        not_clear = unclear.unclear(m)
        names = {asked.person: m.district.people[asked.person].name for asked in rosters}
    actor = request.cookies.get("actor", "")
    return {
        "board": shown,
        "actors": people,
        "actor": actor if any(p.id == actor for p in people) else "",
        "token": door.sessions.form_token(held),
        "notices": notices,
        "rosters": rosters,
        "unclear": not_clear,
        "names": names,
    }


def _page(
    desk: Desk, door: Doorkeeper, request: Request, held: str, said: str, **more: object
) -> HTMLResponse:
    values = _values(desk, door, request, held)
    known = {"said": sentences.told(said), "line": "", "preview": None, "wrong": None, **more}
    return HTMLResponse(render("board.html", **{**values, **known}))


def _fragment(desk: Desk, door: Doorkeeper, request: Request, held: str) -> Response:
    """The part of the board that changes; unchanged, only its mark is answered."""
    text = render("today.html", **_values(desk, door, request, held))
    mark = f'"{hashlib.sha256(text.encode()).hexdigest()[:24]}"'
    headers = {"etag": mark, "cache-control": "no-cache, private"}
    if request.headers.get("if-none-match") == mark:
        return Response(status_code=304, headers=headers)
    return HTMLResponse(text, headers=headers)


def shut(request: Request) -> Response:
    """To who has no cookie of the board."""
    return refusal(request, HTTPStatus.UNAUTHORIZED, _("The board is shut"), [_("Open it with its key.")], UNPROVEN)


def refused(door: Doorkeeper, request: Request, form: Mapping[str, str]) -> Response | None:
    """Why a form of the board is not taken, if so."""
    held = door.of(request)
    if held is None and asks_for_page(request.headers.get("accept", "")):
        return RedirectResponse("/board", 303)
    if held is None:
        return shut(request)
    if not door.sessions.is_form_token(held, form.get("token", "")):
        lines = [_("The page was open for too long. Nothing was changed; load it again.")]
        return refusal(request, HTTPStatus.FORBIDDEN, _("Please load the board again"), lines)
    if not door.presses.allows(held):
        return slowed(request, _("Many presses in a short time"), door.presses.wait(held))
    return None


def _actor(desk: Desk, form: Mapping[str, str]) -> str | None:
    """Who acts, by their own word; None where it is nobody of the list."""
    with desk.glance() as m:
        return next((p.id for p in views.actors(m) if p.id == form.get("actor")), None)


def nobody(request: Request) -> Response:
    """To who has not said who they are."""
    lines = [_("Choose your name under “I am”, then press again. Nothing was changed.")]
    return refusal(request, HTTPStatus.UNPROCESSABLE_ENTITY, _("Who are you?"), lines)


def _acted(desk: Desk, door: Doorkeeper, request: Request, form: Mapping[str, str]) -> Response:
    """One of the buttons of a row."""
    no = refused(door, request, form)
    if no is not None:
        return no
    actor = _actor(desk, form)
    what, row, state = (*form.get("do", "").split(":"), "", "")[:3]
    known = READINGS.get(what)
    if actor is None:
        return nobody(request)
    held = [c for c in _chases(desk, row) if known and (known.aside or c.severity is not Severity.EMERGENCY)]
    minutes = _minutes(form.get("minutes", "")) if what == "mine" else None
    reading = replace(known or Reading(), minutes=minutes)
    said = [_act(desk, actor, c.id, reading, f"{state}/{what}") for c in held]
    door.options.wake()
    response = RedirectResponse(f"/board?said={said[0] if said else 'nothing to record'}", 303)
    door.set(response, "actor", actor)
    return response


def _act(desk: Desk, actor: str, chase: str, reading: Reading, what: str) -> str:
    """One press; the same button of the same state of things is the same press, however often it comes."""
    heard = commands.act(desk, actor, chase, reading, f"{chase}/{what}/{actor}")
    if heard.asks:
        return "which" if reading.aside is None else "confirm"
    return next((n.said.value for n in heard.notes if n.said.value in sentences.SAID), "recorded")


def _chases(desk: Desk, row: str) -> list[ChaseView]:
    with desk.glance() as m:
        return views.running(m, row)


def _minutes(text: str) -> int | None:
    return (
        min(int(text), MINUTES_AT_MOST) if text.isascii() and text.isdecimal() and 0 < len(text) < 4 else None
    )


def _noticed(desk: Desk, door: Doorkeeper, request: Request, form: Mapping[str, str]) -> Response:
    """A notice: first shown with whom it reaches, then given."""
    no = refused(door, request, form)
    if no is not None:
        return no
    actor, line = _actor(desk, form), form.get("line", "").strip()
    if actor is None:
        return nobody(request)
    if form.get("do") == "give":
        given = commands.give_notice(desk, line, actor, says=True)
        if not isinstance(given, NoticeError):
            door.options.wake()
            response = RedirectResponse("/board?said=given", 303)
            door.set(response, "actor", actor)
            return response
    with desk.glance() as m:
        preview = notice_views.preview(m, line, actor)
    held = door.of(request) or ""
    wrong = preview if isinstance(preview, NoticeError) else None
    seen = None if isinstance(preview, NoticeError) else preview
    return _page(desk, door, request, held, "", line=line, preview=seen, wrong=wrong, actor=actor)


def _withdrawn(desk: Desk, door: Doorkeeper, request: Request, form: Mapping[str, str]) -> Response:
    no = refused(door, request, form)
    if no is not None:
        return no
    actor = _actor(desk, form)
    if actor is None:
        return nobody(request)
    done = commands.withdraw_notice(desk, form.get("id", ""), actor, says=True)
    door.options.wake()
    return RedirectResponse(f"/board?said={'withdrawn' if done else 'not withdrawn'}", 303)
