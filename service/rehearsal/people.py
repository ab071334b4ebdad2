"""What scripted people and channels do: each event against the desk, or a `BadScript` saying what cannot be."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from service.core.district import DeviceKind, District, Side
from service.core.notices import NoticeError
from service.core.reading import Fault, NotDone, Outcome, Result, Then
from service.engine import commands
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Errand, Report
from service.engine.postman import Outcome as Sent
from service.rehearsal.script import BadScript, Script, Scripted
from service.setup.problems import Problem, suggest
from service.store import outbox, rounds

ATTEMPT = timedelta(seconds=10)
"""An attempt to send lasts at most this long."""

MAIL = "email"


@dataclass
class Channels:
    """How each channel behaves towards each person, until changed."""

    _does: dict[tuple[str | None, str | None], tuple[str, timedelta]] = field(default_factory=dict)

    def change(self, name: str | None, person: str | None, does: str, span: timedelta) -> None:
        """From now on `name` (None: every channel) does this to `person` (None: everybody)."""
        for key in [
            k for k in self._does if (person is None or k[1] == person) and (name is None or k[0] == name)
        ]:
            del self._does[key]
        self._does[name, person] = (does, span)

    def towards(self, errand: Errand) -> tuple[str, timedelta]:
        """What happens to an attempt."""
        for key in (
            (errand.channel, errand.person),
            (None, errand.person),
            (errand.channel, None),
            (None, None),
        ):
            if key in self._does:
                return self._does[key]
        return "accept", timedelta()

    def attempt(self, errand: Errand) -> tuple[timedelta, Report, timedelta | None]:
        """How long an attempt takes, what it comes to, and after how long it bounces (None: it does not)."""
        does, span = self.towards(errand)
        match does:
            case "refuse":
                return timedelta(), Report(Sent.REFUSED, "refused", for_good=True), None
            case "gone":
                return timedelta(), Report(Sent.GONE, "gone", for_good=True), None
            case "time-out":
                return ATTEMPT, Report(Sent.TIMED_OUT, "time-out"), None
            case "slow" if span > ATTEMPT:
                return ATTEMPT, Report(Sent.TIMED_OUT, "time-out"), None
            case "slow":
                return span, Report(Sent.ACCEPTED), None
            case "bounce":
                return timedelta(), Report(Sent.ACCEPTED), span
            case _:
                return timedelta(), Report(Sent.ACCEPTED), None


@dataclass
class People:
    """The scripted adults. What they say by chat while the service is down is sent again every minute."""

    desk: Desk
    district: District
    script: Script
    delivered: dict[str, list[str]] = field(default_factory=dict)

    def check(self) -> None:
        """Raise `BadScript` for people, students, schools and results that are not there."""
        problems = [p for event in self.script.events for p in self._problems(event)]
        if problems:
            raise BadScript(problems)

    def _problems(self, event: Scripted) -> list[Problem]:
        known: list[tuple[str | None, Any, str]] = [
            (event.what.get("person"), self.district.people, "person"),
            (event.what.get("by"), self.district.people, "person"),
            (event.what.get("student"), self.district.students, "student"),
            (event.school or event.what.get("school"), self.district.schools, "school"),
            (event.what.get("name") or event.what.get("via"), self.district.channels, "channel"),
        ]
        found = [
            self._problem(event, f"unknown {what} {id!r}", suggest(id, table, what))
            for id, table, what in known
            if id is not None and id not in table and not (what == "school" and id == "all")
        ]
        result = event.what.get("result")
        if result is not None and result not in {r.value for r in Result}:
            results = [
                r.value for r in (Result.WORKING, Result.FIXED, Result.FAULT, Result.AWAY, Result.NOT_DONE)
            ]
            found.append(
                self._problem(event, f"unknown result {result!r}", suggest(result, results, "result"))
            )
        return found

    def _problem(self, event: Scripted, wrong: str, right: str) -> Problem:
        return Problem(self.script.file, event.line, "error", wrong, right)

    def says(self, event: Scripted) -> None:
        """Somebody answers, by default in reply to the last message they got."""
        person = event.what["person"]
        via = event.what.get("via") or next(
            (w.channel for w in self.district.people[person].channels), "chat"
        )
        address = next((w.address for w in self.district.people[person].channels if w.channel == via), person)
        re = event.what.get("re", "last")
        mine = self.delivered.get(person, [])
        commands.receive(
            self.desk,
            Received(
                channel=via,
                external_id=event.id,
                address=address,
                text=event.what["text"],
                person=person,
                in_reply_to=(mine[-1] if mine else None) if re == "last" else None if re == "none" else re,
                proven=True,
                cause=(event.id,),
            ),
        )

    def is_mail(self, event: Scripted) -> bool:
        """Whether something is said by mail, which waits while the service is down."""
        via = event.what.get("via")
        if via is None:
            ways = self.district.people[event.what["person"]].channels
            via = ways[0].channel if ways else None
        setup = self.district.channels.get(via or "")
        return setup is not None and setup.kind == MAIL

    def presses(self, event: Scripted) -> None:
        """Somebody answers about one student on the page."""
        person, student = event.what["person"], event.what["student"]
        with self.desk.moment() as m:
            school = self.district.students[student].school
            today = m.today(school)
            mine = rounds.student_checks(m.tx, student, today, today)
            check = next((c for c in mine if c.state != "closed"), mine[-1] if mine else None)
            place = (check.round_id, check.number) if check else None
        if place is None:
            raise BadScript([self._problem(event, f"{student!r} has no check on this day", "choose another")])
        commands.press(
            self.desk, person, place[0], {place[1]: self._outcome(event)}, event.id, cause=(event.id,)
        )

    def _outcome(self, event: Scripted) -> Outcome:
        what = event.what
        result = Result(what["result"])
        sides = [
            d.side
            for d in self.district.students[what["student"]].devices
            if d.kind is not DeviceKind.REMOTE_MIC
        ]
        side = Side(what["side"]) if what.get("side") else sides[0] if len(sides) == 1 else None
        faults = (Fault(what["code"], side),) if what.get("code") else ()
        missed = what.get("missed", ())
        if result is Result.NOT_DONE:
            then = Then.NEXT_BELL if what.get("again") else _then(what.get("then"))
            return Outcome(result, reason=_reason(what.get("reason")), then=then, bell=what.get("again"))
        return Outcome(result, faults, tuple(missed.split() if isinstance(missed, str) else missed))

    def gives(self, event: Scripted) -> None:
        """Somebody gives a notice."""
        school = event.what.get("school") or event.school
        given = commands.give_notice(
            self.desk, event.what["text"], event.what["by"], None if school == "all" else school, (event.id,)
        )
        if isinstance(given, NoticeError):
            raise BadScript([self._problem(event, given.wrong, given.right)])

    def last_to(self, person: str, at: datetime) -> str | None:
        """The id of the last message to a person that was accepted before `at`."""
        with self.desk.glance() as m:
            row = outbox.last_to(m.tx, person)
        return row.id if row is not None and row.created_at <= at else None


def _reason(text: str | None) -> NotDone:
    return NotDone(text) if text in {r.value for r in NotDone} else NotDone.NO_TIME


def _then(text: str | None) -> Then:
    named = {"next bell": Then.NEXT_BELL, "second": Then.SECOND, "not today": Then.NOT_TODAY}
    return named.get(text or "not today") or Then(text or "")
