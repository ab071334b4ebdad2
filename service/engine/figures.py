"""A few figures of how the service does, for a monitor: no person, child or school among them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from math import ceil

from service.channels.mailbox import has_mailbox
from service.core.chains.climb import LATE
from service.engine.desk import Moment, PutOut
from service.engine.expected import missing
from service.engine.health import MAILBOX, health
from service.store import figures, marks

LATELY = timedelta(hours=1)
"""How far back messages and lateness are looked at."""


@dataclass(frozen=True)
class MailboxFigures:
    """How one channel's mailbox does: seconds since this process read it to its end (None: it has not yet), for how
    many seconds it has not been readable (0: it is), and how many of its mails nobody has read.
    """

    channel: str
    read_seconds: float | None
    failing_seconds: float
    unread: int


@dataclass(frozen=True)
class Figures:
    """How the service does at one instant. `late` are those rounds due for over a minute; `messages` counts those of
    the last hour by state; `lateness` is that of this process's own steps, in seconds, None where it put out none;
    `schools_without_rounds` counts those at which nobody was asked today and somebody should have been.
    """

    rounds_due: int
    checks_due: int
    late: int
    chases_open: int
    unread: int
    messages: dict[str, int]
    oldest_unsent_seconds: int
    heartbeat_seconds: int | None
    lateness: float | None
    schools_without_rounds: int
    mailboxes: tuple[MailboxFigures, ...]


def figures_of(m: Moment) -> Figures:
    """The figures at this moment."""
    well = health(m)
    return Figures(
        rounds_due=figures.rounds_due(m.tx, m.now),
        checks_due=figures.checks_due(m.tx, m.now),
        late=figures.rounds_due(m.tx, m.now - LATE),
        chases_open=figures.chases_open(m.tx),
        unread=figures.unread(m.tx),
        messages=figures.messages(m.tx, m.now - LATELY),
        oldest_unsent_seconds=well.oldest_unsent_seconds,
        heartbeat_seconds=well.seconds_since_heartbeat,
        lateness=p99([_late(step) for step in m.desk.put_out.copy() if step.committed >= m.now - LATELY]),
        schools_without_rounds=len(missing(m)),
        mailboxes=tuple(_mailboxes(m)),
    )


def _mailboxes(m: Moment) -> Iterator[MailboxFigures]:
    unread = figures.unread_by_channel(m.tx)
    failing = {mark.key.removeprefix(MAILBOX): mark.at for mark in marks.with_prefix(m.tx, MAILBOX)}
    for name, setup in m.district.channels.items():
        if setup.kind == "email" and has_mailbox(setup):
            since, read = failing.get(name), m.desk.mail_read.get(name)
            yield MailboxFigures(
                name,
                (m.now - read).total_seconds() if read else None,
                (m.now - since).total_seconds() if since else 0,
                unread.get(name, 0),
            )


def _late(step: PutOut) -> float:
    """Seconds from when a step was due until its message was committed to the outbox, waiting on purpose (C5) left
    out.
    """
    before, after = step.laid - step.due, step.committed - step.not_before
    return sum(max(0.0, part.total_seconds()) for part in (before, after))


def p99(seconds: Sequence[float]) -> float | None:
    """The least of them that 99 of 100 do not exceed (the nearest rank); None of none."""
    ordered = sorted(seconds)
    return ordered[ceil(0.99 * len(ordered)) - 1] if ordered else None
