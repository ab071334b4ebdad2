"""A desk over the demonstration district on a database of its own, with the morning played to a minute."""

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import func, select

from service.engine import commands, doors, postman, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.setup import load
from service.store.base import Store
from service.store.journal import Journal
from service.store.tables import JournalRow
from service.web.options import WebOptions

DEMO = Path(__file__).parents[2] / "config_demo"
KEY = b"a key for tests, thirty-two bytes"
BOARD_KEY = "a-board-key-for-tests"
TUESDAY = "2026-09-15"
BROWSER = {"accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}


def at(wall: str, day: str = TUESDAY, zone: str = "America/Chicago") -> datetime:
    """An instant as a school's clock shows it."""
    return datetime.fromisoformat(f"{day}T{wall}").replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


class Morning:
    """A desk whose clock is moved by hand; what leaves is accepted at once."""

    def __init__(self, database: Path) -> None:
        fresh = not database.exists()
        self.store = Store(f"sqlite:///{database}")
        self.clock = SteppedClock(at("07:00"))
        self.desk = Desk(self.store, self.clock, Journal(KEY), key=KEY, owner="test")
        if fresh:
            self.store.upgrade()
            commands.configure(self.desk, load(DEMO, {}).documents, "c-reed")

    def play_to(self, wall: str, day: str = TUESDAY) -> None:
        """Let everything happen that falls due until then."""
        end = at(wall, day)
        while (due := running.next_due(self.desk)) is not None and due <= end:
            self.clock.move_to(due)
            self.step()
        self.clock.move_to(end)
        self.step()

    def step(self) -> None:
        """Do what is due now, and let the messages be accepted."""
        now = self.clock.now()
        for _ in range(10):
            running.run_due(self.desk, now)
            errands = postman.claim(self.desk, now)
            for errand in errands:
                postman.record(self.desk, errand, postman.Report(postman.Outcome.ACCEPTED), now)
            if not errands:
                return

    def round_path(self, round_id: str, person: str) -> str:
        """The link to somebody's page of a round."""
        with self.desk.glance() as m:
            return doors.round_path(m, round_id, person)

    def standing_path(self, person: str) -> str:
        """The link to somebody's standing page."""
        with self.desk.glance() as m:
            return doors.standing_path(m, person)

    def entries(self) -> int:
        """How long the journal is."""
        with self.store.reading() as tx:
            return tx.exec(select(func.count()).select_from(JournalRow)).one()

    def options(self, **changed: object) -> WebOptions:
        """Options of the application; real time is the desk's, so that cookies and signatures fit."""
        values: dict[str, object] = {
            "base_url": "http://testserver",
            "board_key": BOARD_KEY,
            "hosts": ("testserver", "127.0.0.1"),
            "stamp": self.clock.now,
            "wake": self.step,
        }
        return WebOptions(**{**values, **changed})  # type: ignore[arg-type]
