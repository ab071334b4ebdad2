"""What one adult's page shows: their round, or their standing page. Read in one glance; nothing is decided."""

import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from service.core.chains import Chase, Phase, Why
from service.core.days import SchoolDay
from service.core.devices import CheckStep, FaultCode, check_steps
from service.core.district import Device, EmergencyLines, Severity, Side, Student
from service.core.forms import Made
from service.core.reading import NotDone, Result
from service.engine import doors, roster, standing, undoing
from service.engine.burden import Burden, burden
from service.engine.chase_views import ChaseView, chase_view, labels
from service.engine.desk import Moment
from service.engine.held import banner
from service.engine.loading import load
from service.engine.pickers import Picker, Seen, of_the_child, pickers
from service.engine.roles import home, main_role_at
from service.engine.sound_orders import order_of, sounds_asked
from service.languages import FALLBACK, each, gettext, speaking, spoken
from service.store import chases, rounds, statements
from service.store.tables import ChaseRow, CheckRow, RoundRow
from service.wording.names import device_words, result_words, role_words, room_words, side_words


@dataclass(frozen=True)
class FaultNow:
    """An open fault: first remedy, what not to do, and who is told when. `asks`: did that fix it?"""

    label: str
    side: str
    since: str
    remedy: tuple[str, ...]
    never: tuple[str, ...]
    cautions: tuple[str, ...]
    asks: bool
    chase: ChaseView | None


@dataclass(frozen=True)
class Answer:
    """What was said about a student so far: in whose words, when, and whether it can be taken back."""

    result: str
    detail: str
    by_you: bool
    by: str
    at: str


@dataclass(frozen=True)
class Card:
    """One student on a page. `key` names it in the forms; `state`: planned, asked, closed or none.

    `round` and `number` are where an answer belongs; the round is None where today has no check.
    """

    key: str
    student: str
    round: str | None
    number: int
    alias: str
    room: str
    devices: str
    state: str
    result: str
    answer: Answer | None
    fault: FaultNow | None
    pickers: tuple[Picker, ...]
    child: tuple[Seen, ...]
    steps: tuple[CheckStep, ...]
    sounds: tuple[str | None, ...]
    due: str
    silence: ChaseView | None
    second: bool
    later: str
    away: bool
    late: str

    @property
    def is_open(self) -> bool:
        """Whether an answer is awaited."""
        return self.state in ("planned", "asked")

    @property
    def is_missed(self) -> bool:
        """Whether the day ended, or will, without an answer."""
        return self.is_open or self.result in (Result.UNANSWERED.value, Result.NOT_ASKED.value)


@dataclass(frozen=True)
class Alarm:
    """A running emergency that the reader takes part in. `pending`: how they said it ended, to confirm."""

    id: str
    since: str
    who: str
    pending: str


@dataclass(frozen=True)
class Caution:
    """What to do first when a battery or magnet may have been swallowed; the district's own numbers."""

    number: str
    text: str
    poison: str
    remedy: tuple[str, ...]
    never: tuple[str, ...]


@dataclass(frozen=True)
class Page:
    """A page of cards. `state`: planned, asked, over (school is out) or closed (no school today).

    `undo` is the round in which the last answer can still be taken back, or empty; `held`: the service tells nobody
    now.
    """

    person: str
    name: str
    school: str
    place: str
    date: date
    clock: str
    before: str
    by: str
    state: str
    reason: str
    cards: tuple[Card, ...]
    caution: Caution
    alarms: tuple[Alarm, ...]
    undo: str
    reasons: tuple[str, ...] = field(default=tuple(r.value for r in NotDone))
    standing: bool = False
    guardian: bool = False
    path: str = ""
    language: str = FALLBACK
    rosters: tuple[roster.Asked, ...] = ()
    burden: Burden | None = None
    held: bool = False

    @property
    def open(self) -> tuple[Card, ...]:
        """The students who still await an answer."""
        return tuple(c for c in self.cards if c.is_open)

    @property
    def shapes(self) -> tuple[tuple[str, Made], ...]:
        """The kinds and forms of device on the page, each with its name there."""
        return tuple(dict.fromkeys((p.key, p.shape) for c in self.cards for p in c.pickers))


def round_page(m: Moment, row: RoundRow, person: str) -> Page:
    """The page of one round for one of its adults, in their language."""
    with speaking(m.district.people[person].language):
        return _round_page(m, row, person)


def _round_page(m: Moment, row: RoundRow, person: str) -> Page:
    held = rounds.checks_of(m.tx, row.id)
    cards = tuple(_card(m, person, str(c.number), m.district.students.get(c.student), c) for c in held)
    before = str(row.body.get("before", ""))
    page = _page(m, person, row.school, cards, before)
    by = next((c.silence.next.at for c in cards if c.silence and c.silence.next), "")
    early = page.state == "asked" and row.state == "planned"
    return replace(
        page,
        by=by,
        place=_place(held),
        path=doors.standing_path(m, person),
        state="planned" if early else page.state,
    )


def standing_page(m: Moment, person: str) -> Page:
    """The page that is always there: every student of this adult, in their language."""
    with speaking(m.district.people[person].language):
        return _standing_page(m, person)


def _standing_page(m: Moment, person: str) -> Page:
    mine = [s for s in m.district.students.values() if doors.concerns(m, s.id, person)]
    guardian = bool(mine) and all(person in s.guardians for s in mine)
    charges = sorted(((s, standing.todays_check(m, s.id)) for s in mine), key=lambda pair: _place_of(*pair))
    cards = tuple(_card(m, person, s.id, s, check) for s, check in charges)
    school = mine[0].school if mine else home(m, person)
    page = _page(m, person, school, cards, "")
    rosters = tuple(roster.asked_of(m, person))
    return replace(page, standing=True, guardian=guardian, rosters=rosters, burden=burden(m, person))


def _place_of(student: Student, check: CheckRow | None) -> tuple[int, str, int, str]:
    """Room by room as one goes, then by the numbers of the round; who has no check today comes last in the room."""
    figures = re.search(r"\d+", student.room)
    floor = int(figures.group()) if figures else sys.maxsize
    return floor, student.room, check.number if check else sys.maxsize, student.alias


def _place(held: Sequence[CheckRow]) -> str:
    rooms = dict.fromkeys(c.room for c in held)
    return room_words(next(iter(rooms))) if len(rooms) == 1 else ""


def _page(m: Moment, person: str, school: str, cards: tuple[Card, ...], before: str) -> Page:
    on = m.today(school)
    day = m.day(school, on)
    over = isinstance(day, SchoolDay) and m.now >= day.last
    return Page(
        person=person,
        name=m.district.people[person].name,
        school=m.school(school).name,
        place="",
        date=on,
        clock=m.wall(school, m.now, on),
        before=before,
        by="",
        state="over" if over else "asked" if isinstance(day, SchoolDay) else "closed",
        reason="" if isinstance(day, SchoolDay) else gettext(day.reason),
        cards=cards,
        caution=_caution(m.book.codes["SWALLOWED"], m.district.emergency),
        alarms=tuple(_alarms(m, person)),
        undo=_undo(m, person),
        held=bool(banner(m)),
        language=spoken(),
    )


def _caution(code: FaultCode, lines: EmergencyLines | None) -> Caution:
    number, text = (lines.number, lines.text) if lines else ("", "")
    return Caution(number, text, (lines.poison or "") if lines else "", each(code.remedy), each(code.never))


def _alarms(m: Moment, person: str) -> Iterable[Alarm]:
    for id in chases.open_alarms(m.tx):
        row = chases.get(m.tx, id)
        chase = load(row) if row else None
        if row is None or chase is None or person not in (*chase.involved, *chase.closers):
            continue
        student = m.district.students.get(row.student or "")
        mine = chase.pending is not None and chase.pending.person == person
        pending = chase.pending.how.value if chase.pending and mine else ""
        yield Alarm(id, m.wall(row.school, chase.began), student.alias if student else "", pending)


def _undo(m: Moment, person: str) -> str:
    """The round of the person's last answer, while it can still be taken back."""
    row = undoing.last_of(m, person, "")
    if row is None or m.now - row.received_at > m.district.settings.undo_within:
        return ""
    said = next(iter(statements.of_message(m.tx, row.id)), None)
    check = rounds.check(m.tx, said.check_id) if said else None
    return check.round_id if check else row.round_id or ""


def _card(m: Moment, person: str, key: str, student: Student | None, check: CheckRow | None) -> Card:
    devices = student.devices if student else ()
    school = student.school if student else check.school if check else home(m, person)
    row = rounds.get(m.tx, check.round_id) if check else None
    kind = check.kind if check else "daily"
    day = check.date if check else m.today(school)
    heard = sounds_asked(kind)
    return Card(
        key=key,
        student=check.student if check else key,
        round=check.round_id if check else None,
        number=check.number if check else 0,
        alias=student.alias if student else check.alias if check else "",
        room=room_words(student.room) if student else "",
        devices=device_words(devices),
        state=check.state if check else "none",
        result=check.result or "" if check else "",
        answer=_answer(m, person, check) if check else None,
        fault=_fault(m, student, check),
        pickers=tuple(pickers(m.book.codes, devices)),
        child=tuple(of_the_child(m.book.codes, devices)),
        steps=check_steps(kind, devices),
        sounds=order_of(m, student.id if student else key, school, day) if heard else (),
        due=m.wall(school, row.due, m.today(school)) if row else "",
        silence=_silence(m, check),
        second=bool(check and row and _has_second(check, row, person)),
        later=_later(m, school),
        away=standing.is_away(m, student.id) if student else False,
        late=_late(m, check) if check else "",
    )


def _has_second(check: CheckRow, row: RoundRow, person: str) -> bool:
    second = check.body.get("second") or row.second
    return second is not None and second != person


def _later(m: Moment, school: str) -> str:
    """The next bell of today, to be asked at instead."""
    day = m.day(school, m.today(school))
    bells = day.bells if isinstance(day, SchoolDay) else ()
    later = min((b for b in bells if b.start > m.now), key=lambda b: b.start, default=None)
    if later is None or (isinstance(day, SchoolDay) and later.start >= day.last):
        return ""
    return f"{later.name}, {m.wall(school, later.start)}"


def _silence(m: Moment, check: CheckRow | None) -> ChaseView | None:
    held = chases.of_check(m.tx, check.id) if check else []
    running = [r for r in held if r.why == Why.SILENCE.value and r.ended_at is None]
    return chase_view(m, running[0]) if running else None


def _answer(m: Moment, person: str, check: CheckRow) -> Answer | None:
    if check.state != "closed" or check.result is None:
        return None
    by = check.by or ""
    role = role_words(main_role_at(m, by, check.school)) if by in m.district.people else ""
    at = m.wall(check.school, check.result_at, check.date) if check.result_at else ""
    detail = ", ".join(_fault_words(m, check.faults)) or gettext(str(check.body.get("reason") or ""))
    return Answer(result_words(check.result), detail, by == person, role, at)


def _late(m: Moment, check: CheckRow) -> str:
    """What was said after the day had closed."""
    late = [s for s in statements.of_check(m.tx, check.id) if s.body.get("late")]
    return result_words(late[-1].body["result"]) if late else ""


def _fault_words(m: Moment, faults: Sequence[Mapping[str, str]]) -> Iterable[str]:
    for fault in faults:
        side = f" ({side_words([Side(fault['side'])])})" if fault.get("side") else ""
        yield labels(m, [fault["code"]]) + side


def _fault(m: Moment, student: Student | None, check: CheckRow | None) -> FaultNow | None:
    """The open fault of a student: of today's check, or one that is still open from before. An emergency is
    shown apart, above all else.
    """
    ids = chases.open_faults_of(m.tx, student.id) if student else []
    held = [row for id in ids if (row := chases.get(m.tx, id)) is not None]
    if any(r.severity == Severity.EMERGENCY.value for r in held):
        return None
    row = next(iter(held), None)
    faults = list(check.faults) if check and check.result == Result.FAULT.value else []
    if row is None and not faults:
        return None
    return _fault_now(m, row, load(row) if row else None, faults, student.devices if student else ())


def _fault_now(
    m: Moment, row: ChaseRow | None, chase: Chase | None, faults: list[Mapping[str, str]], devices: Sequence[Device]
) -> FaultNow:
    codes = [f["code"] for f in faults] or list(chase.faults if chase else ())
    known = [m.book.codes.get(c, m.book.codes["OTHER"]) for c in dict.fromkeys(codes)]
    view = chase_view(m, row) if row else None
    trying = chase is not None and chase.phase is Phase.TRYING
    return FaultNow(
        label=labels(m, codes),
        side=side_words([Side(f["side"]) for f in faults if f.get("side")]),
        since=view.since if view else "",
        remedy=tuple(step for code in known for step in each(code.said_of(code.remedy, devices))),
        never=tuple(dict.fromkeys(n for code in known for n in each(code.said_of(code.never, devices)))),
        cautions=tuple(dict.fromkeys(n for code in known for n in each(code.said_of(code.cautions, devices)))),
        asks=trying,
        chase=view,
    )
