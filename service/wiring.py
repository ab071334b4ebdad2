"""The one place that puts the parts together. Nothing happens at import; nothing else builds a desk."""

import logging
import secrets
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from service.channels.addresses import AddressGuard
from service.channels.factory import build as build_channel
from service.channels.factory import takes_answers
from service.edition import edition
from service.engine import doors, monitor
from service.engine.carriers import Carriers, Make
from service.engine.clock import Clock, RealClock, wall_now
from service.engine.desk import Desk
from service.engine.lanes import Dress, Dresser, Lanes
from service.engine.mailboxes import Mailboxes
from service.engine.monitor import Monitor
from service.engine.postman import Errand
from service.engine.server_time import ServerTime
from service.engine.waker import Waker
from service.languages import FALLBACK
from service.settings import Settings
from service.store.base import Store
from service.store.errors import DatabaseUnreachable
from service.store.journal import Journal

OWNER_BYTES = 6

log = logging.getLogger(__name__)


@dataclass
class Service:
    """Everything that runs: the desk, the lanes that send, the waker that keeps it going, and what tells a monitor."""

    settings: Settings
    desk: Desk
    lanes: Lanes
    waker: Waker
    monitor: Monitor
    mailboxes: Mailboxes

    def wake(self) -> None:
        """Something has arrived: look at it now."""
        self.waker.wake()

    def close(self) -> None:
        """Give back the database."""
        self.desk.store.close()


def open_store(settings: Settings) -> Store:
    """The database, its tables brought up to this version; an SQLite file's folder is made.

    Raises `StoreError`, `NewerDatabase` among them.
    """
    store = Store(settings.database)
    try:
        make_room(store)
        store.upgrade()
    except BaseException:
        store.close()
        raise
    return store


def make_room(store: Store) -> None:
    """Make an SQLite file, for the owner alone, and its folder where they are not there.

    Raises `DatabaseUnreachable`.
    """
    if store.dialect != "sqlite" or store.in_memory:
        return
    file = Path(store.url.database or "").absolute()
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not file.exists():
            file.touch(mode=0o600)
    except OSError as error:
        raise DatabaseUnreachable(
            f"{file} for the database cannot be made ({error.strerror}). Name another place in BELLCHECK_DB."
        ) from None


def open_desk(settings: Settings, clock: Clock | None = None) -> Desk:
    """The desk over the database of `settings`. Raises `StoreError`, and `BadSettings` without a server key."""
    key = settings.key
    store = open_store(settings)
    owner = f"i-{secrets.token_hex(OWNER_BYTES)}"
    return Desk(store, clock or RealClock(), Journal(key), key, owner)


def build(settings: Settings, clock: Clock | None = None, guard: AddressGuard | None = None) -> Service:
    """The whole service, not yet started. Without a `clock` it runs on real time, on PostgreSQL by the server's.

    Raises what `open_desk` raises.
    """
    desk = open_desk(settings, clock)
    server_time = ServerTime(desk.store)
    if clock is None and desk.store.dialect == "postgresql":
        server_time.measure()
        desk.clock = RealClock(server_time.read)
    carriers = Carriers(channel_maker(settings, guard or AddressGuard()), log.error)
    leases = _steady(desk.clock.now() if clock is None else wall_now())
    lanes = Lanes(desk, carriers, dresser(desk, settings.base_url), leases)
    waker = Waker(desk, lanes.wake, server_time, lanes.hold)
    lanes.recorded = waker.wake
    make = channel_maker(settings, guard or AddressGuard(), monitor.FIELDS)
    told = partial(setattr, waker.pulse, "monitor")
    beats = Monitor(desk, make, edition(), wall_now, told)
    return Service(settings, desk, lanes, waker, beats, Mailboxes(desk, settings.named.get, waker.wake))


def channel_maker(settings: Settings, guard: AddressGuard, fields: Collection[str] = ()) -> Make:
    """How channels are built: their secrets from the settings, their dates from real time. `fields` are further
    values that their templates may name.
    """
    return lambda setup: build_channel(setup, settings.named.get, guard, stamp=wall_now, more_fields=fields)


def dresser(desk: Desk, base_url: str) -> Dresser:
    """How messages get their links and the addresses that answers go to, at the moment of sending."""

    def dress(errands: Sequence[Errand]) -> list[Dress]:
        with desk.glance() as m:
            opened = doors.openings(m, errands, base_url)
            people = m.district.people
            silent = {name for name, setup in m.district.channels.items() if not takes_answers(setup)}

        def language(errand: Errand) -> str | None:
            if errand.channel not in silent:
                return None
            return people[errand.person].language if errand.person in people else FALLBACK

        return [
            Dress(opening.link, opening.reply_tag, language(errand))
            for errand, opening in zip(errands, opened, strict=True)
        ]

    return dress


def _steady(start: datetime) -> Callable[[], datetime]:
    """Time that begins at `start` and runs at real speed, whatever is done to the machine's clock."""
    since = time.monotonic()
    return lambda: start + timedelta(seconds=time.monotonic() - since)
