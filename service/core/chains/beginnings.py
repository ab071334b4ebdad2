"""How a chase starts: the chain as it stands now (C18), and the first turn."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

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


def begin_silence(
    id: str,
    chain: Chain,
    turns: Sequence[Turn],
    *,
    school: str,
    day: date,
    check: str,
    student: str,
    round: str,
    coordinators: tuple[str, ...],
    due: datetime,
    now: datetime,
    scene: Scene,
) -> Step:
    """Start a silence chase when its check is asked (C1); the prompt to the checker is its first telling."""
    return step(
        Chase(
            id=id,
            why=Why.SILENCE,
            school=school,
            date=day,
            check=check,
            student=student,
            round=round,
            turns=tuple(turns),
            coordinators=coordinators,
            phase=Phase.CLIMBING,
            began=due,
            mine_at_most=chain.mine_at_most,
            carries_on=False,
            reminders=chain.reminders,
        ),
        Began(),
        now,
        scene,
    )


def begin_fault(
    id: str,
    chain: Chain,
    turns: Sequence[Turn],
    *,
    school: str,
    day: date,
    check: str | None,
    student: str | None,
    round: str | None,
    coordinators: tuple[str, ...],
    severity: Severity,
    faults: tuple[str, ...],
    reporter: str,
    involved: tuple[str, ...],
    try_for: timedelta,
    guardians: tuple[str, ...],
    now: datetime,
    scene: Scene,
) -> Step:
    """Start a fault chase (C2): at once, or when the first remedy has had its time. `involved` are those who
    heard of the silence before, or spoke: the fault's end is news to them too.
    """
    chase = Chase(
        id=id,
        why=Why.FAULT,
        school=school,
        date=day,
        check=check,
        student=student,
        round=round,
        turns=_before_the_bus(tuple(turns), guardians, now, scene),
        coordinators=coordinators,
        phase=Phase.CLIMBING,
        began=now,
        severity=severity,
        faults=faults,
        mine_at_most=chain.mine_at_most,
        carries_on=chain.carries_on,
        reporter=reporter,
        reported_at=now,
        involved=tuple(dict.fromkeys((reporter, *involved))),
    )
    if now >= scene.last and not chain.carries_on and scene.next_first is not None:
        return _held_over(chase, scene.next_first, scene), ()
    if try_for > timedelta():
        return replace(chase, phase=Phase.TRYING, try_until=now + try_for), ()
    return step(chase, Began(), now, scene)


def _held_over(chase: Chase, next_first: datetime, scene: Scene) -> Chase:
    """C12: reported after school in a chain that holds: nobody is told before the next school morning."""
    return replace(chase, phase=Phase.HOLDING, resume_at=next_first - scene.settings.overnight_lead)


def begin_alarm(
    id: str,
    chain: Chain,
    turns: Sequence[Turn],
    *,
    school: str,
    day: date,
    check: str | None,
    student: str | None,
    round: str | None,
    coordinators: tuple[str, ...],
    faults: tuple[str, ...],
    reporter: str,
    closers: tuple[str, ...],
    now: datetime,
    scene: Scene,
) -> Step:
    """Start an emergency (C16): everyone in `turns` at once, whatever their hours or away marks.
    `closers` may end it besides the reporter: nurse and guardian.
    """
    chase = Chase(
        id=id,
        why=Why.FAULT,
        school=school,
        date=day,
        check=check,
        student=student,
        round=round,
        turns=tuple(turns),
        coordinators=coordinators,
        phase=Phase.ALARM,
        began=now,
        severity=Severity.EMERGENCY,
        faults=faults,
        mine_at_most=chain.mine_at_most,
        carries_on=True,
        reporter=reporter,
        reported_at=now,
        involved=(reporter,),
        closers=closers,
    )
    return step(chase, Began(), now, scene)


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
