"""What a person is to a chase, a school, a child; decides how they are written to and what their words settle."""

from service.core.chains import Chase, Purpose
from service.core.district import Role
from service.engine.desk import Moment


def role_of(m: Moment, chase: Chase, person: str) -> Role:
    """What a person is in this chase: checker and second of its round first, then their own role there."""
    student = m.district.students.get(chase.student or "")
    if student and person in student.guardians:
        return Role.GUARDIAN
    first = chase.turns[0] if chase.turns else None
    if first and first.purpose is Purpose.PROMPT and person in first.people:
        return Role.CHECKER
    if any(t.label == Role.SECOND.value and person in t.people for t in chase.turns):
        return Role.SECOND
    return main_role_at(m, person, chase.school)


def main_role_at(m: Moment, person: str, school: str) -> Role:
    """A person's first role at a school, or their first anywhere; who was taken out of the folder has none, and
    counts as a checker.
    """
    held = m.district.people.get(person)
    roles = held.roles if held else ()
    here = [r.role for r in roles if not r.schools or school in r.schools]
    return next(iter([*here, *(r.role for r in roles)]), Role.CHECKER)


def main_role(m: Moment, person: str) -> str:
    """A person's first role."""
    return next((r.role.value for r in m.district.people[person].roles), Role.CHECKER.value)


NOT_WITH_THE_CHILD = frozenset({Role.GUARDIAN, Role.CLINIC, Role.COORDINATOR, Role.OFFICE})


def with_child(m: Moment, person: str, student: str) -> bool:
    """Whether a person's "working" about a student counts as seen on the child (C7): checker, second, nurse,
    visiting staff and the visiting audiologist; never from afar.
    """
    child = m.district.students.get(student)
    if child is None:
        return False
    if any(person in (r.checker, r.second) for r in child.routines):
        return True
    if person in child.guardians:
        return False
    held = {r.role for r in m.district.people[person].roles if not r.schools or child.school in r.schools}
    return bool(held - NOT_WITH_THE_CHILD)


def home(m: Moment, person: str) -> str:
    """The school a person belongs to first."""
    held = [s for r in m.district.people[person].roles for s in r.schools]
    return next(iter([*held, *m.district.schools]))


def is_staff(m: Moment, person: str) -> bool:
    """Whether the person is of the district: a silence is settled by any result of theirs (C7), a fault is not."""
    held = m.district.people[person]
    outside = {Role.GUARDIAN, Role.CLINIC}
    return not held.outside and any(r.role not in outside for r in held.roles)
