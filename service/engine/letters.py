"""From trays to letters: the facts of a message, gathered from chases, checks and configuration."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from service.core.chains import Chase, Ended, Purpose, Why
from service.core.chains.climb import next_contact
from service.core.district import Person, Role, Severity, Side
from service.core.reading import Listened, Result
from service.engine.codec import decode
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.posting import ItemRef, is_shared, ways_of
from service.engine.roles import main_role_at, role_of
from service.languages import N_, each, gettext
from service.store import chases, rounds
from service.store.tables import ChaseRow, CheckRow, RoundRow
from service.store.tray import Lying
from service.wording import Written, compose_many
from service.wording import letters as wording
from service.wording.names import device_words, room_words, side_words, sound_words

EVENTS = {
    Ended.ANSWERED.value: wording.Event.ANSWERED,
    Ended.PUT_RIGHT.value: wording.Event.FIXED,
    Ended.LOANER.value: wording.Event.LOANER,
    Ended.AWAY.value: wording.Event.HOME,
    Ended.TAKEN_BACK.value: wording.Event.TAKEN_BACK,
    Ended.FOUND.value: wording.Event.FOUND,
    Ended.MEDICAL_HELP.value: wording.Event.MEDICAL_HELP,
    "taken over": wording.Event.TAKEN_OVER,
    "taken back": wording.Event.TAKEN_BACK,
    "said to be a mistake": wording.Event.TAKEN_BACK,
    "said to be working": wording.Event.SAID_WORKING,
    "changed": wording.Event.CHANGED,
}


@dataclass(frozen=True)
class Drafted:
    """A message in words, and what its numbers stand for."""

    written: Written
    items: tuple[ItemRef, ...]


@dataclass(frozen=True)
class Matter:
    """One thing in a tray with all that is known of it."""

    row: Lying
    chase: Chase
    check: CheckRow | None
    round: RoundRow | None
    number: int


def reader_of(
    m: Moment, person: Person, role: Role, channels: Sequence[str] = (), via: str | None = None
) -> wording.Reader:
    """Who reads, and whether others read along on any way the message may take: then it holds the link only."""
    shared = any(is_shared(m, way) for way in ways_of(m, person, channels, via))
    return wording.Reader(role, shared=shared, outside=person.outside)


@dataclass(frozen=True)
class Papers:
    """What the letters for some trays speak of, read at once: chases and checks by id, the checks' rounds, and
    each student's open faults with the checks under which they were reported.
    """

    chases: Mapping[str, Chase]
    checks: Mapping[str, CheckRow]
    rounds: Mapping[str, RoundRow]
    faults: Mapping[str, Sequence[ChaseRow]]


def papers_of(m: Moment, held: Mapping[str, Chase], rows: Sequence[Lying]) -> Papers:
    """The papers for all that lies in some trays; `held` are the chases that it is about, which are ours."""
    asked = {row.check_id for row in rows if row.check_id}
    faults, earlier = _faults_of(m, held, rows)
    checks = rounds.checks_by_id(m.tx, asked | earlier)
    own = {checks[id].round_id for id in asked if id in checks}
    return Papers(held, checks, rounds.by_id(m.tx, own), faults)


def papers_at_hand(
    m: Moment,
    held: Mapping[str, Chase],
    rows: Sequence[Lying],
    asked: Mapping[str, RoundRow],
    checks: Iterable[CheckRow],
) -> Papers:
    """The same, of rounds and checks that are at hand."""
    faults, earlier = _faults_of(m, held, rows)
    known = {check.id: check for check in checks}
    before = rounds.checks_by_id(m.tx, earlier - known.keys()) if earlier else {}
    return Papers(held, known | before, asked, faults)


def _faults_of(
    m: Moment, held: Mapping[str, Chase], rows: Sequence[Lying]
) -> tuple[Mapping[str, Sequence[ChaseRow]], set[str]]:
    """The open faults of those who are asked about, and the checks under which they were reported."""
    asked_now = {row.check_id for row in rows if row.purpose == Purpose.PROMPT.value}
    students = {chase.student for chase in held.values() if chase.check in asked_now and chase.student}
    faults = chases.open_faults(m.tx, students)
    return faults, {row.check_id for found in faults.values() for row in found if row.check_id}


def write(m: Moment, person: str, rows: Sequence[Lying], papers: Papers) -> Drafted:
    """The letters for what lies in a tray, as one message with its items numbered through (C19)."""
    matters = _matters(rows, papers)
    with m.read_by(person):
        letters = [letter for group in _grouped(matters) for letter in _letters(m, person, group, papers)]
    items = {
        (x.number, x.chase.check): ItemRef(
            x.number, x.chase.check, x.chase.id, x.chase.student, x.chase.round
        )
        for x in matters
    }
    written = compose_many(letters, m.district.people[person].language)
    return Drafted(written, tuple(items[k] for k in sorted(items, key=lambda k: (k[0], k[1] or ""))))


def _matters(rows: Sequence[Lying], papers: Papers) -> list[Matter]:
    checks = {id: papers.checks[id] for r in rows if (id := r.check_id) in papers.checks and id}
    one_round = len({x.round_id for x in checks.values()}) <= 1
    numbers: dict[str, int] = {}
    news = (Purpose.NEWS.value, Purpose.NO_CHECK.value)
    asked = {checks[r.check_id].round_id for r in rows if r.check_id in checks and r.purpose not in news}
    # What is asked comes first, so that its numbers are those of the page that the message links to.
    order = sorted(checks.values(), key=lambda c: (c.round_id not in asked, c.round_id, c.number))
    for n, placed in enumerate(order, start=1):
        numbers[placed.id] = placed.number if one_round else n
    return [
        Matter(
            row,
            papers.chases[row.chase_id],
            check := checks.get(row.check_id or ""),
            papers.rounds.get(check.round_id) if check else None,
            numbers.get(row.check_id or "", 1),
        )
        for row in sorted(rows, key=lambda r: (r.due_at, numbers.get(r.check_id or "", 1), r.key))
    ]


def _grouped(matters: Iterable[Matter]) -> list[list[Matter]]:
    """What belongs in one letter: the same purpose, round and piece of news; faults each for themselves."""
    groups: defaultdict[tuple[object, ...], list[Matter]] = defaultdict(list)
    for x in matters:
        alone = x.chase.id if x.chase.why is Why.FAULT and x.row.purpose != Purpose.NEWS.value else None
        what = (x.row.body.get("what"), x.row.body.get("by"))
        groups[x.row.purpose, x.round.id if x.round else None, alone, what].append(x)
    return list(groups.values())


def _letters(m: Moment, person: str, group: list[Matter], papers: Papers) -> list[wording.Letter]:
    first = group[0]
    to = reader_of(m, m.district.people[person], Role(first.row.role), first.row.body.get("channels", ()))
    match Purpose(first.row.purpose):
        case Purpose.PROMPT:
            return [_prompt(m, to, group, papers)]
        case Purpose.REMINDER:
            return [_reminder(m, to, group)]
        case Purpose.ALERT | Purpose.SECOND if first.chase.why is Why.SILENCE:
            return [_silence(m, to, group)]
        case Purpose.ALERT | Purpose.SECOND:
            return [_alert(m, to, first)]
        case Purpose.NO_CHECK:
            return [_no_check(m, to, group)]
        case Purpose.QUESTION:
            return [_promise_passed(m, to, group)]
        case Purpose.CHAIN_END:
            return [_chain_end(m, to, group)]
        case _:
            return [_news(m, to, group)]


def item(m: Moment, check: CheckRow, number: int | None = None, *, remedy: bool = False) -> wording.Item:
    """A check as one numbered line: child, device, and what is wrong if something is."""
    student = m.district.students.get(check.student)
    devices = student.devices if student else ()
    said_late = check.body.get("late", {})
    faults = check.faults or said_late.get("faults", [])
    result = said_late.get("result", check.result)
    fault = faults[0] if faults else None
    code = m.book.codes.get(fault["code"]) if fault else None
    sides = [Side(f["side"]) for f in faults if f.get("side")]
    return wording.Item(
        number=check.number if number is None else number,
        alias=check.alias,
        device=device_words(student.devices) if student else "",
        side=side_words(sides),
        code=fault["code"] if fault else "",
        label=", ".join(
            gettext(m.book.codes[f["code"]].label) if f["code"] in m.book.codes else f["code"] for f in faults
        ),
        result=Result(result) if result else None,
        sounds=_sounds(check),
        remedy=each(code.said_of(code.remedy, devices)) if code and remedy else (),
        never=each(code.said_of(code.never, devices)) if code and remedy else (),
        cautions=each(code.said_of(code.cautions, devices)) if code and remedy else (),
    )


def _sounds(check: CheckRow) -> str:
    """What was said of the sounds, in words."""
    listened = check.body.get("listened")
    return sound_words(decode(Listened, listened)) if listened else ""


class InRoom(Protocol):
    """What lies in a room."""

    @property
    def room(self) -> str:
        """Its name or number."""


def place_of(m: Moment, checks: Iterable[InRoom], school: str) -> str:
    """The room, where it is one; else the school."""
    rooms = {c.room for c in checks}
    return room_words(rooms.pop()) if len(rooms) == 1 else m.school(school).name


def _items(m: Moment, group: Sequence[Matter], *, remedy: bool = False) -> tuple[wording.Item, ...]:
    return tuple(item(m, x.check, x.number, remedy=remedy) for x in group if x.check)


def _place(m: Moment, group: Sequence[Matter]) -> str:
    return place_of(m, [x.check for x in group if x.check], group[0].chase.school)


def _wall(m: Moment, chase: Chase, at: datetime | None) -> str:
    return m.wall(chase.school, at, m.today(chase.school)) if at else ""


def next_of(m: Moment, chase: Chase) -> wording.Next | None:
    """Who is told next and when, if nothing changes."""
    upcoming = next_contact(chase, m.now, m.around(chase.school, chase.date))
    if upcoming is None:
        return None
    at, person = upcoming
    return wording.Next(role_of(m, chase, person), _wall(m, chase, at))


def _late(m: Moment, x: Matter) -> str:
    return _wall(m, x.chase, x.chase.began) if x.row.body.get("late") else ""


def _prompt(m: Moment, to: wording.Reader, group: list[Matter], papers: Papers) -> wording.Letter:
    x = group[0]
    before = x.round.body.get("before", "") if x.round else ""
    items = tuple(_with_open_fault(m, g.check, item(m, g.check, g.number), papers) for g in group if g.check)
    by = _wall(m, x.chase, x.chase.next_due)
    return wording.Prompt(to, by, items, _place(m, group), before, _late(m, x))


def _with_open_fault(m: Moment, check: CheckRow, asked: wording.Item, papers: Papers) -> wording.Item:
    """An open fault of an earlier check opens the next prompt (C12)."""
    found = papers.faults.get(check.student, ())
    earlier = next((row for row in found if row.check_id not in (None, check.id)), None)
    before = papers.checks.get(earlier.check_id or "") if earlier else None
    if earlier is None or before is None:
        return asked
    known, chase = item(m, before), load(earlier)
    since = _wall(m, chase, _reported(chase))
    return replace(asked, code=known.code, label=known.label, side=known.side, since=since)


def _reminder(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    by = _wall(m, x.chase, x.chase.next_due)
    return wording.Reminder(to, by, _items(m, group), _place(m, group), next_of(m, x.chase))


def _silence(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    silent = wording.SilentRound(
        m.school(x.chase.school).name, _place(m, group), _wall(m, x.chase, x.chase.began), _items(m, group)
    )
    with_child = Role(x.row.role) in (Role.CHECKER, Role.SECOND)
    by = _wall(m, x.chase, x.chase.next_due)
    return wording.Second(to, (silent,), by, next_of(m, x.chase), with_child, _late(m, x))


def _alert(m: Moment, to: wording.Reader, x: Matter) -> wording.Letter:
    reporter = x.chase.reporter or ""
    lines = m.district.emergency
    grave = x.chase.severity is Severity.EMERGENCY
    names = grave and lines is not None and lines.names_child
    return wording.Alert(
        to,
        x.chase.severity or Severity.SAME_DAY,
        _items(m, [x], remedy=to.role in (Role.CHECKER, Role.SECOND, Role.NURSE)),
        _place(m, [x]),
        m.school(x.chase.school).name,
        _wall(m, x.chase, _reported(x.chase)),
        role_of(m, x.chase, reporter) if reporter in m.district.people else Role.CHECKER,
        by=_wall(m, x.chase, x.chase.next_due),
        next=next_of(m, x.chase),
        tried=x.chase.try_until is not None,
        again=x.row.generation > 1,
        late_since=_late(m, x),
        number=lines.number if grave and lines else "",
        child=x.check.alias if names and x.check else "",
    )


def _reported(chase: Chase) -> datetime:
    return chase.reported_at or chase.began


def _news(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    by = str(x.row.body.get("by"))
    what = str(x.row.body.get("what"))
    return wording.News(
        to,
        EVENTS.get(what, wording.Event.ANSWERED),
        _items(m, group),
        _place(m, group),
        _wall(m, x.chase, x.row.due_at),
        role_of(m, x.chase, by) if by in m.district.people else None,
        _wall(m, x.chase, x.chase.in_hand.until if x.chase.in_hand else None),
    )


def _no_check(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    by = str(x.row.body.get("by"))
    role = main_role_at(m, by, x.chase.school) if by in m.district.people else Role.COORDINATOR
    reason = next((r for g in group if g.check and (r := g.check.body.get("reason"))), N_("no check"))
    at = _wall(m, x.chase, x.row.due_at)
    return wording.NoCheck(to, _place(m, group), gettext(reason), role, at, items=_items(m, group))


def _promise_passed(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    until = _wall(m, x.chase, x.row.due_at)
    return wording.Promise(to, _items(m, group), _place(m, group), until, passed=True, next=next_of(m, x.chase))


def _chain_end(m: Moment, to: wording.Reader, group: list[Matter]) -> wording.Letter:
    x = group[0]
    told = dict.fromkeys(role_of(m, x.chase, t.person) for t in x.chase.told)
    return wording.ChainEnd(
        to,
        _items(m, group),
        _place(m, group),
        m.school(x.chase.school).name,
        _wall(m, x.chase, _reported(x.chase)),
        silent=x.chase.why is Why.SILENCE,
        told=tuple(told),
        again=x.row.generation > 1,
    )
