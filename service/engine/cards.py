"""The cards to print, as the configuration in force has them."""

from service.core.district import School, Student
from service.engine.desk import Moment
from service.wording.cards import Card, office_card, student_card

__all__ = ["Card", "listed", "of_office", "of_student"]


def of_student(m: Moment, student: str) -> Card | None:
    """The card of a student, in the language spoken; None where there is no such student."""
    held = m.district.students.get(student)
    return student_card(m.district, m.book.codes, held, m.today(held.school)) if held else None


def of_office(m: Moment, school: str) -> Card | None:
    """The card for a school's front office; None where there is no such school."""
    return office_card(m.district, m.book.codes, school, m.today(school)) if school in m.district.schools else None


def listed(m: Moment) -> tuple[tuple[School, tuple[Student, ...]], ...]:
    """Each school with its students, room by room."""
    found = m.district.students_of
    return tuple(
        (school, tuple(sorted(found.get(id, ()), key=lambda s: (s.room, s.alias))))
        for id, school in m.district.schools.items()
    )
