"""A child who slips against what is usual for it: looked for with each result, told to the audiologist once."""

from collections.abc import Sequence
from datetime import date
from functools import partial

from service.core.chains import Purpose
from service.core.devices import says_sounds, tries_sides_alone
from service.core.district import Person, Role, Side, Student
from service.core.listening.design import SCHOOL_DAYS
from service.core.listening.slipping import Plan, Watched, watch
from service.core.listening.stated import Checked, listenings, usual_of
from service.core.listening.usual import Ear
from service.core.listening.worth import worth_looking_at
from service.core.reading import Fault, Listened, Result
from service.core.sounds import sound_sets
from service.engine.codec import decode
from service.engine.desk import Moment, stream_of
from service.engine.letters import item, reader_of
from service.engine.posting import ItemRef, Parcel, post
from service.engine.stumbling import beside
from service.languages import speaking
from service.store import rounds
from service.store.tables import CheckRow
from service.wording import compose
from service.wording.letters import Slip, WorthLooking

SOUNDS = sound_sets()["six"]


def tell(m: Moment, check: CheckRow) -> int:
    """Tell what this check's result completed, if a change has become worth looking at; says how many were told.

    Each change is told on the day on which it is found; what is found again with the same check is the same message.
    Where it cannot be worked out, the words that gave the result stand all the same.
    """
    nothing: Sequence[Parcel] = ()
    parcels = beside(m, f"slip {check.id}", partial(_parcels, m, check), nothing)
    for parcel in parcels:
        post(m, parcel)
    return len(parcels)


def _parcels(m: Moment, check: CheckRow) -> Sequence[Parcel]:
    student = m.district.students.get(check.student)
    if student is None or not student.usual or student.usual_since is None or not says_sounds(check.kind):
        return ()
    watched = watched_of(m, student, student.usual_since, check.date)
    new = {ear: standing for ear, standing in watched.items() if standing.spoke == check.date}
    people = m.district.holders(Role.AUDIOLOGIST, check.school) if new else ()
    return [_parcel(m, check, person, watched, new) for person in people]


def watched_of(m: Moment, student: Student, since: date, until: date) -> dict[Ear, Watched]:
    """How each sound and side of a student stands after the checks from `since` to `until`."""
    usual = usual_of(student.usual, student.devices, SOUNDS.sounds)
    plan = Plan(usual, {ear.side: checks_a_year(student, bool(ear.side)) for ear in usual})
    held = rounds.student_checks(m.tx, student.id, since, until)
    checks = [_checked(check) for check in held if says_sounds(check.kind)]
    return watch(plan, listenings(checks, student.devices, SOUNDS.sounds))


def _checked(check: CheckRow) -> Checked:
    return Checked(
        check.date,
        Result(check.result) if check.result else None,
        tuple(decode(Fault, fault) for fault in check.faults),
        tuple(check.body.get("missed", ())),
        listened=decode(Listened, check.body.get("listened")),
        alone=tries_sides_alone(check.kind),
    )


def usually_heard(m: Moment, student: str) -> frozenset[str] | None:
    """The sounds that a student usually hears on some side; None where nobody has said."""
    held = m.district.students.get(student)
    if held is None or not held.usual:
        return None
    usual = usual_of(held.usual, held.devices, SOUNDS.sounds)
    return frozenset(ear.sound for ear, stated in usual.items() if stated.watched_at is not None)


def checks_a_year(student: Student, alone: bool) -> int:
    """Checks with sounds in a year by the student's routines, at least one; `alone`: those of each side alone. Those on
    certain days count by their share of five, cycle days as every day.
    """
    said = tries_sides_alone if alone else says_sounds
    days = sum(len(r.weekdays) or 5 for r in student.routines if said(r.kind))
    return max(1, SCHOOL_DAYS * days // 5)


def _parcel(
    m: Moment, check: CheckRow, person: Person, watched: dict[Ear, Watched], new: dict[Ear, Watched]
) -> Parcel:
    role = Role.AUDIOLOGIST
    rests_on = max(new.values(), key=lambda standing: standing.missed)
    with speaking(person.language):
        letter = Slip(
            reader_of(m, person, role),
            item(m, check),
            tuple(
                WorthLooking(w.pattern, Side(w.side) if w.side else None, w.sounds)
                for w in worth_looking_at(watched, SOUNDS.high)
            ),
            rests_on.missed,
            rests_on.checks,
        )
    ears = "+".join(f"{ear.side or 'worn'}-{ear.sound}" for ear in sorted(new))
    return Parcel(
        key=f"slip/{check.student}/{check.date}/{ears}/{person.id}",
        person=person.id,
        role=role.value,
        purpose=Purpose.NEWS,
        written=compose(letter, person.language),
        items=(ItemRef(check.number, check.id, None, check.student, check.round_id),),
        cause=(check.id,),
        stream=stream_of(check.school, check.date),
    )
