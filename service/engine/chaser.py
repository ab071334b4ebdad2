"""Steps chases: loads one under its lock, asks the core, writes state, journal and trays in one transaction."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from functools import partial

from service.core.chains import (
    Ask,
    Chase,
    Effect,
    Ended,
    Event,
    Granted,
    News,
    OutOfPlace,
    Over,
    PassedOver,
    Phase,
    Posted,
    Scene,
    Tell,
    Time,
    Why,
    Withdraw,
    step,
    stood_still,
    wake,
)
from service.core.chains.climb import next_contact
from service.core.district import Severity
from service.core.reading import Result
from service.engine import holding, results, trays
from service.engine.codec import encode, encode_anew
from service.engine.desk import Desk, Moment, stream_of
from service.engine.loading import body_with, load
from service.engine.stumbling import AGAIN, OURS, guarded
from service.store import chases, inbox, marks
from service.store.tables import ChaseRow

SHOWN = tuple(f.name for f in fields(Chase) if f.name not in ("told", "involved"))
"""What of a chase is more than bookkeeping."""

BATCH = 200
"""Chases stepped in one transaction."""


@dataclass(frozen=True)
class Stepped:
    """What came of an event: the chase as it stands and what the caller may have to answer."""

    chase: Chase
    effects: tuple[Effect, ...] = ()

    @property
    def granted(self) -> Granted | None:
        """The answer to `mine` or `wait`."""
        return next((e for e in self.effects if isinstance(e, Granted)), None)


def apply(m: Moment, row: ChaseRow, event: Event, cause: Sequence[str], actor: str | None = None) -> Stepped:
    """Step a locked chase by one event. An event that means nothing in its phase changes nothing, nor does any
    where the school is configured no more: its chases were ended then.
    """
    before = load(row)
    m.begun.pop(row.id, None)
    if row.school not in m.district.schools:
        return Stepped(before)
    try:
        after, effects = step(before, event, m.now, m.around(row.school, row.date))
    except OutOfPlace:
        return Stepped(before)
    if after != before:
        _save(m, row, after)
    return _consequences(m, before, after, effects, cause, actor)


def posted_at_once(m: Moment, id: str, person: str, cause: Sequence[str]) -> None:
    """A chase that began in this moment has its first message on the way to somebody, before anybody has its row."""
    before, body = m.begun[id]
    scene = m.around(before.school, before.date)
    after, effects = step(before, Posted(person), m.now, scene)
    held = {**body, "chase": encode_anew(after, before, body["chase"])}
    m.begun[id] = (after, held)
    chases.alter(m.tx, id, **_shown(after, scene), body=held)
    _consequences(m, before, after, effects, cause, None)


def _consequences(
    m: Moment, before: Chase, after: Chase, effects: tuple[Effect, ...], cause: Sequence[str], actor: str | None
) -> Stepped:
    if _shows(before, after, effects):
        _note(m, after, cause, actor)
    carry_out(m, after, effects, cause, actor)
    return Stepped(after, effects)


def start(
    m: Moment,
    began: tuple[Chase, tuple[Effect, ...]],
    cause: Sequence[str],
    actor: str | None,
    by: str | None,
) -> Chase:
    """Store a chase that just began; `by` is the received message that began it, for undo."""
    chase, effects = began
    # Of chases that begin together most is alike, and is put into words once.
    before, written = next(reversed(m.begun.values()), (None, None))
    held = encode_anew(chase, before, written["chase"]) if written else encode(chase)
    body = {"chase": held, "began_by": by}
    chases.insert(
        m.tx,
        {
            "id": chase.id,
            "check_id": chase.check,
            "round_id": chase.round,
            "student": chase.student,
            "school": chase.school,
            "date": chase.date,
            "why": chase.why.value,
            **_shown(chase, m.around(chase.school, chase.date)),
            "body": body,
        },
    )
    m.begun[chase.id] = (chase, body)
    m.laid[chase.id] = set()
    _note(m, chase, cause, actor)
    carry_out(m, chase, effects, cause, actor)
    return chase


def stand_still(m: Moment, row: ChaseRow, by: timedelta, cause: Sequence[str], actor: str) -> None:
    """Move all that a locked chase still has to come, as if no time had passed."""
    after = stood_still(load(row), by)
    _save(m, row, after)
    _note(m, after, cause, actor)


def step_due(desk: Desk, now: datetime) -> int:
    """Step every chase whose instant has come; says how many. Silence waits for the grace after a restart."""
    done = 0
    while True:
        try:
            due, stepped = _batch(desk, now)
        except OURS:
            raise
        except Exception:
            return done + _one_by_one(desk, now)
        done += stepped
        if len(due) < BATCH or not stepped:
            return done


def _batch(desk: Desk, now: datetime) -> tuple[list[str], int]:
    with desk.moment(now) as m:
        due = chases.due(m.tx, m.now, BATCH, without_silence=_held(m))
        return due, _wake_all(m, _free(m, due))


def _one_by_one(desk: Desk, now: datetime) -> int:
    """One of them fails: each by itself, so that the others are stepped."""
    with desk.moment(now) as m:
        due = chases.due(m.tx, m.now, BATCH, without_silence=_held(m))
    return sum(
        guarded(desk, now, f"chase {id}", partial(_single, desk, now, id), partial(_postpone, id))
        for id in due
    )


def _single(desk: Desk, now: datetime, id: str) -> int:
    with desk.moment(now) as m:
        return _wake_all(m, _free(m, [id]))


def _free(m: Moment, ids: Sequence[str]) -> list[str]:
    """Those that no other instance is at, locked. Where one is ending a school's day, that comes before its steps."""
    due = marks.due(m.tx, "day/", m.now) if holding.is_needed(m) else []
    ending = {mark.body["school"] for mark in due if mark.body.get("what") is None}
    places = chases.places(m.tx, ids) if ending else {}
    return holding.free(m, [id for id in ids if id not in places or places[id][0] not in ending])


def _postpone(id: str, m: Moment) -> None:
    row = chases.lock(m.tx, id)
    if row is not None:
        chases.save(m.tx, row, wake_at=m.now + AGAIN)


def _held(m: Moment) -> bool:
    """C20: in the grace after a restart, and while a message lies unread (another instance may be at it)."""
    until = m.desk.silence_held_until
    return (until is not None and m.now < until) or inbox.has_unread(m.tx)


def _wake_all(m: Moment, ids: Collection[str]) -> int:
    locked = chases.locked(m.tx, ids)
    due = [row for id in ids if (row := locked.get(id)) and _is_due(m, row)]
    to_tell = {person for row in due for turn in load(row).turns for person in turn.people}
    trays.look_up(m, to_tell, [row.id for row in due])
    for row in due:
        _wake(m, row)
    return len(due)


def _is_due(m: Moment, row: ChaseRow) -> bool:
    return row.ended_at is None and row.wake_at is not None and row.wake_at <= m.now


def _wake(m: Moment, row: ChaseRow) -> None:
    before = row.wake_at
    stepped = apply(m, row, Time(), [])
    if row.wake_at is not None and row.wake_at == before and stepped.chase.is_open:
        chases.save(m.tx, row, wake_at=wake(stepped.chase, m.around(row.school, row.date)))


def _save(m: Moment, row: ChaseRow, chase: Chase) -> None:
    shown = _shown(chase, m.around(row.school, row.date))
    chases.save(m.tx, row, **shown, body=body_with(row, chase))


def _shown(chase: Chase, scene: Scene) -> dict[str, object]:
    """What the chase's row shows of it in columns."""
    return {
        "phase": chase.phase.value,
        "step": chase.step,
        "severity": chase.severity.value if chase.severity else None,
        "wake_at": wake(chase, scene) if chase.is_open else None,
        "ended_at": chase.end.at if chase.end else None,
    }


def _shows(before: Chase, after: Chase, effects: Iterable[Effect]) -> bool:
    """Whether a reader of the journal would want to know: not for bookkeeping of sent and accepted."""
    return bool(tuple(effects)) or any(getattr(before, name) != getattr(after, name) for name in SHOWN)


def _note(m: Moment, chase: Chase, cause: Sequence[str], actor: str | None) -> None:
    upcoming = next_contact(chase, m.now, m.around(chase.school, chase.date))
    m.note(
        stream_of(chase.school, chase.date),
        "chase",
        chase.id,
        cause or [chase.check or chase.id],
        actor,
        why=chase.why.value,
        school=chase.school,
        round=chase.round,
        students=[chase.student] if chase.student else [],
        severity=chase.severity.value if chase.severity else None,
        state=chase.end.how.value if chase.end else chase.phase.value,
        step=chase.step,
        until=encode(_until(chase)),
        next={"at": encode(upcoming[0]), "person": upcoming[1]} if upcoming else None,
    )


def _until(chase: Chase) -> datetime | None:
    match chase.phase:
        case Phase.IN_HAND:
            return chase.in_hand.until if chase.in_hand else None
        case Phase.TRYING:
            return chase.try_until
        case Phase.HOLDING:
            return chase.resume_at
        case Phase.CLIMBING:
            return chase.next_due
        case _:
            return None


def carry_out(
    m: Moment, chase: Chase, effects: Iterable[Effect], cause: Sequence[str], actor: str | None
) -> None:
    """Do what the core decided: lay messages in trays, take waiting ones back, record how it ended."""
    for effect in effects:
        match effect:
            case Tell():
                trays.lay(m, chase, effect, [chase.id, *cause])
            case News():
                trays.lay_news(m, chase, effect, [chase.id, *cause], actor)
            case Ask():
                trays.lay_question(m, chase, effect, [chase.id, *cause])
            case Withdraw():
                trays.withdraw(m, chase, effect, [chase.id, *cause])
            case PassedOver():
                _passed_over(m, chase, effect, [chase.id, *cause])
            case Over(how=Ended.UNANSWERED | Ended.NOT_ASKED as how):
                _never_answered(m, chase, how)
            case _:
                pass


def _passed_over(m: Moment, chase: Chase, effect: PassedOver, cause: Sequence[str]) -> None:
    m.note(
        stream_of(chase.school, chase.date),
        "withheld",
        f"{chase.id}/{effect.step}/{effect.person}",
        cause,
        None,
        to=effect.person,
        purpose=effect.purpose.value,
        chases=[chase.id],
        reason=effect.reason,
    )


def _never_answered(m: Moment, chase: Chase, how: Ended) -> None:
    result = Result.UNANSWERED if how is Ended.UNANSWERED else Result.NOT_ASKED
    if chase.check is not None:
        results.close(m, chase.check, result, [chase.id], None)


def silent(m: Moment, check_id: str) -> Result:
    """The result of a check whose day is over and of which nothing is said that stands: unanswered where anybody's
    channel has taken a message that asked for it.
    """
    asked = (load(row) for row in chases.of_check(m.tx, check_id) if row.why == Why.SILENCE.value)
    taken = any(told.accepted for chase in asked for told in chase.told)
    return Result.UNANSWERED if taken else Result.NOT_ASKED


def open_for(m: Moment, check_id: str, why: Why | None = None) -> list[ChaseRow]:
    """The open chases of a check, each under its lock."""
    found = [chases.lock(m.tx, row.id) for row in chases.of_check(m.tx, check_id) if row.ended_at is None]
    return [row for row in found if row and row.ended_at is None and (why is None or row.why == why.value)]


def next_id(m: Moment, why: Why, check_id: str) -> str:
    """The id of the next chase of this kind about a check: chases are numbered from 1."""
    return next_ids(m, why, [check_id])[check_id]


def next_ids(m: Moment, why: Why, checks: Collection[str]) -> dict[str, str]:
    """The same for many checks, by check."""
    so_far = chases.counts_of(m.tx, checks, why.value)
    return {id: f"ch-{why.value}-{id.removeprefix('ck-')}-{so_far.get(id, 0) + 1}" for id in checks}


def is_emergency(row: ChaseRow) -> bool:
    """Whether the chase is an emergency, which nothing ordinary ends (C16)."""
    return row.severity == Severity.EMERGENCY.value
