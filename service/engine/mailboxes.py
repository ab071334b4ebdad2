"""Fetches answers from the mailboxes that channels name, one thread for each, into the mailroom.

How far a mailbox was read is a mark: UIDVALIDITY and the highest UID. A mailbox that is new to us, or whose UIDs
mean something else now, is read from the day before yesterday on. What was fetched is stored first and marked
afterwards; whatever is therefore fetched twice is one message by its id.
"""

import asyncio
import logging
import threading
from collections.abc import Callable, Collection, Mapping
from datetime import timedelta
from typing import Any

from service.channels.mailbox import Mailbox, MailboxServer, MailboxTrouble, has_mailbox, read_mailbox
from service.channels.protocol import Secrets
from service.core.district import ChannelSetup
from service.engine.desk import Desk, NotSetUp
from service.engine.health import MAILBOX
from service.engine.mailroom import Mailroom
from service.engine.trouble import place_of
from service.store import marks
from service.store.errors import StoreError

READ_TO = "mailbox/"
"""The marks that say how far each channel's mailbox was read."""

LOOK_EVERY = timedelta(seconds=5)
"""A mailbox that was just configured, or changed, is noticed within this real time."""

BACK = timedelta(days=2)
AT_ONCE = 10
"""Mails fetched together, a megabyte each at most."""

FIRST_WAIT, LONGEST_WAIT = 1.0, 60.0
"""Seconds until a mailbox that failed is tried again, doubling."""

BACK_TO_FIRST = timedelta(minutes=1)
"""A connection that lasted this long was a good one: after it the waits begin anew."""

log = logging.getLogger(__name__)

Open = Callable[[MailboxServer], Mailbox]


class Mailboxes:
    """Keeps one reader for every mailbox of the configuration in force, until it is cancelled.

    `wake` is called after something new was stored.
    """

    def __init__(
        self, desk: Desk, secrets: Secrets, wake: Callable[[], None], connect: Open = Mailbox
    ) -> None:
        self._desk, self._secrets, self._wake, self._connect = desk, secrets, wake, connect
        self._readers: dict[str, Reader] = {}

    async def run(self) -> None:
        """Begin and end readers as the configuration says."""
        try:
            while True:
                try:
                    await asyncio.to_thread(self.fit)
                except (StoreError, NotSetUp) as error:
                    log.warning("mailboxes are not looked at: %s", error or "nothing is configured")
                await asyncio.sleep(LOOK_EVERY.total_seconds())
        finally:
            for reader in self._readers.values():
                reader.stop()

    def fit(self) -> None:
        """Begin readers of new mailboxes, end those of changed ones."""
        with self._desk.glance() as m:
            setups = dict(m.district.channels)
        for name in [n for n, reader in self._readers.items() if setups.get(n) != reader.setup]:
            self._readers.pop(name).stop()
        for name, setup in setups.items():
            if name not in self._readers and setup.kind == "email":
                self._begin(setup)
        self._forget({name for name, setup in setups.items() if has_mailbox(setup)})

    def _forget(self, kept: Collection[str]) -> None:
        """What was wrong with a mailbox that is none of ours any more is no trouble."""
        with self._desk.glance() as m:
            over = [mark.key for mark in marks.with_prefix(m.tx, MAILBOX)]
        if any(key.removeprefix(MAILBOX) not in kept for key in over):
            with self._desk.moment() as m:
                for key in over:
                    if key.removeprefix(MAILBOX) not in kept:
                        marks.drop(m.tx, key)

    def _begin(self, setup: ChannelSetup) -> None:
        try:
            server = read_mailbox(setup, self._secrets)
        except ValueError as wrong:
            _set_trouble(self._desk, setup.name, str(wrong))
            return
        if server is None:
            return
        room = Mailroom(self._desk, self._secrets)
        reader = Reader(self._desk, setup, room, lambda: self._connect(server), self._wake)
        self._readers[setup.name] = reader
        reader.start()

    async def first_fetch(self, within: float) -> None:
        """C20: let each mailbox be fetched from once before silence is judged, waiting `within` seconds at most."""
        try:
            await asyncio.to_thread(self.fit)
        except (StoreError, NotSetUp):
            return
        waits = [asyncio.to_thread(reader.looked.wait, within) for reader in self._readers.values()]
        await asyncio.gather(*waits)


class Reader:
    """One mailbox's thread. `looked` is set once it was read, or could not be."""

    def __init__(
        self,
        desk: Desk,
        setup: ChannelSetup,
        room: Mailroom,
        connect: Callable[[], Mailbox],
        wake: Callable[[], None],
    ) -> None:
        self.setup = setup
        self.looked = threading.Event()
        self._desk, self._room, self._connect, self._wake = desk, room, connect, wake
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"mailbox {setup.name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End within seconds; a mail under way is stored, or fetched again by whoever reads next."""
        self._stop.set()

    def _run(self) -> None:
        wait = FIRST_WAIT
        while not self._stop.is_set():
            began = self._desk.clock.now()
            try:
                self._read_on()
            except (MailboxTrouble, StoreError) as trouble:
                self._failed(str(trouble))
            except Exception as failure:
                # Whatever it is, reading must not end for good.
                self._failed(place_of(failure))
            self.looked.set()
            if self._desk.clock.now() - began > BACK_TO_FIRST:
                wait = FIRST_WAIT
            self._stop.wait(wait)
            wait = min(2 * wait, LONGEST_WAIT)

    def _failed(self, why: str) -> None:
        log.warning("channel %s: %s", self.setup.name, why)
        try:
            _set_trouble(self._desk, self.setup.name, why)
        except StoreError as error:
            log.warning("that could not be noted: %s", error)

    def _read_on(self) -> None:
        """Read what is new for as long as the connection lasts."""
        mailbox = self._connect()
        try:
            mailbox.open()
            while not self._stop.is_set():
                fetch_new(self._desk, self._room, self.setup.name, mailbox, self._wake)
                self.looked.set()
                mailbox.wait(self._stop.is_set)
        finally:
            mailbox.close()


def fetch_new(
    desk: Desk, room: Mailroom, channel: str, mailbox: Mailbox, wake: Callable[[], None]
) -> int:
    """Store what came since the mailbox was last read; says how many mails were new to us."""
    with desk.glance() as m:
        mark = marks.get(m.tx, READ_TO + channel)
        today = m.now.date()
    read_to = _read_to(mark.body if mark else {}, mailbox.validity)
    if read_to is None:
        uids, last = mailbox.since(today - BACK), mailbox.last()
    else:
        uids, last = mailbox.after(read_to), read_to
    new = 0
    for first in range(0, len(uids), AT_ONCE):
        some = uids[first : first + AT_ONCE]
        new += sum(taken.new for taken in room.take_all(channel, list(mailbox.fetch(some).values())))
        _set_read_to(desk, channel, mailbox.validity, some[-1])
        wake()
    _set_read_to(desk, channel, mailbox.validity, max([last, *uids]))
    desk.mail_read[channel] = desk.clock.now()
    return new


def _read_to(body: Mapping[str, Any], validity: int) -> int | None:
    """How far the mailbox was read; None where its UIDs mean something else by now."""
    return int(body["uid"]) if body.get("validity") == validity else None


def _set_read_to(desk: Desk, channel: str, validity: int, uid: int) -> None:
    body = {"validity": validity, "uid": uid}
    with desk.glance() as m:
        mark, failed = marks.get(m.tx, READ_TO + channel), marks.get(m.tx, MAILBOX + channel)
    if mark is None or mark.body != body or failed is not None:
        with desk.moment() as m:
            marks.set(m.tx, READ_TO + channel, m.now, body)
            marks.drop(m.tx, MAILBOX + channel)


def _set_trouble(desk: Desk, channel: str, why: str) -> None:
    """Keep since when it fails, and what of last."""
    with desk.moment() as m:
        known = marks.get(m.tx, MAILBOX + channel)
        marks.set(m.tx, MAILBOX + channel, known.at if known else m.now, {"why": why})
