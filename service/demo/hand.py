"""The hand on the demo's clock: begin, pause, faster, slower, and on to the next thing that happens."""

import asyncio
from datetime import datetime, timedelta

from service.demo.pockets import Pockets
from service.engine import running
from service.engine.clock import FastClock
from service.engine.desk import Desk
from service.store import inbox, outbox
from service.wiring import Service

SPEEDS = (10.0, 30.0, 60.0, 120.0)
"""Faster than the last, two minutes for a delivery (C3) would be less than a second."""

LOOK = 0.01
PATIENCE = timedelta(seconds=4)
MOVES = 40
"""Due instants passed over, at most, until one of them brings somebody a message."""

TRICKLE = 0.001
"""How a clock stands once the morning has begun: two answers given one after the other still have two instants."""

FAR = timedelta(hours=8)
"""What is further ahead belongs to another day."""


class Hand:
    """Moves a fast clock. It stands until the morning is begun, and while somebody is typing."""

    def __init__(self, service: Service, clock: FastClock, pockets: Pockets, speed: float) -> None:
        self.begun = False
        self.paused = True
        self.typing = False
        self.speed = speed
        self._service, self._clock, self._pockets = service, clock, pockets
        clock.set_speed(speed)
        clock.pause(True)

    @property
    def moving(self) -> bool:
        """Whether the clock moves at this moment."""
        return not (self.paused or self.typing)

    def go(self, paused: bool) -> None:
        """Pause, or go on."""
        self.begun = self.begun or not paused
        self.paused = paused
        self._apply()

    def hold(self, typing: bool) -> None:
        """Wait while somebody types."""
        self.typing = typing
        if self.begun:
            self._apply()

    def change(self, faster: bool) -> None:
        """The next speed up or down; at the end of the list nothing changes."""
        if faster:
            self.speed = next((s for s in SPEEDS if s > self.speed), self.speed)
        else:
            self.speed = next((s for s in reversed(SPEEDS) if s < self.speed), self.speed)
        if self.begun:
            self._apply()

    async def next_thing(self) -> bool:
        """On to the next instant at which somebody gets a message; False where none comes today."""
        self.begun = True
        self._apply()
        before, now = self._pockets.arrived, self._clock.now()
        for _ in range(MOVES):
            due = await asyncio.to_thread(running.next_due, self._service.desk)
            if due is None or due - now > FAR:
                return False
            await self.move_to(due)
            if self._pockets.arrived > before:
                return True
        return False

    async def move_to(self, instant: datetime) -> bool:
        """Move the clock forward and let all happen that is due then; False where that does not come to an end."""
        self._clock.move_to(instant)
        return await self.settle()

    async def settle(self, within: timedelta = PATIENCE) -> bool:
        """Wait until nothing is due, unread or under way; False where that takes too long."""
        self._service.wake()
        loop = asyncio.get_running_loop()
        end = loop.time() + within.total_seconds()
        while loop.time() < end:
            if await asyncio.to_thread(is_quiet, self._service.desk):
                return True
            await asyncio.sleep(LOOK)
        return False

    def _apply(self) -> None:
        self._clock.set_speed(self.speed if self.moving else TRICKLE)
        self._clock.pause(False)
        self._service.wake()


def is_quiet(desk: Desk) -> bool:
    """Whether nothing waits to be read, nothing is being sent, and nothing is due at this instant: seen in one
    glance, since what is due in one moment is under way in the next.
    """
    with desk.glance() as m:
        busy = outbox.next_lease(m.tx) is not None or bool(inbox.unread(m.tx, 1))
        due = running.next_in(m)
    return not busy and (due is None or due > desk.clock.now())
