"""What follows from what was said about one student: statements, ended chases, begun chases.

Rules C1, C2, C7, C8, C15 and C16 meet the store here; the rules themselves are in `service.core.chains`.
"""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from service.core.chains import (
    Again,
    Chase,
    Ended,
    News,
    Phase,
    Purpose,
    Report,
    SaidWorking,
    Subject,
    Turn,
    Why,
    begin_alarm,
    begin_fault,
    turns_of,
)
from service.core.devices import severity_of, try_for
from service.core.district import SEVERITIES, Limit, Role, Severity, Student
from service.core.reading import Fault, Outcome, Result
from service.engine import asking_again, chaser, results, slips, trays
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.roles import is_staff, main_role_at, role_of, with_child
from service.engine.said import Decided, Need, Said, end, end_silence, say
from service.store import chases, rounds
from service.store.tables import ChaseRow, CheckRow

GOOD = (Result.WORKING, Result.FIXED)


def decide(m: Moment, check: CheckRow, outcome: Outcome, pointed: bool, said: Said) -> Decided:
    """Apply what was said about one check. Words that only cover a student do not settle a fault (C8)."""
    faults = open_faults(m, check)
    if outcome.result is Result.FAULT:
        return _fault(m, check, outcome, faults, said)
    if outcome.result in GOOD:
        return _good(m, check, outcome, faults, pointed, said)
    if not pointed and check.state == "closed":
        return Decided(check, recorded=False)
    if outcome.result is Result.NOT_DONE:
        return asking_again.not_done(m, check, outcome, said)
    say(m, check, outcome, said)
    end_silence(m, check, Ended.ANSWERED, said)
    for row in faults:
        if not chaser.is_emergency(row):
            end(m, row, Ended.AWAY, said)
    return Decided(check)


def _good(
    m: Moment, check: CheckRow, outcome: Outcome, faults: Sequence[ChaseRow], pointed: bool, said: Said
) -> Decided:
    if any(chaser.is_emergency(row) for row in faults):
        return Decided(check, recorded=False, need=Need.ALARM)
    broken = bool(faults) or check.result == Result.FAULT.value
    if broken and not pointed:
        by = _reporter(m, check, faults)
        return Decided(check, recorded=False, need=Need.STILL_A_FAULT, fault_by=by)
    if not (_sees_the_child(m, check, said.person) or (not broken and is_staff(m, said.person))):
        about = faults or chaser.open_for(m, check.id, Why.SILENCE)
        for row in about:
            chaser.apply(m, row, SaidWorking(said.person), said.cause, said.person)
        return Decided(check, recorded=False, need=Need.SAID_WORKING, chases=[r.id for r in about])
    if not pointed and check.result == Result.AWAY.value:
        return Decided(check, recorded=False)
    if check.result != outcome.result.value or broken or outcome.listened:
        say(m, check, outcome, said)
    end_silence(m, check, Ended.ANSWERED, said)
    for row in faults:
        _close_where_reported(m, row, check, outcome, said)
        end(m, row, Ended.PUT_RIGHT, said)
    return Decided(check, chases=[r.id for r in faults])


def _sees_the_child(m: Moment, check: CheckRow, person: str) -> bool:
    """Whether good news of a person counts (C7): who is with the child by role, or does this check today."""
    row = rounds.get(m.tx, check.round_id)
    doing = (row.checker, row.second, check.body.get("second")) if row else ()
    return person in doing or with_child(m, person, check.student) or _stands_in(m, check, person)


def _stands_in(m: Moment, check: CheckRow, person: str) -> bool:
    """Whether the person was told in the place of checker or second, as their deputy."""
    held = [load(row) for row in chases.of_check(m.tx, check.id) if row.why == Why.SILENCE.value]
    turns = [chase.turns[t.step] for chase in held for t in chase.told if t.person == person]
    return any(t.purpose is Purpose.PROMPT or t.label == Role.SECOND.value for t in turns)


def _close_where_reported(m: Moment, row: ChaseRow, check: CheckRow, outcome: Outcome, said: Said) -> None:
    """A fault of an earlier check of the same student is put right there too."""
    if row.check_id and row.check_id != check.id and (other := rounds.check(m.tx, row.check_id)):
        say(m, other, outcome, said)


def _reporter(m: Moment, check: CheckRow, faults: Sequence[ChaseRow]) -> str | None:
    if faults:
        return load(faults[0]).reporter
    return results.standing_of(m, check).by


def _fault(m: Moment, check: CheckRow, outcome: Outcome, faults: list[ChaseRow], said: Said) -> Decided:
    contradicted = _others_who_said_good(m, check, said.person)
    witnesses = end_silence(m, check, Ended.ANSWERED, said)
    say(m, check, outcome, said)
    severity = worst(m, check.student, outcome)
    if severity is Severity.EMERGENCY:
        row = alarm(m, check, check.student, check.school, outcome.faults, said)
        return Decided(check, need=Need.ALARM, chases=[row])
    running = next((row for row in faults if not chaser.is_emergency(row)), None)
    if running is not None and _covers(load(running), severity):
        chaser.apply(m, running, Again(said.person), said.cause, said.person)
        return Decided(check, chases=[running.id])
    knew: tuple[str, ...] = ()
    if running is not None:
        witnesses = tuple(dict.fromkeys((*witnesses, *load(running).involved)))
        knew = tuple(t.person for t in load(running).told if t.posted and t.person != said.person)
        end(m, running, Ended.OUTWEIGHED, said)
    chase = _begin(m, check, outcome, severity, witnesses, said)
    if chase is not None:
        told = {t.person for t in chase.told}
        overturned = tuple(p for p in contradicted if p not in witnesses)
        _tell_change(m, chase, [p for p in (*overturned, *knew) if p not in told], said)
    return Decided(
        check,
        try_until=chase.try_until if chase and chase.phase is Phase.TRYING else None,
        chases=[chase.id] if chase else [],
        told=_told_now(m, chase),
    )


def _told_now(m: Moment, chase: Chase | None) -> Role | None:
    """The role of who is told of a new fault at once, if anybody is."""
    told = chase.current if chase and chase.phase is Phase.CLIMBING else None
    return who(m, chase, told.person) if chase and told else None


def _tell_change(m: Moment, chase: Chase, people: Sequence[str], said: Said) -> None:
    """Those who know of the check and are not told anew hear what changed (C8, C16)."""
    for person in people:
        trays.lay_news(m, chase, News(person, "changed", soon=True), [chase.id, *said.cause], said.person)


def _covers(chase: Chase, severity: Severity) -> bool:
    return SEVERITIES.index(chase.severity or Severity.WATCH) >= SEVERITIES.index(severity)


def _others_who_said_good(m: Moment, check: CheckRow, person: str) -> tuple[str, ...]:
    """Those whose good news this overturns: they hear of it (C8)."""
    standing = results.standing_of(m, check)
    good = standing.result in GOOD and standing.by not in (None, person)
    return (standing.by,) if good and standing.by else ()


def open_faults(m: Moment, check: CheckRow) -> list[ChaseRow]:
    """The running fault chases about this student, of whatever date, each under its lock."""
    found = [chases.lock(m.tx, id) for id in chases.open_faults_of(m.tx, check.student)]
    return [row for row in found if row is not None and row.ended_at is None]


def worst(m: Moment, student: str, outcome: Outcome) -> Severity:
    """The gravest severity of what was reported."""
    usual = slips.usually_heard(m, student)
    grades = [severity_of(f, m.book.codes, outcome.missed_sounds, usual) for f in outcome.faults]
    return max(grades, key=SEVERITIES.index, default=Severity.SAME_DAY)


def _begin(
    m: Moment, check: CheckRow, outcome: Outcome, severity: Severity, witnesses: tuple[str, ...], said: Said
) -> Chase | None:
    """Begin the chase of a fault. What is only to be watched waits for the weekly summary (C5)."""
    student = m.district.students.get(check.student)
    chain = m.chain(student, check.school, severity)
    if student is None or chain is None or severity is Severity.WATCH:
        return None
    scene = m.scene(check.school, m.today(check.school))
    round_row = rounds.get(m.tx, check.round_id)
    checker = round_row.checker if round_row else said.person
    second = check.body.get("second") or (round_row.second if round_row else None)
    began = begin_fault(
        _subject(m, check.id, check.school, check.date, check),
        chain,
        turns_of(chain, student, checker, second, m.district),
        Report(severity, tuple(f.code for f in outcome.faults), said.person, witnesses),
        _try_for(m, outcome.faults, severity, scene.last),
        student.guardians,
        m.now,
        scene,
    )
    return chaser.start(m, began, [*said.cause, check.id], said.person, said.inbox)


def _try_for(m: Moment, faults: Sequence[Fault], severity: Severity, last: datetime) -> timedelta:
    """The shortest wait any of the faults allows; none so late that the bus would be missed."""
    settings = m.district.settings
    if m.now >= last - settings.bus_window:
        return timedelta()
    codes = [m.book.codes.get(f.code, m.book.codes["OTHER"]) for f in faults]
    return min((try_for(c, settings, severity) for c in codes), default=timedelta())


def alarm(
    m: Moment,
    check: CheckRow | None,
    student_id: str | None,
    school: str,
    faults: Sequence[Fault],
    said: Said,
) -> str:
    """Raise an emergency, or find the one that is running about the same child; says its id."""
    running = [id for id in chases.open_alarms(m.tx, school) if _same_child(m, id, student_id)]
    if running:
        _reported_too(m, running[0], said)
        return running[0]
    student = m.district.students.get(student_id or "")
    today = m.today(school)
    turns = _alarm_turns(m, student, school, check)
    closers = [p.id for p in m.district.holders(Role.NURSE, school)]
    closers += list(student.guardians) if student else []
    chain = m.chain(student, school, Severity.EMERGENCY)
    codes = tuple(f.code for f in faults)
    began = begin_alarm(
        _subject(m, check.id if check else f"ck-{school}-{said.inbox}", school, today, check),
        chain or next(iter(m.district.chains.values())),
        turns,
        Report(Severity.EMERGENCY, codes, said.person, closers=tuple(closers)),
        m.now,
        m.scene(school, today),
    )
    chase = chaser.start(m, began, [*said.cause, *([check.id] if check else [])], said.person, said.inbox)
    m.remember(f"rest/{said.person}", m.now + m.district.settings.emergency_rest, {})
    return chase.id


def _reported_too(m: Moment, id: str, said: Said) -> None:
    """Who reports a running emergency again hears its end."""
    row = chases.lock(m.tx, id)
    if row is not None:
        chaser.apply(m, row, Again(said.person), said.cause, said.person)


def _subject(m: Moment, about: str, school: str, on: date, check: CheckRow | None) -> Subject:
    """What a fault chase is about; `about` is what its id names."""
    return Subject(
        chaser.next_id(m, Why.FAULT, about),
        school,
        on,
        check.id if check else None,
        check.student if check else None,
        check.round_id if check else None,
        m.district.coordinators(school),
    )


def _same_child(m: Moment, id: str, student: str | None) -> bool:
    row = chases.lock(m.tx, id)
    return row is not None and (row.student == student or row.student is None or student is None)


def _alarm_turns(m: Moment, student: Student | None, school: str, check: CheckRow | None) -> tuple[Turn, ...]:
    """Everyone in the chain, and that school's front office (C16); no guardian while no child is named."""
    chain = m.chain(student, school, Severity.EMERGENCY)
    round_row = rounds.get(m.tx, check.round_id) if check else None
    office = tuple(p.id for p in m.district.holders(Role.OFFICE, school))
    turns: tuple[Turn, ...] = ()
    if chain and student:
        checker = round_row.checker if round_row else ""
        turns = turns_of(chain, student, checker, round_row.second if round_row else None, m.district)
    elif chain:
        named = [s.contact.person for s in chain.steps if s.contact.person]
        roles = [s.contact.role for s in chain.steps if s.contact.role not in (None, Role.GUARDIAN)]
        held = [p.id for role in roles if role for p in m.district.holders(role, school)]
        turns = (Turn("everyone", tuple(dict.fromkeys([*named, *held])), Limit(), any_hour=True),)
    return (*turns, Turn(Role.OFFICE.value, office, Limit(), any_hour=True))


def who(m: Moment, chase: Chase, person: str | None) -> Role | None:
    """The role of somebody in a chase, for messages, which name nobody."""
    return role_of(m, chase, person) if person and person in m.district.people else None


def reporter_role(m: Moment, check: CheckRow, person: str | None) -> Role | None:
    """The role of who reported the fault of a check."""
    if person is None or person not in m.district.people:
        return None
    row = rounds.get(m.tx, check.round_id)
    if row is not None and person == row.checker:
        return Role.CHECKER
    if row is not None and person in (row.second, check.body.get("second")):
        return Role.SECOND
    return main_role_at(m, person, check.school)
