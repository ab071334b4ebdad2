"""A school morning on a stepped clock: the engine's passes, and a receiver that takes every message."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from threading import Lock
from zoneinfo import ZoneInfo

from sqlmodel import col, select

from service.engine import commands, postman, proving, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Errand, Outcome, Report
from service.store.base import Store
from service.store.journal import Journal
from service.store.tables import CheckRow, OutboxRow, TrayRow

KEY = b"a key for tests, thirty-two bytes"
DAY = "2026-10-05"
PASSES = 40


def at(wall: str, day: str = DAY) -> datetime:
    """An instant as the clock of the schools shows it."""
    local = datetime.fromisoformat(f"{day}T{wall}").replace(tzinfo=ZoneInfo("America/Chicago"))
    return local.astimezone(ZoneInfo("UTC"))


def open_desk(store: Store, clock: SteppedClock, owner: str = "one") -> Desk:
    """A desk of one instance."""
    return Desk(store, clock, Journal(KEY), KEY, owner)


@dataclass
class Receivers:
    """What arrived where: every delivery counts, so a message that came twice shows."""

    arrived: Counter[str] = field(default_factory=Counter)
    last: dict[str, Errand] = field(default_factory=dict)
    every: list[Errand] = field(default_factory=list)
    _lock: Lock = field(default_factory=Lock)

    def take(self, errand: Errand) -> Report:
        with self._lock:
            self.arrived[errand.id] += 1
            self.last[errand.person] = errand
            self.every.append(errand)
        return Report(Outcome.ACCEPTED)

    def told(self, person: str) -> list[Errand]:
        """All that reached somebody, in its order."""
        return [errand for errand in self.every if errand.person == person]


def says(desk: Desk, person: str, text: str, id: str, re: str | None = None) -> None:
    """Somebody answers by chat."""
    commands.receive(desk, Received("chat", id, person, text, person, in_reply_to=re, proven=True))


def step(desk: Desk, now: datetime, receivers: Receivers) -> None:
    """All that is due at `now`, sending included, until nothing more is."""
    for _ in range(PASSES):
        done = running.run_due(desk, now)
        errands = postman.claim(desk, now)
        for errand in errands:
            postman.record(desk, errand, receivers.take(errand), now)
        if not done and not errands:
            return
    raise AssertionError(f"the engine does not come to rest at {now}")


def play_to(desk: Desk, wall: str, receivers: Receivers, day: str = DAY) -> None:
    """Let everything happen that falls due until then."""
    end = at(wall, day)
    clock = desk.clock
    assert isinstance(clock, SteppedClock)
    while (due := running.next_due(desk)) is not None and due <= end:
        clock.move_to(due)
        step(desk, clock.now(), receivers)
    clock.move_to(end)
    step(desk, end, receivers)


def told(store: Store, purposes: Sequence[str] = ()) -> list[str]:
    """What was ever laid out to be told, by chase, step, person, purpose and generation, and not dropped."""
    with store.reading() as tx:
        rows = tx.exec(select(TrayRow).where(col(TrayRow.dropped).is_(None)))
        return sorted(row.key for row in rows if not purposes or row.purpose in purposes)


def messages(store: Store) -> list[OutboxRow]:
    """Every message ever put out, by id."""
    with store.reading() as tx:
        return list(tx.exec(select(OutboxRow).order_by(col(OutboxRow.id))))


def results(store: Store) -> dict[str, str | None]:
    """How every check stands."""
    with store.reading() as tx:
        return {row.id: row.result for row in tx.exec(select(CheckRow))}


def broken_streams(desk: Desk) -> list[str]:
    """What is wrong with the record: journal streams that do not prove, tables that do not say what it says."""
    with desk.glance() as m:
        verdict = proving.prove_all(m)
    return [*map(str, verdict.bad), *[f"{stream}: {difference}" for stream, difference in verdict.wrong]]
