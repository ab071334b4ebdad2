"""The sending lanes: claim messages, hand them to their channels side by side, record what came of each.

Each channel has as many lanes as it can carry at once, and lines of its own, so that a receiver that hangs
holds up neither another channel nor another address of its own. Database work runs in threads, for many messages at
once; nothing is sent inside a transaction, and no lane waits for one. Leases are judged by `lease_now`, which runs
at real speed whatever the clock does.
"""

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from service.channels.factory import ATTEMPT_LIMIT
from service.channels.protocol import Handover, Parcel
from service.core.district import ChannelSetup
from service.engine import postman
from service.engine.carriers import Carriers
from service.engine.desk import Desk, NotSetUp
from service.engine.postman import Errand, Outcome, Report
from service.engine.together import Together
from service.engine.trouble import place_of
from service.engine.waiting import HELD_OF_ONE_ADDRESS, Waiting
from service.store.errors import StoreError
from service.store.outbox import Room
from service.wording import by_link, fill, html

STOP_WITHIN = timedelta(seconds=8)
"""How long what is under way may take when the service stops; the whole stop is to last ten seconds."""

TURN_WITHIN = timedelta(seconds=45)
"""A message that has waited this long for a lane since it was claimed takes its person's next way instead:
its lease lasts a minute, and an attempt ten seconds."""

LOOK_AGAIN = timedelta(seconds=1)
"""After this long in a line a message is looked at once more before it leaves."""

SHORT_WAIT = timedelta(seconds=1)
"""A channel that asks for no more patience than this is asked again after it, without an attempt being counted."""

HELD_AHEAD = 50
"""Messages of one channel claimed ahead of its lanes, or twice as many as it has lanes where that is more."""

_GRACE = 2.0
_PATIENCE = 5
_AGAIN_SECONDS = 1.0
_THREADS = 4

log = logging.getLogger(__name__)
T = TypeVar("T")


@dataclass(frozen=True)
class Dress:
    """What is put into a message at the moment of sending, and kept nowhere. `by_link`: the channel takes no
    answers, so the message asks, in this language, to answer by the link.
    """

    link: str | None = None
    reply_token: str | None = None
    by_link: str | None = None


Dresser = Callable[[Sequence[Errand]], Sequence[Dress]]
"""Dresses for errands, in their order."""


@dataclass(frozen=True)
class _Claim:
    """When a message was claimed, by the clock of leases, and its dress as of then."""

    at: datetime
    dress: Dress


class Lanes:
    """Sends what the outbox holds, from `start` to `stop`, within one event loop.

    `dress` gives link and reply token of messages; `recorded` is called, from the loop, after an outcome is in the
    database that may make something due: any but that a message was accepted.
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
        self._claims: dict[str, _Claim] = {}
        self._tasks: set[asyncio.Task[None]] = set()
        self._threads = ThreadPoolExecutor(_THREADS, thread_name_prefix="lanes")
        self._outcomes = Together(self._recorded_all, self._threads.submit)
        self._looks = Together(self._dressed_again, self._threads.submit)
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
            await self._give_back(unsent)
        if self._tasks:
            _, late = await asyncio.wait(self._tasks, timeout=within.total_seconds())
            for task in late:
                task.cancel()
            await asyncio.gather(*late, return_exceptions=True)
        await self.carriers.close()
        self._threads.shutdown(wait=False)

    async def _give_back(self, unsent: Sequence[Errand]) -> None:
        try:
            await self._in_thread(lambda: postman.give_back(self.desk, unsent))
        except StoreError as error:
            log.warning("%d messages wait for their leases to run out: %s", len(unsent), error)

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
            except Exception as failure:
                # Whatever it is, sending must not end for good.
                log.error("nothing can be claimed: %s", place_of(failure))
            else:
                continue
            asyncio.get_running_loop().call_later(_AGAIN_SECONDS, self._called.set)

    async def _claim(self) -> bool:
        """Claim what there is room for; False where that is nothing."""
        room = self._room()
        setups, claimed = await self._in_thread(lambda: self._claimed(room))
        await self.carriers.fit(setups)
        for errand, dress in claimed:
            self._claims[errand.id] = _Claim(self._lease_now(), dress)
            self._lines.setdefault(errand.channel, Waiting()).add(errand)
        for name in {errand.channel for errand, _ in claimed}:
            self._fill(name)
        return bool(claimed)

    def _room(self) -> Room:
        """What can be taken in: a line is filled up again once it is half empty, so that claims are of many."""
        scarce = {}
        for name, line in self._lines.items():
            most, ready = self._ahead(name), line.ready
            scarce[name] = most - ready if ready <= most // 2 else 0
        held = {(name, to): n for name, line in self._lines.items() for to, n in line.held().items()}
        return Room(scarce, HELD_AHEAD, HELD_OF_ONE_ADDRESS, held)

    def _claimed(self, room: Room) -> tuple[Mapping[str, ChannelSetup], list[tuple[Errand, Dress]]]:
        with self.desk.glance() as m:
            setups = m.district.channels
        now = self.desk.clock.now()
        errands = postman.claim(self.desk, now, self._lease_now(), room=room)
        return setups, list(zip(errands, self._dress(errands) if errands else (), strict=True))

    def _width(self, name: str) -> int:
        channel = self.carriers.get(name)
        return 1 if isinstance(channel, str) else channel.at_once

    def _ahead(self, name: str) -> int:
        return max(2 * self._width(name), HELD_AHEAD)

    def _fill(self, name: str) -> None:
        """Start as many deliveries as the channel has free lanes."""
        line = self._lines[name]
        free = self._width(name) - line.under_way
        while not self._stopping and free > 0 and (errand := line.take()):
            free -= 1
            task = asyncio.create_task(self._carry(errand, line), name=errand.id)
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _carry(self, errand: Errand, line: Waiting) -> None:
        """Deliver one message and give its lane free, then record what came of it. Where we fail ourselves the lease
        runs out and the message goes again.
        """
        came: Report | timedelta | None = None
        try:
            dress = await self._dress_of(errand)
            came = await self._attempt(errand, dress) if dress is not None else None
        except StoreError as error:
            log.warning("message %s waits for its lease to run out: %s", errand.id, error)
        finally:
            if isinstance(came, timedelta):
                line.put_off(errand, came.total_seconds())
                asyncio.get_running_loop().call_later(came.total_seconds(), self._fill, errand.channel)
            else:
                line.finished(errand)
                self._claims.pop(errand.id, None)
            self._fill(errand.channel)
            if line.ready <= self._ahead(errand.channel) // 2:
                self._called.set()
        if isinstance(came, Report):
            await self._record(errand, came)

    async def _dress_of(self, errand: Errand) -> Dress | None:
        """The dress made when the message was claimed; made anew where it had to wait for a lane, unless the message
        has become pointless meanwhile (None).
        """
        claim = self._claims[errand.id]
        if self._lease_now() - claim.at < LOOK_AGAIN:
            return claim.dress
        return await asyncio.wrap_future(self._looks.ask(errand))

    def _dressed_again(self, errands: Sequence[Errand]) -> Sequence[Dress | None]:
        gone = postman.withdrawn(self.desk, errands, self.desk.clock.now())
        going = [errand for errand in errands if errand.id not in gone]
        dresses = dict(zip((errand.id for errand in going), self._dress(going), strict=True))
        return [dresses.get(errand.id) for errand in errands]

    async def _record(self, errand: Errand, report: Report) -> None:
        """Write an outcome. Where the database will not take it, the lease runs out and the message goes again
        under the same key, which its receiver can see.
        """
        for _ in range(_PATIENCE):
            try:
                await asyncio.wrap_future(self._outcomes.ask((errand, report)))
            except StoreError as error:
                log.warning("an outcome could not be recorded yet: %s", error)
                await asyncio.sleep(_AGAIN_SECONDS)
            else:
                if report.outcome is not Outcome.ACCEPTED:
                    self.recorded()
                return

    def _recorded_all(self, done: Sequence[tuple[Errand, Report]]) -> Sequence[None]:
        postman.record_all(self.desk, done, self.desk.clock.now())
        self.wake()
        return [None] * len(done)

    async def _attempt(self, errand: Errand, dress: Dress) -> Report | timedelta:
        """One attempt, or why there was none, or after what time there should be one."""
        channel = self.carriers.get(errand.channel)
        if isinstance(channel, str):
            return Report(Outcome.REFUSED, channel)
        if errand.give_up_at is not None and errand.give_up_at <= self.desk.clock.now():
            return Report(Outcome.REFUSED, "too late to be of use")
        if self._lease_now() - self._claims[errand.id].at > TURN_WITHIN:
            return Report(Outcome.REFUSED, "waited too long for the channel")
        try:
            async with asyncio.timeout(ATTEMPT_LIMIT.total_seconds() + _GRACE):
                handover = await channel.deliver(self._parcel(errand, dress))
        except TimeoutError:
            return Report(Outcome.TIMED_OUT, "no answer in time")
        except Exception as failure:
            log.error("message %s: %s", errand.id, place_of(failure))
            return Report(Outcome.REFUSED, f"a fault of our own: {type(failure).__name__}")
        wait = handover.retry_after
        if handover.outcome == "deferred" and wait is not None and wait <= SHORT_WAIT:
            return wait
        return self._report(handover)

    def _parcel(self, errand: Errand, dress: Dress) -> Parcel:
        text = errand.text if dress.by_link is None else by_link(errand.text, dress.by_link)
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
