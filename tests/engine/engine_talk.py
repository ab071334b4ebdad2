"""A conversation in a made morning: people write, and read back what they are answered."""

from datetime import timedelta

import pytest
from sqlmodel import select

from service.engine import commands, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.tables import ChaseRow
from tests.engine.engine_district import district
from tests.engine.engine_morning import Receivers, messages, play_to, results, says, step

CHECKER = "school000-room0"
SECOND = "school000-second"
ROUND = f"rd-school000-2026-10-05-0805-{CHECKER}"


class Talk:
    """A morning in which people write, and what each of them read last."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.receivers = Receivers()
        self.count = 0
        commands.configure(desk, district(), "test")

    def at(self, wall: str, day: str = "2026-10-05") -> None:
        play_to(self.desk, wall, self.receivers, day=day)

    def write(self, text: str, person: str = CHECKER, re: str | None = None) -> str:
        """What the person reads back, a second later."""
        self.count += 1
        assert isinstance(self.desk.clock, SteppedClock)
        self.desk.clock.move_to(self.desk.clock.now() + timedelta(seconds=1))
        says(self.desk, person, text, f"m{self.count}", re)
        running.run_due(self.desk, self.desk.clock.now())
        step(self.desk, self.desk.clock.now(), self.receivers)
        return self.receivers.last[person].text

    def results(self) -> list[str | None]:
        return self.results_on("2026-10-05")

    def results_on(self, day: str) -> list[str | None]:
        found = sorted(results(self.desk.store).items())
        return [result for check, result in found if day in check]

    def chases(self, why: str) -> list[str]:
        with self.desk.store.reading() as tx:
            return [c.phase for c in tx.exec(select(ChaseRow)) if c.why == why and c.ended_at is None]

    def asked(self, person: str, purpose: str) -> str:
        """The id of the last message of a kind to somebody."""
        held = [m for m in messages(self.desk.store) if (m.person, m.purpose) == (person, purpose)]
        return max(held, key=lambda m: m.created_at).id

    def times_told(self, person: str, purpose: str) -> int:
        return sum(m.person == person and m.purpose == purpose for m in messages(self.desk.store))


@pytest.fixture
def talk(desk: Desk) -> Talk:
    held = Talk(desk)
    held.at("08:06")
    return held
