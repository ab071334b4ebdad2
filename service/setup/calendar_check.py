"""Dates that cannot be meant: outside every term, a year off, on top of one another."""

from datetime import date

from service.core.district import Span
from service.setup.kinds import Path, Reading

LONGEST_TERM = 366
LONGEST_CLOSURE = 45


def judge_terms(terms: tuple[Span, ...], path: Path, to: Reading) -> None:
    """Note terms that overlap or last longer than a year."""
    for place, term in enumerate(terms):
        length = (term.last - term.first).days + 1
        if length > LONGEST_TERM:
            wrong = f"the term {_name(term)} lasts {length} days, longer than a year"
            to.at((*path, place), wrong, "look at the years of its dates")
        for other in terms[:place]:
            if term.first <= other.last and other.first <= term.last:
                wrong = f"the term {_name(term)} overlaps the term {_name(other)}"
                to.at(
                    (*path, place),
                    wrong,
                    f"let one end before the other begins ({other.first} to {other.last})",
                )


def judge_closures(closures: tuple[Span, ...], terms: tuple[Span, ...], path: Path, to: Reading) -> None:
    """Warn of closures outside every term and of ones too long to be meant."""
    for place, closure in enumerate(closures):
        length = (closure.last - closure.first).days + 1
        if not in_term(closure, terms):
            wrong = f"the closure {_name(closure)} ({closure.first}) is outside every term"
            to.at((*path, place), wrong, another_year(closure.first, terms), "warning")
        elif length > LONGEST_CLOSURE:
            wrong = f"the closure {_name(closure)} lasts {length} days"
            to.at((*path, place), wrong, "look at the months of its dates", "warning")


def judge_date(day: date, what: str, terms: tuple[Span, ...], path: Path, to: Reading) -> None:
    """Warn of a date outside every term."""
    if not in_term(Span(day, day), terms):
        to.at(path, f"{what} ({day}) is outside every term", another_year(day, terms), "warning")


def in_term(span: Span, terms: tuple[Span, ...]) -> bool:
    """Whether some of the span lies in a term."""
    return not terms or any(span.first <= term.last and term.first <= span.last for term in terms)


def another_year(day: date, terms: tuple[Span, ...]) -> str:
    """What would be right for a date outside every term: the same date of a year in which it lies in one."""
    for year in sorted({year for term in terms for year in (term.first.year, term.last.year)}):
        if year != day.year and (day.month, day.day) != (2, 29):
            moved = day.replace(year=year)
            if any(term.holds(moved) for term in terms):
                return f"did you mean {moved}?"
    return "correct the date, or take it out"


def _name(span: Span) -> str:
    return span.name or f"of {span.first}"
