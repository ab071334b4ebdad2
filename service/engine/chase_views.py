"""One chase as people want to see it: whom it told, who has it in hand, and the steps that come.

Instants are given as the school's clock shows them and as fractions of the day from first to last bell.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from service.core.chains import Chase, OutOfPlace, Phase, Time, Why, step
from service.core.chains.climb import next_contact
from service.core.district import Severity
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.roles import role_of
from service.languages import gettext
from service.store.tables import ChaseRow
from service.wording.names import role_words

STEPS_AHEAD = 5
"""How many of the chain's next steps are worked out for the strip."""


@dataclass(frozen=True)
class Ahead:
    """A step the chain will take if nothing changes: whom it tells, at what time, where on the day."""

    role: str
    at: str
    where: float
    instant: datetime


@dataclass(frozen=True)
class Mark:
    """Something that happened on the strip; `kind`: asked, reminded, told, working, fixed, fault, away, late."""

    kind: str
    at: str
    where: float
    words: str = ""


@dataclass(frozen=True)
class Hand:
    """Somebody said "mine": their role, until when, and the bracket's place."""

    role: str
    until: str
    begins: float
    ends: float
    said: bool = True


@dataclass(frozen=True)
class ChaseView:
    """One chase as a reader wants it. `state` changes with everything that happens to it; `pending` is how an
    emergency is said to have ended, until that is confirmed.
    """

    id: str
    why: Why
    phase: Phase
    severity: Severity | None
    label: str
    codes: tuple[str, ...]
    since: str
    began: datetime
    told: tuple[Mark, ...]
    hand: Hand | None
    ahead: tuple[Ahead, ...]
    reporter: str
    try_until: str
    pending: str
    state: str

    @property
    def next(self) -> Ahead | None:
        """The next step, if one is known."""
        return self.ahead[0] if self.ahead else None


@dataclass(frozen=True)
class Scale:
    """A school's day while its view is made: turns instants into clock times and places."""

    m: Moment
    school: str
    date: date
    first: datetime
    last: datetime

    def wall(self, at: datetime) -> str:
        """An instant as the school's clock shows it."""
        return self.m.wall(self.school, at, self.date)

    def where(self, at: datetime) -> float:
        """An instant as a fraction of the day; what lies outside stands at its edge."""
        span = (self.last - self.first).total_seconds()
        if span <= 0:
            return 0.0
        return round(min(1.0, max(0.0, (at - self.first).total_seconds() / span)), 4)


def scale_of(m: Moment, school: str) -> Scale:
    """The scale of a school's present day."""
    on = m.today(school)
    scene = m.scene(school, on)
    return Scale(m, school, on, scene.first, scene.last)


def chase_view(m: Moment, row: ChaseRow) -> ChaseView:
    """One chase in words, with the steps that come."""
    scale = scale_of(m, row.school)
    chase = load(row)
    upcoming = tuple(_ahead(scale, chase)) if chase.is_open else ()
    sent = [t for t in chase.told if t.posted is not None]
    codes = chase.faults or (("SWALLOWED",) if chase.severity is Severity.EMERGENCY else ())
    told = [Mark("told", scale.wall(t.posted), scale.where(t.posted), _role(m, chase, t.person))
            for t in sent if t.posted is not None]  # fmt: skip
    return ChaseView(
        id=row.id,
        why=chase.why,
        phase=chase.phase,
        severity=chase.severity,
        label=labels(m, codes),
        codes=codes,
        since=scale.wall(chase.reported_at or chase.began),
        began=chase.reported_at or chase.began,
        told=tuple(told),
        hand=_hand(scale, chase),
        ahead=upcoming,
        reporter=_role(m, chase, chase.reporter) if chase.reporter else "",
        try_until=scale.wall(chase.try_until) if chase.try_until and chase.phase is Phase.TRYING else "",
        pending=chase.pending.how.value if chase.pending and chase.is_open else "",
        state=_state(chase),
    )


def _state(chase: Chase) -> str:
    """A short mark that changes with everything that happens to a chase."""
    told = (
        chase.phase.value,
        chase.step,
        sorted(chase.promises.items()),
        chase.in_hand,
        chase.generation,
        chase.pending,
    )
    return hashlib.sha256(repr(told).encode()).hexdigest()[:12]


def labels(m: Moment, codes: Iterable[str]) -> str:
    """Fault codes in words."""
    known = m.book.codes
    return ", ".join(gettext(known[c].label) if c in known else c for c in dict.fromkeys(codes))


def _role(m: Moment, chase: Chase, person: str) -> str:
    return role_words(role_of(m, chase, person)) if person in m.district.people else ""


def _hand(scale: Scale, chase: Chase) -> Hand | None:
    held = chase.in_hand
    if held is None or not chase.is_open:
        return None
    role = _role(scale.m, chase, held.person)
    said = chase.phase is Phase.IN_HAND
    return Hand(role, scale.wall(held.until), scale.where(scale.m.now), scale.where(held.until), said)


def _ahead(scale: Scale, chase: Chase) -> Iterable[Ahead]:
    """Walks the chase on, pretending that nobody says anything, on a copy."""
    m = scale.m
    scene, now = m.scene(chase.school, chase.date), m.now
    for _ in range(STEPS_AHEAD):
        upcoming = next_contact(chase, now, scene)
        if upcoming is None:
            return
        at, person = upcoming
        yield Ahead(_role(m, chase, person), scale.wall(at), scale.where(at), at)
        now, before = max(at, now), chase.step
        try:
            chase, _ = step(chase, Time(), now, scene)
        except OutOfPlace:
            return
        if chase.step <= before:
            return
