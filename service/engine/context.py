"""What a received message answers: which message of ours, which students under which numbers, as whom."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from service.core.chains import Purpose
from service.core.reading import Asked, AskedStudent, Audience
from service.engine.desk import Moment, stream_of
from service.engine.loading import load
from service.engine.posting import ItemRef
from service.engine.sound_orders import sounds_asked
from service.store import chases, outbox, rounds
from service.store.tables import ChaseRow, CheckRow, InboxRow, OutboxRow, RoundRow

NEWS = (Purpose.NEWS.value, Purpose.NO_CHECK.value)

OPEN_FOR = timedelta(hours=12)
"""How long after it was asked a round may be what an unaddressed message means."""


@dataclass(frozen=True)
class Context:
    """`numbers` maps a number of the message to its check; `items` are what a blanket word covers.

    `several` is true where more than one open round could be meant and the message names none (C19).
    `stale` is true where the message answered belongs to an earlier day; `question` is what we asked last and
    nothing has answered yet.
    """

    school: str
    day: date
    numbers: dict[int, CheckRow]
    items: tuple[ItemRef, ...]
    audience: Audience
    message: OutboxRow | None = None
    several: bool = False
    stale: bool = False
    question: OutboxRow | None = None

    def asked(self, m: Moment, language: str) -> Asked:
        """What the reply reader needs to know."""
        students = tuple(self._student(m, n, check) for n, check in sorted(self.numbers.items()))
        return Asked(self.audience, students, language)

    def _student(self, m: Moment, number: int, check: CheckRow) -> AskedStudent:
        student = m.district.students.get(check.student)
        devices = student.devices if student else ()
        nicknames = student.nicknames if student else ()
        return AskedStudent(number, check.alias, devices, nicknames, sounds_asked(check.kind))


def stream_for(m: Moment, context: Context | None) -> str:
    """Where the journal tells of a received message: the day it is about, else today at the first school."""
    school = context.school if context else next(iter(m.district.schools))
    return stream_of(school, context.day if context else m.today(school))


def context_of(m: Moment, row: InboxRow) -> Context | None:
    """The context of a received message; None where the person is not asked about anything anywhere."""
    person = row.person or ""
    named = outbox.get(m.tx, row.in_reply_to) if row.in_reply_to else None
    pressed = row.round_id is not None or "chase" in row.body or "reading" in row.body
    question = None if pressed else _asked_back(m, person, named)
    if question is not None and (answered := _of_message(m, person, question)):
        several = bool(question.body["about"].get("choices"))
        return replace(answered, question=question, several=several)
    facts = row.body.get("mail", {})
    if named is not None and named.body.get("items") and (named.person == person or facts.get("stands_in")):
        return _of_message(m, named.person, named)
    if row.body.get("chase"):
        return _of_chase(m, row.body["chase"])
    if row.round_id is not None:
        found = rounds.get(m.tx, row.round_id)
        return _of_rounds(m, person, [found]) if found else None
    context = _unthreaded(m, person)
    return replace(context, several=True) if context is not None and facts.get("unclear") else context


def _asked_back(m: Moment, person: str, named: OutboxRow | None) -> OutboxRow | None:
    """Our question, where nothing but news was sent since and the person does not answer another round."""
    last = outbox.last_to(m.tx, person)
    if last is not None and last.purpose in NEWS:
        last = outbox.last_to(m.tx, person, [p.value for p in Purpose if p.value not in NEWS])
    if last is None or "words" not in last.body.get("about", {}) or not _is_today(m, last):
        return None
    if named is None or named.id == last.id:
        return last
    same = set(named.body.get("rounds", ())) & set(last.body["rounds"])
    return last if same and not last.body["about"].get("choices") else None


def narrowed(m: Moment, context: Context, person: str, held: Sequence[RoundRow]) -> Context:
    """The context of those of its rounds that are meant, as if their prompts had been answered."""
    found = _of_rounds(m, person, held)
    return replace(found, message=context.message) if found else context


def _of_chase(m: Moment, id: str) -> Context | None:
    """One chase, pointed at on the board."""
    chase = chases.get(m.tx, id)
    if chase is None:
        return None
    check = rounds.check(m.tx, chase.check_id) if chase.check_id else None
    number = check.number if check else 1
    items = (ItemRef(number, chase.check_id, id, chase.student, chase.round_id),)
    numbers = {number: check} if check else {}
    return Context(chase.school, chase.date, numbers, items, Audience.CONTACT)


def _unthreaded(m: Moment, person: str) -> Context | None:
    """No thread: the person's open rounds of today, else the last message that asked them something."""
    last = outbox.last_to(m.tx, person)
    told = set(last.body.get("rounds", ())) if last else set()
    held = open_rounds(m, person)
    mine = [r for r in held if r.checker == person or r.id in told] or held
    if len(mine) > 1:
        together = _of_message(m, person, last) if last and {r.id for r in mine} <= told else None
        return replace(together, several=True) if together else _of_rounds(m, person, mine, several=True)
    if last is not None and last.body.get("items") and _is_today(m, last):
        return _of_message(m, person, last)
    if mine:
        return _of_rounds(m, person, mine)
    near = nearest_round(m, person)
    return _of_rounds(m, person, [near]) if near else _of_chain(m, person)


def _of_chain(m: Moment, person: str) -> Context | None:
    """Somebody who was not told of anything yet, but whose name stands in a running chain (C6)."""
    held = m.district.people[person]
    own = [s.id for s in m.district.students.values() if person in s.guardians]
    schools = {s for r in held.roles for s in (r.schools or tuple(m.district.schools))}
    rows = [row for school in sorted(schools) for row in chases.open_of_school(m.tx, school)]
    mine = [row for row in rows if row.check_id and _names(row, person, own)]
    checks = {n: c for n, row in enumerate(mine, start=1) if (c := rounds.check(m.tx, row.check_id or ""))}
    if not checks:
        return None
    refs = tuple(ItemRef(n, c.id, mine[n - 1].id, c.student, c.round_id) for n, c in checks.items())
    first = next(iter(checks.values()))
    if len({c.round_id for c in checks.values()}) == 1:
        refs = tuple(replace(r, number=checks[r.number].number) for r in refs)
        checks = {c.number: c for c in checks.values()}
    return Context(first.school, first.date, checks, refs, Audience.CONTACT)


def _names(row: ChaseRow, person: str, own: Sequence[str]) -> bool:
    return row.student in own or any(person in turn.people for turn in load(row).turns)


def _is_today(m: Moment, message: OutboxRow) -> bool:
    return m.now - message.created_at < timedelta(hours=12)


def open_rounds(m: Moment, person: str) -> list[RoundRow]:
    """The rounds that were asked of the person today and still have something open."""
    return [r for r in rounds.asked_of(m.tx, person, m.now - OPEN_FOR) if _has_open(m, r)]


def _has_open(m: Moment, row: RoundRow) -> bool:
    return any(check.state != "closed" for check in rounds.checks_of(m.tx, row.id))


def nearest_round(m: Moment, person: str) -> RoundRow | None:
    """Today's round of the person, as checker or second, whose due time is nearest."""
    around = rounds.around(m.tx, person, m.now - timedelta(hours=12), m.now + timedelta(hours=12))
    today = [r for r in around if r.school in m.district.schools and r.date == m.today(r.school)]
    return min(today, key=lambda r: (abs(r.due - m.now), r.id), default=None)


def _of_message(m: Moment, person: str, message: OutboxRow) -> Context | None:
    refs = [ItemRef(**i) for i in message.body["items"]]
    found = {r.number: c for r in refs if r.check and (c := rounds.check(m.tx, r.check))}
    checks = {number: c for number, c in found.items() if c.school in m.district.schools}
    if not checks:
        return None
    first = next(iter(checks.values()))
    named = {r.round for r in refs if r.round}
    audience = _audience(m, person, message, named)
    if len(named) == 1 and audience is Audience.CHECKER:
        checks = {c.number: c for c in rounds.checks_of(m.tx, named.copy().pop())} | checks
    stale = all(c.date != m.today(c.school) for c in checks.values())
    return Context(first.school, first.date, checks, tuple(refs), audience, message, stale=stale)


def _of_rounds(m: Moment, person: str, held: Sequence[RoundRow], several: bool = False) -> Context | None:
    checks = [c for r in held for c in rounds.checks_of(m.tx, r.id)]
    if not checks:
        return None
    own = len(held) == 1
    numbers = {c.number if own else n: c for n, c in enumerate(checks, start=1)}
    refs = tuple(ItemRef(n, c.id, None, c.student, c.round_id) for n, c in numbers.items())
    audience = Audience.CHECKER if _asks(m, person, held[0]) else Audience.CONTACT
    return Context(held[0].school, held[0].date, numbers, refs, audience, several=several)


def _audience(m: Moment, person: str, message: OutboxRow, named: set[str]) -> Audience:
    """A checker or second answers a round; everybody else, and who was alerted to a fault, an alert."""
    refs = [ItemRef(**i) for i in message.body["items"]]
    if message.purpose == Purpose.ALERT.value and all((r.chase or "").startswith("ch-fault") for r in refs):
        return Audience.CONTACT
    held = [r for id in named if (r := rounds.get(m.tx, id))]
    asks = bool(held) and all(_asks(m, person, r) for r in held)
    return Audience.CHECKER if asks else Audience.CONTACT


def _asks(m: Moment, person: str, row: RoundRow) -> bool:
    seconds = {c.body.get("second") for c in rounds.checks_of(m.tx, row.id)}
    return person in {row.checker, row.second, *seconds}
