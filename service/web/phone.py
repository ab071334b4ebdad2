"""The phone pages: one adult's round, and the page of theirs that is always there. Looking changes nothing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from http import HTTPStatus

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from service.core.district import Person
from service.core.reading import Aside, Command, Fault, Outcome, Reading, Result
from service.engine import commands, doors, pages, roster
from service.engine.answering import Heard
from service.engine.desk import Desk, Moment
from service.engine.pages import Card, Page
from service.languages import phrase as _
from service.languages import speaking
from service.web import presses, sentences
from service.web.forms import fields
from service.web.options import WebOptions
from service.web.pace import Pace, slowed
from service.web.presses import NotAPress, Press
from service.web.problems import asks_for_page, refusal
from service.web.rendering import render

LOOK = ["GET", "HEAD"]
GUARDIANS_MAY = frozenset({"fixed", "alarm", "end"})

PRESSES = 60
"""Presses of one person within a minute; a round of thirty, each answered twice."""


@dataclass(frozen=True)
class Hand:
    """What carries out a press: the desk, and what stores and applies many at once."""

    desk: Desk
    through: commands.Through


def router(desk: Desk, options: WebOptions, through: commands.Through) -> APIRouter:
    """The routes of the phone pages; `through` stores and applies what is pressed on them."""
    made = APIRouter(include_in_schema=False)
    hand = Hand(desk, through)
    pace = Pace(PRESSES, 60.0)

    @made.api_route("/r/{round_id}/{person}/{token}", methods=LOOK)
    def round_page(round_id: str, person: str, token: str, request: Request, said: str = "") -> Response:
        return _shown(desk, options, request, _round_door(round_id, person, token), said)

    @made.post("/r/{round_id}/{person}/{token}")
    async def round_press(round_id: str, person: str, token: str, request: Request) -> Response:
        form = await fields(request)
        door = _round_door(round_id, person, token)
        return await run_in_threadpool(_pressed, hand, options, pace, door, form, request)

    @made.api_route("/s/{person}/{token}", methods=LOOK)
    def standing_page(person: str, token: str, request: Request, said: str = "") -> Response:
        return _shown(desk, options, request, _standing_door(person, token), said)

    @made.post("/s/{person}/{token}")
    async def standing_press(person: str, token: str, request: Request) -> Response:
        form = await fields(request)
        door = _standing_door(person, token)
        return await run_in_threadpool(_pressed, hand, options, pace, door, form, request)

    return made


@dataclass(frozen=True)
class Opened:
    """An open door: the page behind it, and the round it is about (None: a standing page)."""

    page: Page
    round: str | None

    @property
    def place(self) -> str:
        """What the marks of its presses begin with."""
        return f"{self.round or 'standing'}/{self.page.person}"


Door = Callable[[Moment], Opened | doors.Ended | None]


def _round_door(round_id: str, person: str, token: str) -> Door:
    def door(m: Moment) -> Opened | doors.Ended | None:
        found = doors.open_round(m, round_id, person, token)
        if found is None or isinstance(found, doors.Ended):
            return found
        return Opened(pages.round_page(m, found, person), found.id)

    return door


def _standing_door(person: str, token: str) -> Door:
    def door(m: Moment) -> Opened | None:
        found: Person | None = doors.open_standing(m, person, token)
        return Opened(pages.standing_page(m, person), None) if found else None

    return door


def _shown(desk: Desk, options: WebOptions, request: Request, door: Door, said: str) -> Response:
    with desk.glance() as m:
        opened = door(m)
        if not isinstance(opened, Opened):
            return shut(m, request, opened)
    page = opened.page
    with speaking(page.language):
        return HTMLResponse(render("phone.html", page=page, word=options.nonce(), said=sentences.told(said)))


def shut(m: Moment, request: Request, ended: doors.Ended | None) -> Response:
    """A door that does not open, with a kind word why."""
    if ended is None:
        lines = [
            _("It may have been shortened on its way, or replaced by a newer one."),
            _("Open the link in your latest message, or answer that message in words."),
        ]
        return refusal(request, HTTPStatus.NOT_FOUND, _("This link opens nothing"), lines)
    name = m.school(ended.school).name
    lines = [
        _("It was for %(school)s on %(day)s, and ended with that day.", school=name, day=sentences.day(ended.date)),
        _("There is nothing left for you to do here. The next round comes with a link of its own."),
    ]
    return refusal(request, HTTPStatus.GONE, _("This link’s day is over"), lines)


def _pressed(
    hand: Hand, options: WebOptions, pace: Pace, door: Door, form: Mapping[str, str], request: Request
) -> Response:
    """Take one press: check the door again, do what it says, and show the page as it then is."""
    with hand.desk.glance() as m:
        opened = door(m)
        if not isinstance(opened, Opened):
            return shut(m, request, opened)
    person, path = opened.page.person, request.url.path
    if not pace.allows(person):
        if asks_for_page(request.headers.get("accept", "")):
            return RedirectResponse(f"{path}?said=many#said", 303)
        return slowed(request, _("Many presses in a short time"), pace.wait(person))
    try:
        press, word = presses.read(form)
        said = _do(hand, opened, press, f"{opened.place}/{word}/{form['do']}")
    except NotAPress:
        lines = [_("Nothing was changed."), _("Go back, load the page again, and press once more.")]
        return refusal(request, HTTPStatus.UNPROCESSABLE_ENTITY, _("That was not understood"), lines)
    options.wake()
    query = f"?said={said}" if said else ""
    return RedirectResponse(f"{path}{query}#{_anchor(press, said)}", 303)


def _anchor(press: Press, said: str) -> str:
    if said:
        return "said"
    if press.kind in ("alarm", "end"):
        return "alarm"
    return f"s{press.key}" if press.key and press.kind != "roster" else "said"


def _do(hand: Hand, opened: Opened, press: Press, id: str) -> str:
    """Apply a press; says which sentence to show, if the page's own words do not say it all."""
    page, round_id = opened.page, opened.round
    if page.guardian and press.kind not in GUARDIANS_MAY:
        raise NotAPress("not from a guardian's page")
    held = {c.key: c for c in page.cards}
    if press.kind == "roster":
        return _roster(hand, page, press)
    if press.kind == "all" and round_id is not None:
        working = {c.number: Outcome(Result.WORKING) for c in page.open}
        return _note(_outcomes(hand, page.person, round_id, working, id, pointed=frozenset()))
    if press.kind in ("all", "undo", "end"):
        return _whole(hand, page, press, id, round_id)
    if press.kind == "alarm" and press.key not in held:
        return _read(hand, page.person, round_id, Reading(emergency=True), id)
    card = held.get(press.key or "")
    if card is None:
        raise NotAPress("no such student on this page")
    return _about(hand, opened, card, press, id)


def _roster(hand: Hand, page: Page, press: Press) -> str:
    """A checker's word on whom they check, before a term."""
    if not roster.answer(hand.desk, page.person, press.key or "", press.words is None, press.words or ""):
        raise NotAPress("this person was not asked that")
    return "roster"


def _whole(hand: Hand, page: Page, press: Press, id: str, round_id: str | None) -> str:
    if press.kind == "undo":
        place = page.undo or round_id
        return _read(hand, page.person, place, Reading(command=Command.UNDO), id)
    if press.aside is None:
        raise NotAPress("the page has no such button")
    return _read(hand, page.person, round_id, Reading(aside=press.aside), id)


def _read(hand: Hand, person: str, place: str | None, reading: Reading, id: str) -> str:
    return _note(commands.press(hand.desk, person, place, {}, id, reading=reading, shown=True, through=hand.through))


def _outcomes(
    hand: Hand,
    person: str,
    round_id: str,
    outcomes: Mapping[int, Outcome],
    id: str,
    pointed: frozenset[int] | None = None,
) -> Heard:
    return commands.press(
        hand.desk, person, round_id, outcomes, id, pointed=pointed, shown=True, through=hand.through
    )


def _about(hand: Hand, opened: Opened, card: Card, press: Press, id: str) -> str:
    """A press about one student."""
    person = opened.page.person
    if press.kind == "back":
        return "back" if commands.student_back(hand.desk, person, card.student, id) else "no check"
    if press.kind == "still":
        return _still(hand, opened, card, id)
    outcome = _outcome(card, press)
    if card.round is not None and (opened.round is not None or press.kind == "fixed"):
        return _note(_outcomes(hand, person, card.round, {card.number: outcome}, id))
    about_fault = outcome.result in (Result.FAULT, Result.FIXED)
    heard = commands.report(hand.desk, person, card.student, outcome, id, makes_check=about_fault, through=hand.through)
    return "no check" if heard is None else _note(heard)


def _outcome(card: Card, press: Press) -> Outcome:
    if press.kind == "alarm":
        return Outcome(Result.FAULT, (Fault("SWALLOWED"),))
    if press.kind == "fixed":
        codes = card.fault.chase.codes if card.fault and card.fault.chase else ()
        return Outcome(Result.FIXED, tuple(Fault(c) for c in codes))
    if press.outcome is None:
        raise NotAPress("the page has no such button")
    return press.outcome


def _still(hand: Hand, opened: Opened, card: Card, id: str) -> str:
    """ "No" to "did that fix it?"."""
    reading = Reading(aside=Aside.NO, pointed=frozenset({card.number}))
    return _read(hand, opened.page.person, card.round, reading, id)


def _note(heard: Heard) -> str:
    """The sentence that goes with what was heard, where there is one to say."""
    return next((n.said.value for n in heard.notes if n.said.value in sentences.SAID), "")
