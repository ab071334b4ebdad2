"""What goes over the wire: once, not for nothing, with the least that does the job, and the end is heard (3, 4, 10)."""

import re
from datetime import date, datetime, timedelta

from tests.simulation.checker import Found, Judging
from tests.simulation.record import ASKING, RUNNING, TURNS, Entry, Part
from tests.simulation.seen import Copy

QUIET = ("unanswered", "not asked", "outweighed", "asked again later")
"""Ends that are no news of their own."""

NEWS_WITHIN = timedelta(minutes=37)


class Once(Judging):
    """Invariant 3."""

    def __init__(self, case: object) -> None:
        super().__init__(case)  # type: ignore[arg-type]
        self._keys: dict[str, str] = {}
        self._words: dict[str, tuple[str, str]] = {}

    def copy(self, at: datetime, copy: Copy) -> Found:
        if self._keys.setdefault(copy.key, copy.id) != copy.id:
            yield f"3: the key {copy.key} went out under two ids"
        said = (copy.subject, copy.text)
        if self._words.setdefault(copy.id, said) != said:
            yield f"3: the message {copy.id} went out with different words"
        taken = [e for e in self.record.messages[copy.id] if e.body["outcome"] == "accepted"]
        if any(e.at < copy.claimed for e in taken):
            yield f"3: the message {copy.key} went out again after it had been taken"
        parts = self.record.parts(copy.id, copy.person)
        if not self._is_derived(copy, parts):
            yield f"3: the key {copy.key} does not derive from what the message tells"
        for part in parts:
            yield from self._twice(part, copy)

    def _is_derived(self, copy: Copy, parts: list[Part]) -> bool:
        """Whether a key is that of the message's first part, or of the words or the day that it answers to."""
        if not parts:
            return copy.purpose not in ASKING and "/" in copy.key
        first = min(f"{p.chase}/{p.step}/{p.person}/{p.purpose}/{p.generation}" for p in parts)
        return copy.key == first if len(parts) == 1 else copy.key.startswith(f"{first}+{len(parts) - 1}:")

    def _twice(self, part: Part, copy: Copy) -> Found:
        if part.purpose not in TURNS:
            return
        states = self.record.chases[part.chase]
        if any(e.body["severity"] == "emergency" for e in states):
            return
        if part.generation > 1:
            if not any(e.body["state"] == "nobody left to tell" for e in states):
                yield f"3: {part.person} was alerted again in {part.chase} though somebody was left to tell"
            return
        for other, message, _ in self.record.told(part.chase, TURNS):
            same = other.person == part.person and message != copy.id and other.generation == 1
            if same and other.step != part.step:
                yield f"3: {part.person} was alerted at steps {other.step} and {part.step} of {part.chase}"

    def end(self, now: datetime) -> Found:
        ((rows, keys),) = self.record.rows("SELECT count(*), count(DISTINCT key) FROM outbox", ())
        if rows != keys:
            yield f"3: {rows} rows in the outbox have {keys} keys"
        asked = "SELECT t.key, o.id FROM tray t JOIN outbox o ON o.id = t.outbox_id WHERE t.person <> o.person"
        for key, message in self.record.rows(asked, ()):
            yield f"3: {key} went to somebody else, in {message}"


class NotForNothing(Judging):
    """Invariant 4, first half."""

    def copy(self, at: datetime, copy: Copy) -> Found:
        asking = [p for p in self.record.parts(copy.id, copy.person) if p.purpose in ASKING]
        if copy.purpose not in ASKING or not asking:
            return
        pointless = [self._why(part, copy.claimed) for part in asking]
        if all(pointless):
            yield f"4: {copy.key} asked {copy.person} at {copy.claimed:%H:%M:%S} though {pointless[0]}"

    def _why(self, part: Part, at: datetime) -> str | None:
        states = self.record.chases[part.chase]
        before = [e for e in states if e.at < at]
        now = [e for e in states if e.at == at]
        if before and before[-1].body["state"] not in RUNNING and not any(e.body["state"] in RUNNING for e in now):
            return f"{part.chase} had ended ({before[-1].body['state']})"
        if states and states[-1].body["why"] == "silence":
            return self._outside(states[-1], at)
        return None

    def _outside(self, chase: Entry, at: datetime) -> str | None:
        """Why asking is pointless by what everybody in the district knows."""
        school, student = chase.body["school"], next(iter(chase.body["students"]), None)
        day = chase.stream.rpartition("/")[2]
        for id, (text, where, given) in self.outside.notices.items():
            same_day = at.astimezone(self.town.zone(school)).date() == given.astimezone(self.town.zone(school)).date()
            if id in self.outside.gone_notices or given >= at or not same_day or where != school:
                continue
            if text == f"closed at {school}":
                return "the school is closed"
        if not self._odd(school):
            over = self.town.at(school, date.fromisoformat(day), "14:30")
            if at > over and student is not None:
                return "the day is over"
        return None

    def _odd(self, school: str) -> bool:
        """Whether the day's bells may be others than usual."""
        return bool(self.outside.edits) or any(where == school for _, where, _ in self.outside.notices.values())


class Heard(Judging):
    """Invariant 4, second half: those who were alerted hear the end."""

    def entry(self, entry: Entry) -> Found:
        if entry.kind != "chase" or entry.body["state"] in (*RUNNING, *QUIET):
            return
        for part, _, at in self.record.told(entry.id, ASKING):
            if part.person != entry.actor and at < entry.at:
                person = part.person
                self.case.owe(entry.at + NEWS_WITHIN, lambda _, p=person: self._heard(entry, p))
        yield from ()

    def _heard(self, end: Entry, person: str) -> Found:
        documents = self.outside.documents
        if person not in documents["people"] or end.body["school"] not in documents["schools"]:
            return
        states = self.record.chases[end.id]
        if any(e.at >= end.at and e is not end and e.body["state"] in RUNNING for e in states):
            return
        asked = (
            "SELECT t.purpose, t.dropped, o.state FROM tray t LEFT JOIN outbox o ON o.id = t.outbox_id"
            " WHERE t.chase_id = ? AND t.person = ? AND t.purpose IN ('news', 'no_check')"
        )
        if not any(dropped or state for _, dropped, state in self.record.rows(asked, (end.id, person))):
            yield f"4: {person} was alerted in {end.id} and never heard that it is over ({end.body['state']})"


class Least(Judging):
    """Invariant 10."""

    def __init__(self, case: object) -> None:
        super().__init__(case)  # type: ignore[arg-type]
        self._alias = re.compile(rf"\b({'|'.join(self.town.aliases()) or 'nobody'})\b")

    def copy(self, at: datetime, copy: Copy) -> Found:
        if self._alias.search(copy.subject) or self._alias.search(copy.lock_line):
            yield f"10: a child is named on the lock screen of {copy.person}: {copy.lock_line}"
        if copy.channel == "wall" and self._alias.search(copy.text):
            yield f"10: a child is named where many read: {copy.key}"
        if copy.role == "guardian" and self._alias.search(copy.text):
            yield f"10: a guardian reads a child's alias: {copy.key}"
