"""A lived day of the demonstration district, in two halves: a morning with all that can happen, and the rest of it.

The first half ends in the middle of things: an emergency and a fault run, a promise holds, a message is claimed and
not sent, one that was refused waits, words lie unread. The second half carries on from there into the next day.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from service.core.notices import NoticeError
from service.engine import commands, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.desk import Desk
from service.engine.postman import Errand, Outcome, Report
from service.setup import Documents, load
from service.store.base import Store
from service.store.journal import Journal
from tests.engine.engine_morning import Receivers, play_to, says

DEMO = Path(__file__).parents[2] / "config_demo"
KEY = "the key of all released databases, for tests alone"
BEGINS = "07:00"
NEXT = "2026-10-06"
OVER = "16:30"

MORNING = (
    ("08:06", "l-teal", "1 battery, 3 ok"),
    ("08:11", "j-aske", "1 left cable, 2 ok"),
    ("08:14", "l-teal", "2 magnet? or not sure"),
    ("08:15", "l-teal", "1 fixed"),
    ("08:16", "j-aske", "1 no"),
    ("08:18", "a-vane", "mine 30"),
    ("08:20", "c-reed", "notice peel-lane: delay 30 min tomorrow"),
    ("09:02", "l-teal", "2 swallowed a battery"),
    ("09:04", "c-reed", "mine 20"),
)
UNREAD = ("j-aske", "1 ok \N{THUMBS UP SIGN}, 2 away")
REST = (
    ("09:13", "l-teal", "with medical help"),
    ("09:14", "l-teal", "yes"),
    ("09:21", "c-reed", "notice tansy-mill: closed"),
    ("09:40", "a-vane", "working"),
    ("10:31", "v-holt", "missed s and sh"),
    ("12:23", "l-teal", "ok"),
)
CHECKERS = ("l-teal", "j-aske", "e-tarn", "v-holt")


def documents() -> Documents:
    loaded = load(DEMO, {})
    assert loaded.district is not None, [str(p) for p in loaded.problems]
    return loaded.documents


def lived_desk(store: Store, clock: SteppedClock, owner: str = "one") -> Desk:
    """A desk under the key that released databases are sealed with."""
    return Desk(store, clock, Journal(KEY.encode()), KEY.encode(), owner)


@dataclass
class Refusing(Receivers):
    """Takes every message but those to one person, which it asks to try again later."""

    person: str = ""
    refused: list[str] = field(default_factory=list)

    def take(self, errand: Errand) -> Report:
        if errand.person == self.person:
            self.refused.append(errand.id)
            return Report(Outcome.REFUSED)
        return super().take(errand)


def play_morning(desk: Desk) -> None:
    """The first half, from an empty database to the middle of things."""
    commands.configure(desk, documents(), "c-reed")
    receivers = Refusing()
    play_words(desk, MORNING, "morning", receivers)
    receivers.person = "o-birch"
    play_to(desk, "09:11", receivers)
    while not postman.claim(desk, move_on(desk), limit=1):
        running.run_due(desk, desk.clock.now())
    commands.receive(desk, Received("chat", "unread", UNREAD[0], UNREAD[1], UNREAD[0], proven=True))


def move_on(desk: Desk) -> datetime:
    """To the next instant at which something is due."""
    due = running.next_due(desk)
    assert due is not None
    assert isinstance(desk.clock, SteppedClock)
    desk.clock.move_to(due)
    return due


def play_rest(desk: Desk) -> Receivers:
    """The second half and the next morning, on which everybody who is asked answers ok."""
    receivers = Receivers()
    play_words(desk, REST, "rest", receivers)
    play_to(desk, OVER, receivers)
    for wall in ("08:30", "09:30", "10:45"):
        play_to(desk, wall, receivers, NEXT)
        for person in CHECKERS:
            says(desk, person, "all ok", f"next-{wall}-{person}")
    play_to(desk, "11:00", receivers, NEXT)
    return receivers


def play_words(desk: Desk, words: Sequence[tuple[str, str, str]], id: str, receivers: Receivers) -> None:
    """What is said and given at its minute, and all that falls due until then."""
    for n, (wall, person, text) in enumerate(words):
        play_to(desk, wall, receivers)
        head, mark, notice = text.partition(": ")
        if mark:
            given = commands.give_notice(desk, notice, person, head.removeprefix("notice "))
            assert not isinstance(given, NoticeError), given
        else:
            says(desk, person, text, f"{id}-{n}")
