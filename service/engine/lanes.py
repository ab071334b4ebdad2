"""The sending lanes: claim messages, hand them to their channels side by side, record what came of each.

Each channel has as many lanes as it can carry at once, and lines of its own, so that a receiver that hangs
holds up neither another channel nor another address of its own. Database work runs in threads; nothing is
sent inside a transaction. Leases are judged by `lease_now`, which runs at real speed whatever the clock does.
"""

import asyncio
import logging
from collections.abc import Callable, Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from service.channels.factory import ATTEMPT_LIMIT
from service.channels.protocol import Channel, Handover, Parcel
from service.core.district import ChannelSetup
from service.engine import postman
from service.engine.carriers import Carriers
from service.engine.desk import Desk, NotSetUp
from service.engine.postman import Errand, Outcome, Report
from service.engine.trouble import place_of
from service.engine.waiting import Waiting
from service.store.errors import StoreError
from service.wording import by_link, fill, html

STOP_WITHIN = timedelta(seconds=8)
"""How long what is under way may take when the service stops; the whole stop is to last ten seconds."""

TURN_WITHIN = timedelta(seconds=45)
"""A message that has waited this long for a lane since it was claimed takes its person's next way instead:
its lease lasts a minute, and an attempt ten seconds."""

LOOK_AGAIN = timedelta(seconds=1)
"""After this long in a line a message is looked at once more before it leaves."""

SHORT_WAIT = timedelta(seconds=1)
"""A channel that asks for no more patience than this is asked again on the spot, five times at most."""

_GRACE = 2.0
_PATIENCE = 5
_AGAIN_SECONDS = 1.0
_THREADS = 4

log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True)
class Dress:
    """What is put into a message at the moment of sending, and kept nowhere. `by_link`: the channel takes no
    answers yet, so the message asks to answer by the link.
    """

    link: str | None = None
    reply_token: str | None = None
    by_link: bool = False


Dresser = Callable[[Errand], Dress]


class Lanes:
    """Sends what the outbox holds, from `start` to `stop`, within one event loop.

    `dress` gives link and reply token of a message; `recorded` is called, from the loop, after an outcome is
    in the database, since that may make something due.
    """

    def __init__(
        self,
        desk: Desk,
        carriers: Carriers,
        dress: Dresser,
        lease_now: Callable[[], datetime],
        recorded: Callable[[], None] = lambda: None,
    ) -> None:
        self.desk = desk
        self.carriers = carriers
        self.recorded = recorded
        self._held = False
        self._dress = dress
        self._lease_now = lease_now
        self._lines: dict[str, Waiting] = {}
        self._claimed_at: dict[str, datetime] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._threads = ThreadPoolExecutor(_THREADS, thread_name_prefix="lanes")
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stopping = False

    def start(self) -> None:
        """Begin; called within the loop that is to do the sending."""
        self._loop = asyncio.get_running_loop()
        self._called = asyncio.Event()
        self._called.set()
        self._feeder = asyncio.create_task(self._feed(), name="lanes")

    def wake(self) -> None:
        """Look now for something to send; from any thread."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._called.set)

    def hold(self, held: bool) -> None:
        """Claim nothing while `held`; what is claimed already is still sent."""
        self._held = held
        self.wake()

    async def stop(self, within: timedelta = STOP_WITHIN) -> None:
        """Let what is under way come to its end, give back what has not begun, and close the channels."""
        self._stopping = True
        self._called.set()
        await asyncio.gather(self._feeder, return_exceptions=True)
        unsent = [errand for line in self._lines.values() for errand in line.empty()]
        if unsent:
            await self._record(lambda: postman.give_back(self.desk, unsent))
        if self._tasks:
            _, late = await asyncio.wait(self._tasks, timeout=within.total_seconds())
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        await self.carriers.close()
        self._threads.shutdown(wait=False)

    async def _feed(self) -> None:
        """Claim as long as there is something and room for it; then wait to be called."""
        while not self._stopping:
            await self._called.wait()
            self._called.clear()
            try:
                while not (self._stopping or self._held) and await self._claim():
                    pass
            except NotSetUp:
                continue
            except StoreError as error:
                log.warning("nothing can be claimed: %s", error)
                asyncio.get_running_loop().call_later(_AGAIN_SECONDS, self._called.set)

    async def _claim(self) -> bool:
        full = [name for name, line in self._lines.items() if len(line) >= self._width(name)]
        setups, errands = await self._in_thread(lambda: self._claimed(full))
        await self.carriers.fit(setups)
        for errand in errands:
            self._claimed_at[errand.id] = self._lease_now()
            self._lines.setdefault(errand.channel, Waiting()).add(errand)
        for name in {errand.channel for errand in errands}:
            self._fill(name)
        return bool(errands)

    def _claimed(self, full: Collection[str]) -> tuple[Mapping[str, ChannelSetup], list[Errand]]:
        with self.desk.glance() as m:
            setups = m.district.channels
        now = self.desk.clock.now()
        return setups, postman.claim(self.desk, now, self._lease_now(), without=full)

    def _width(self, name: str) -> int:
        channel = self.carriers.get(name)
        return 1 if isinstance(channel, str) else channel.at_once

    def _fill(self, name: str) -> None:
        """Start as many deliveries as the channel has free lanes."""
        line = self._lines[name]
        while not self._stopping and line.under_way < self._width(name) and (errand := line.take()):
            task = asyncio.create_task(self._carry(errand, line), name=errand.id)
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _carry(self, errand: Errand, line: Waiting) -> None:
        try:
            if await self._is_withdrawn(errand):
                return
            report = await self._attempt(errand)
            now = self.desk.clock.now()
            await self._record(lambda: postman.record(self.desk, errand, report, now))
            self.recorded()
        finally:
            line.finished(errand)
            self._claimed_at.pop(errand.id, None)
            self._fill(errand.channel)
            self._called.set()

    async def _is_withdrawn(self, errand: Errand) -> bool:
        """Whether a message that had to wait for a lane has become pointless meanwhile."""
        if self._lease_now() - self._claimed_at[errand.id] < LOOK_AGAIN:
            return False
        now = self.desk.clock.now()
        return await self._in_thread(lambda: postman.withdrawn(self.desk, errand, now))

    async def _record(self, write: Callable[[], None]) -> None:
        """Write an outcome. Where the database will not take it, the lease runs out and the message goes again
        under the same key, which its receiver can see.
        """
        for _ in range(_PATIENCE):
            try:
                return await self._in_thread(write)
            except StoreError as error:
                log.warning("an outcome could not be recorded yet: %s", error)
                await asyncio.sleep(_AGAIN_SECONDS)
        return None

    async def _attempt(self, errand: Errand) -> Report:
        """One attempt, or why there was none."""
        channel = self.carriers.get(errand.channel)
        if isinstance(channel, str):
            return Report(Outcome.REFUSED, channel)
        if errand.give_up_at is not None and errand.give_up_at <= self.desk.clock.now():
            return Report(Outcome.REFUSED, "too late to be of use")
        if self._lease_now() - self._claimed_at[errand.id] > TURN_WITHIN:
            return Report(Outcome.REFUSED, "waited too long for the channel")
        try:
            dress = await self._in_thread(lambda: self._dress(errand))
            async with asyncio.timeout(ATTEMPT_LIMIT.total_seconds() + _GRACE):
                return self._report(await _patiently(channel, self._parcel(errand, dress)))
        except TimeoutError:
            return Report(Outcome.TIMED_OUT, "no answer in time")
        except Exception as failure:
            log.error("message %s: %s", errand.id, place_of(failure))
            return Report(Outcome.REFUSED, f"a fault of our own: {type(failure).__name__}")

    def _parcel(self, errand: Errand, dress: Dress) -> Parcel:
        text = by_link(errand.text) if dress.by_link else errand.text
        return Parcel(
            id=errand.id,
            key=errand.key,
            to_address=errand.address,
            subject=errand.subject,
            lock_line=errand.lock_line,
            text=fill(text, dress.link),
            html=html(text, dress.link),
            link=dress.link,
            purpose=errand.purpose,
            thread=errand.thread,
            in_reply_to=errand.in_reply_to,
            reply_token=dress.reply_token,
            at=self.desk.clock.now(),
            give_up_at=errand.give_up_at,
            automatic="auto-replied" if errand.in_reply_to else "auto-generated",
        )

    def _report(self, handover: Handover) -> Report:
        """What came of an attempt, in the engine's words; waits are turned into the clock's own time."""
        outcome = {
            "accepted": Outcome.ACCEPTED,
            "timed_out": Outcome.TIMED_OUT,
            "gone": Outcome.GONE,
        }.get(handover.outcome, Outcome.REFUSED)
        for_good = handover.for_good or outcome is Outcome.GONE
        second = self.desk.clock.real_seconds(timedelta(seconds=1))
        after = handover.retry_after / second if handover.retry_after and second else handover.retry_after
        return Report(outcome, handover.detail, for_good, after)

    async def _in_thread(self, work: Callable[[], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._threads, work)


async def _patiently(channel: Channel, parcel: Parcel) -> Handover:
    """Deliver, and again on the spot where the channel only asks for a moment."""
    handover = await channel.deliver(parcel)
    for _ in range(_PATIENCE):
        wait = handover.retry_after
        if handover.outcome != "deferred" or wait is None or wait > SHORT_WAIT:
            break
        await asyncio.sleep(wait.total_seconds())
        handover = await channel.deliver(parcel)
    return handover
