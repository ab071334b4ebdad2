"""A fault and a silence to step in tests: three contacts, one school day, the default settings."""

from datetime import UTC, date, datetime, timedelta

from service.core.chains import (
    Chase,
    News,
    Purpose,
    Report,
    Scene,
    Standing,
    Subject,
    Tell,
    Turn,
    begin_fault,
    begin_silence,
)
from service.core.district import Chain, Limit, Settings, Severity

FIRST = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)
SCENE = Scene(
    first=FIRST,
    last=FIRST + timedelta(hours=7),
    next_first=FIRST + timedelta(days=1),
    bells={
        ("Period 1", "start"): FIRST + timedelta(minutes=15),
        ("Period 1", "end"): FIRST + timedelta(hours=1),
    },
    people={p: Standing() for p in ("l", "a", "c", "g")},
    settings=Settings(),
)
CHAIN = Chain("chain", ())
SUBJECT = Subject("ch", "s", date(2026, 10, 5), "ck", "s1", "rd", ("c",))


def minutes(n: float) -> timedelta:
    return timedelta(minutes=n)


def fault(
    *limits: Limit, now: datetime = FIRST, chain: Chain = CHAIN, severity: Severity = Severity.SAME_DAY
) -> Chase:
    """A fault told to a, then c, then g, with these limits."""
    turns = tuple(Turn(p, (p,), limit) for p, limit in zip("acg", limits, strict=False))
    report = Report(severity, ("CABLE",), "l")
    return begin_fault(SUBJECT, chain, turns, report, timedelta(), (), now, SCENE)[0]


def tells(effects: tuple[object, ...]) -> list[str]:
    return [e.person for e in effects if isinstance(e, Tell)]


def silence(*limits: Limit, now: datetime = FIRST) -> Chase:
    """A check asked of l, whose silence goes to a, then c, with these limits."""
    purposes = (Purpose.PROMPT, Purpose.SECOND, Purpose.ALERT)
    turns = tuple(
        Turn(p, (p,), limit, purpose=why) for p, limit, why in zip("lac", limits, purposes, strict=False)
    )
    return begin_silence(SUBJECT, CHAIN, turns, now, now, SCENE)[0]


def news(effects: tuple[object, ...]) -> list[tuple[str, str]]:
    return [(e.person, e.what) for e in effects if isinstance(e, News)]
