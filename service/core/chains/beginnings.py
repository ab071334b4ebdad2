"""How a chase starts: the chain as it stands now (C18), and the first turn."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.core.chains.changing import replace
from service.core.chains.climb import Step
from service.core.chains.machine import step
from service.core.chains.values import Began, Chase, Phase, Purpose, Scene, Turn, Why
from service.core.district import (
    Chain,
    Contact,
    ContactKind,
    District,
    Limit,
    Role,
    Severity,
    Student,
)
from service.core.district import Step as ChainStep

UNTIL_DAY_ENDS = Limit()


def turns_of(
    chain: Chain, student: Student, checker: str, second: str | None, district: District
) -> tuple[Turn, ...]:
    """The chain's steps with the people they name today, for one student and round."""
    return tuple(
        Turn(
            label=_label(s.contact),
            people=_people(s.contact, student, checker, second, district),
            limit=s.limit,
            channels=s.channels,
            any_hour=s.any_hour,
            purpose=Purpose.PROMPT if s.contact.kind is ContactKind.CHECKER else Purpose.ALERT,
        )
        for s in chain.steps
        if not _nobody(s, second)
    )


def _nobody(s: ChainStep, second: str | None) -> bool:
    return s.contact.kind is ContactKind.SECOND and second is None


def _label(contact: Contact) -> str:
    if contact.kind is ContactKind.PERSON:
        return contact.person or ""
    if contact.kind is ContactKind.ROLE and contact.role:
        return contact.role.value
    return contact.kind.value


def _people(
    contact: Contact, student: Student, checker: str, second: str | None, district: District
) -> tuple[str, ...]:
    if contact.kind is ContactKind.CHECKER:
        return (checker,)
    if contact.kind is ContactKind.SECOND:
        return (second,) if second else ()
    if contact.kind is ContactKind.PERSON:
        return (contact.person,) if contact.person else ()
    if contact.role is Role.GUARDIAN:
        return student.guardians
    if contact.role is None:
        return ()
    return tuple(p.id for p in district.holders(contact.role, student.school))


@dataclass(frozen=True)
class Subject:
    """What a chase is about: its id, school and date, the check it belongs to, and who hears when nobody is left."""

    id: str
    school: str
    date: date
    check: str | None
    student: str | None
    round: str | None
    coordinators: tuple[str, ...]


@dataclass(frozen=True)
class Report:
    """What was reported and by whom. `involved` are those who heard of the silence before, or spoke: the end is news
    to them too. `closers` may end an emergency besides the reporter.
    """

    severity: Severity
    faults: tuple[str, ...]
    reporter: str
    involved: tuple[str, ...] = ()
    closers: tuple[str, ...] = ()


def begin_silence(
    subject: Subject, chain: Chain, turns: Sequence[Turn], due: datetime, now: datetime, scene: Scene
) -> Step:
    """Start a silence chase when its check is asked (C1); the prompt to the checker is its first telling."""
    chase = _chase(subject, chain, turns, Why.SILENCE, due)
    return step(replace(chase, reminders=chain.reminders), Began(), now, scene)


def begin_fault(
    subject: Subject,
    chain: Chain,
    turns: Sequence[Turn],
    report: Report,
    try_for: timedelta,
    guardians: tuple[str, ...],
    now: datetime,
    scene: Scene,
) -> Step:
    """Start a fault chase (C2): at once, or when the first remedy has had its time."""
    first = _before_the_bus(tuple(turns), guardians, now, scene)
    chase = _reported(_chase(subject, chain, first, Why.FAULT, now), report, now)
    chase = replace(chase, carries_on=chain.carries_on)
    if now >= scene.last and not chain.carries_on and scene.next_first is not None:
        return _held_over(chase, scene.next_first, scene), ()
    if try_for > timedelta():
        return replace(chase, phase=Phase.TRYING, try_until=now + try_for), ()
    return step(chase, Began(), now, scene)


def begin_alarm(
    subject: Subject, chain: Chain, turns: Sequence[Turn], report: Report, now: datetime, scene: Scene
) -> Step:
    """Start an emergency (C16): everyone in `turns` at once, whatever their hours or away marks."""
    chase = _reported(_chase(subject, chain, turns, Why.FAULT, now), report, now)
    return step(replace(chase, phase=Phase.ALARM, carries_on=True), Began(), now, scene)


def _chase(subject: Subject, chain: Chain, turns: Sequence[Turn], why: Why, began: datetime) -> Chase:
    return Chase(
        id=subject.id,
        why=why,
        school=subject.school,
        date=subject.date,
        check=subject.check,
        student=subject.student,
        round=subject.round,
        turns=tuple(turns),
        coordinators=subject.coordinators,
        phase=Phase.CLIMBING,
        began=began,
        mine_at_most=chain.mine_at_most,
    )


def _reported(chase: Chase, report: Report, now: datetime) -> Chase:
    return replace(
        chase,
        severity=report.severity,
        faults=report.faults,
        reporter=report.reporter,
        reported_at=now,
        involved=tuple(dict.fromkeys((report.reporter, *report.involved))),
        closers=report.closers,
    )


def _held_over(chase: Chase, next_first: datetime, scene: Scene) -> Chase:
    """C12: reported after school in a chain that holds: nobody is told before the next school morning."""
    return replace(chase, phase=Phase.HOLDING, resume_at=next_first - scene.settings.overnight_lead)


def _before_the_bus(
    turns: tuple[Turn, ...], guardians: tuple[str, ...], now: datetime, scene: Scene
) -> tuple[Turn, ...]:
    """C12: what is reported in the last minutes is told to the guardian first."""
    if not guardians or not (scene.last - scene.settings.bus_window <= now < scene.last):
        return turns
    own = next((t for t in turns if set(t.people) == set(guardians)), None)
    limit = own.limit if own and own.limit.span else Limit(span=timedelta(minutes=10))
    first = Turn(
        Role.GUARDIAN.value, guardians, limit, own.channels if own else (), own.any_hour if own else False
    )
    return (first, *(t for t in turns if t is not own))
