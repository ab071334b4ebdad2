"""Whether the day a routine asks for exists: its weekday, its day of the rotation, its bell, its minute."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time, timedelta

from service.core.district import Bell, When
from service.setup.build_school import build_bells, build_dates, build_week
from service.setup.build_student import build_when
from service.setup.docs import View
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest
from service.setup.values import WEEKDAYS, write_time

BEFORE_SCHOOL = timedelta(minutes=60)
"""A check is planned at most this long before the first bell (see `service.core.routines`)."""


@dataclass(frozen=True)
class Bells:
    """A day type's own bells and those of its variants."""

    own: tuple[Bell, ...]
    variants: Mapping[str, tuple[Bell, ...]]

    def named(self, name: str, variant: str | None = None) -> Bell | None:
        """The bell of that name: the variant's, else the day's own."""
        bells = (*(self.variants.get(variant, ()) if variant else ()), *self.own)
        return next((bell for bell in bells if bell.name == name), None)

    def bounds(self) -> tuple[int, int]:
        """First and last minute of the day, counted from midnight."""
        every = [*self.own, *(bell for bells in self.variants.values() for bell in bells)]
        return min(minute(b.start) for b in every), max(minute(b.end or b.start) for b in every)


def minute(at: time) -> int:
    """Minutes since midnight of the wall clock."""
    return at.hour * 60 + at.minute


def bells_of(school: View) -> dict[str, Bells]:
    """The bells of every day type that has some."""
    return {
        name: Bells(
            build_bells(day.pairs("bells")),
            {
                variant: build_bells(day.view("variants").pairs(variant))
                for variant in day.view("variants").of
            },
        )
        for name, day in school.views("day types").items()
        if day.items("bells")
    }


def judge_routine_day(routine: View, school: View, path: Path, to: Reading) -> None:
    """Note a routine that can never happen, and warn of day types on which it does not."""
    if not _judge_days(routine, school, path, to) or not routine.has("when"):
        return
    when, types = build_when(routine.view("when")), bells_of(school)
    possible = {name: types[name] for name in _possible_types(routine, school) if name in types}
    if not possible:
        return
    where = (*path, "when")
    if not _judge_variant(when, types, where, to) or not _judge_bell(when, types, possible, where, to):
        return
    shut = [name for name, bells in possible.items() if not _is_open(when, bells)]
    if len(shut) == len(possible):
        wrong = f"the check is due {_due(when, next(iter(possible.values())))}, when the school is shut"
        to.at(where, wrong, "move it between the first and the last bell")
    elif shut:
        _warn(f"the check is not due within school on: {', '.join(shut)}", where, to)


def _judge_days(routine: View, school: View, path: Path, to: Reading) -> bool:
    week, days = build_week(school), routine.texts("days")
    dated = {day.isoweekday() for day in build_dates(school, week)}
    shut = [day for day in days if WEEKDAYS.index(day) + 1 not in {*week, *dated}]
    if shut and week:
        to.at((*path, "days"), f"the school is shut on {', '.join(shut)}", "name weekdays with school")
        return False
    labels = school.view("rotation").texts("labels")
    for place, label in enumerate(routine.texts("cycle days")):
        if label not in labels:
            right = (
                suggest(label, labels, "label")
                if labels
                else "give the school a rotation, or take cycle days out"
            )
            to.at((*path, "cycle days", place), f"{label!r} is no day of the school's rotation", right)
            return False
    return True


def _possible_types(routine: View, school: View) -> list[str]:
    """The day types that a day of this routine can have; every label is taken to be possible on every weekday."""
    week = build_week(school)
    allowed = {WEEKDAYS.index(day) + 1 for day in routine.texts("days")}
    rotation = school.view("rotation")
    by_label = rotation.view("day types").of
    labels = routine.texts("cycle days") or rotation.texts("labels")
    names: dict[str, None] = {}
    for weekday, name in week.items():
        if not allowed or weekday in allowed:
            names |= dict.fromkeys(str(by_label.get(label, name)) for label in labels or ("",))
    for day, name in build_dates(school, week).items():
        if not allowed or day.isoweekday() in allowed:
            names[name] = None
    return list(names)


def _judge_variant(when: When, types: dict[str, Bells], path: Path, to: Reading) -> bool:
    known = list(dict.fromkeys(variant for bells in types.values() for variant in bells.variants))
    if when.variant is None or when.variant in known:
        return True
    to.at(path, f"no day has the variant {when.variant!r}", suggest(when.variant, known, "variant"))
    return False


def _judge_bell(
    when: When, types: dict[str, Bells], possible: dict[str, Bells], path: Path, to: Reading
) -> bool:
    if when.bell is None:
        return True
    missing = [name for name, bells in possible.items() if bells.named(when.bell, when.variant) is None]
    if len(missing) == len(possible):
        _report_no_bell(when, types, possible, path, to)
        return False
    if missing:
        _warn(f"there is no bell {when.bell!r} and so no check on: {', '.join(missing)}", path, to)
    return _judge_edge(when, possible, path, to)


def _report_no_bell(
    when: When, types: dict[str, Bells], possible: dict[str, Bells], path: Path, to: Reading
) -> None:
    elsewhere = [name for name, bells in types.items() if bells.named(str(when.bell), when.variant)]
    if elsewhere:
        wrong = f"the bell {when.bell!r} rings on no day that this routine has ({', '.join(possible)})"
        to.at(path, wrong, f"it rings on: {', '.join(elsewhere)}; name another bell or other days")
        return
    to.at(
        path,
        f"there is no bell {when.bell!r}",
        suggest(str(when.bell), all_bells(types, when.variant), "bell"),
    )


def all_bells(types: Mapping[str, Bells], variant: str | None = None) -> list[str]:
    """The names of all bells of some day types, each once."""
    names = [b.name for bells in types.values() for b in (*bells.own, *bells.variants.get(variant or "", ()))]
    return list(dict.fromkeys(names))


def _judge_edge(when: When, possible: dict[str, Bells], path: Path, to: Reading) -> bool:
    if when.edge == "start":
        return True
    found = [bells.named(str(when.bell), when.variant) for bells in possible.values()]
    if any(bell is not None and bell.end is None for bell in found):
        right = "give it an end, as 08:15 - 09:00, or count from its start"
        to.at(path, f"nobody says when {when.bell!r} ends", right)
        return False
    return True


def _is_open(when: When, bells: Bells) -> bool:
    due = _minute(when, bells)
    first, last = bells.bounds()
    return due is None or first - BEFORE_SCHOOL.total_seconds() / 60 <= due <= last


def _minute(when: When, bells: Bells) -> float | None:
    if when.at is not None:
        return minute(when.at)
    bell = bells.named(str(when.bell), when.variant)
    edge = bell and (bell.end if when.edge == "end" else bell.start)
    return minute(edge) + when.offset.total_seconds() / 60 if edge else None


def _due(when: When, bells: Bells) -> str:
    due = _minute(when, bells)
    if due is None or not 0 <= due < 24 * 60:
        return "outside the day"
    return f"at {write_time(time(int(due) // 60, int(due) % 60))}"


def _warn(wrong: str, path: Path, to: Reading) -> None:
    to.at(path, wrong, "add a routine for those days, or leave it if no check is wanted then", "warning")
