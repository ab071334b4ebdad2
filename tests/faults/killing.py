"""Ends instances by force at random points of the morning: at any moment, at commits, while sending or hearing."""

import queue
import random
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta

from service.store.tables import OutboxRow
from tests.engine.engine_morning import at, messages
from tests.faults import town
from tests.faults.judging import Ended, judged
from tests.faults.morning import LOOK, Handle, World, world
from tests.faults.outside import nothing

WAYS = ("any moment", "starting", "before commit", "after commit", "from outside", "from outside", "from outside")
"""How a point is drawn; from outside: while an instance is sending, or while somebody speaks to it."""

TOUCHES = 3
"""The instance dies at one of so many next touches."""

COMMITS = 40
"""A commit to die at is drawn from so many after the start."""

PATIENCE = 3.0
"""A point that does not come within so many seconds is given up, and the instance dies at that moment."""

GAPS = (0.0, 0.0, 20.0, 60.0, 180.0, 300.0)
"""Seconds of the morning for which nobody serves."""


class TooSlow(TimeoutError):
    """The morning went by faster than the machine could play it: what came of it proves nothing."""


@dataclass
class Killer:
    """Draws the points of one morning from a seed and counts what it took."""

    chance: random.Random
    taken: Counter[str] = field(default_factory=Counter)
    downs: int = 0

    def strike(self, made: World) -> None:
        """One point: wait for it, end one or more instances, start them again after a while."""
        victims = self.chance.sample(made.handles, self.chance.choice(range(1, len(made.handles) + 1)))
        way = self.chance.choice(WAYS)
        time.sleep(self.chance.uniform(0.05, 0.7))
        self.taken[self._end_one(made, victims[0], way)] += 1
        for further in victims[1:]:
            further.kill()
        self._again(made, victims)

    def _end_one(self, made: World, victim: Handle, way: str) -> str:
        """End an instance in a way; says which kind of point it became."""
        if way == "from outside":
            return self._at_touch(made, victim)
        victim.kill()
        return way if way == "any moment" else self._at_start(made, victim, way)

    def _at_touch(self, made: World, victim: Handle) -> str:
        left, struck = self.chance.randint(1, TOUCHES), queue.SimpleQueue[str]()
        turn = threading.Lock()

        def touch(number: int, what: str) -> None:
            nonlocal left
            with turn:
                left -= number == victim.orders.number
                if left == 0 and number == victim.orders.number:
                    victim.kill()
                    struck.put(what)

        made.outside.touch = touch
        try:
            return struck.get(timeout=PATIENCE)
        except queue.Empty:
            return "any moment"
        finally:
            made.outside.touch = nothing
            victim.kill()

    def _at_start(self, made: World, victim: Handle, kind: str) -> str:
        """A second end right after a start: in the midst of starting, or at a commit soon after."""
        if kind == "starting":
            victim.start()
            time.sleep(self.chance.uniform(0.0, 0.4))
            victim.kill()
            return kind
        victim.start((kind, self.chance.randint(1, COMMITS)))
        end = time.monotonic() + PATIENCE
        while victim.lives and time.monotonic() < end:
            time.sleep(LOOK)
        died = not victim.lives
        victim.kill()
        return kind if died else "any moment"

    def _again(self, made: World, victims: list[Handle]) -> None:
        if not made.living:
            self.downs += 1
            made.clock.stand()
            made.clock.move_to(made.clock.now() + timedelta(seconds=self.chance.choice(GAPS)))
        else:
            time.sleep(self.chance.uniform(0.0, 0.6))
        for victim in victims:
            victim.start()
        for victim in victims:
            victim.wait_ready()
        made.clock.run()


def killed(kind: str, points: int, seed: int) -> tuple[Ended, Killer]:
    """A morning into which at most `points` ends by force fell; fewer where it was over before."""
    killer = Killer(random.Random(f"{kind}/{seed}"))
    with world(kind) as made:
        made.clock.run()
        while killer.taken.total() < points and made.clock.now() < at(town.LAST_BELL):
            killer.strike(made)
        made.end()
        in_time(messages(made.desk.store), made.behind)
        return judged(made), killer


def in_time(sent: Sequence[OutboxRow], behind: float) -> None:
    """Raise `TooSlow` where an alert could not be put on its way before its contact's time was over: then others were
    told instead, and what the contact would have said never was. The receiver takes everything, and an outage puts the
    time off, so it was the machine, which was `behind` the morning for so many seconds, or ends in quick succession.
    """
    late = [row for row in sent if row.state == "timed_out"]
    if late:
        first = f"{late[0].id} to {late[0].person}"
        raise TooSlow(f"{len(late)} messages left too late, the first {first}; {behind:.0f} s behind the morning")


def left_alone(kind: str) -> Ended:
    """The morning nobody breaks into."""
    with world(kind) as made:
        made.end()
        return judged(made)
