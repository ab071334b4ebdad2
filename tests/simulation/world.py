"""The simulated world: one clock, a queue of what happens, the instances' passes, people and channels.

Everything is moved by one thread. At each instant what happens is done first, then the instances run until they
have nothing more to do, and then the checker looks.
"""

import heapq
import logging
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any, Protocol

from service.core.notices import NoticeError
from service.core.reading import Fault, NotDone, Outcome, Reading, Result, Then
from service.engine import commands, planner, postman, running
from service.engine.clock import SteppedClock
from service.engine.commands import Received
from service.engine.lanes import LOOK_AGAIN, TURN_WITHIN
from service.engine.postman import Errand
from service.store import outbox
from tests.simulation.checker import Broken
from tests.simulation.folder import changed
from tests.simulation.instance import Instance
from tests.simulation.lines import ACCEPTED, Fate, Weather
from tests.simulation.people import ASKING, Answer, Message
from tests.simulation.plot import Event
from tests.simulation.seen import Acknowledged, Copy, Outside
from tests.simulation.town import Town

RETRY = timedelta(seconds=60)
"""Whoever was not acknowledged sends again after this."""

ROUNDS = 200
STUCK = 3
PLANS = ("00:20", "06:00", "12:00")
PAUSE = timedelta(minutes=10)
THEN = {"second": Then.SECOND, "today": Then.NOT_TODAY}
IDLE_AT_MOST = timedelta(seconds=30)
"""How long the server lets a transaction lie idle."""

Job = tuple[Instance, Callable[[], object]]


class Crew(Protocol):
    """The instances of a world, and how their work is interleaved."""

    instances: Sequence[Instance]
    clock: SteppedClock
    pauses_within: bool
    """Whether an instance can be made to stand still between two statements."""

    def run(self, jobs: Sequence[Job]) -> list[Instance]:
        """Do the jobs, each on its instance; says which instances were ended meanwhile."""

    def resume(self, instance: Instance) -> list[Instance]:
        """Go on with what an instance was at that stood still."""

    def cut(self, instance: Instance) -> None:
        """The server ends the sessions of an instance that has stood still within a transaction for too long."""

    def rows(self, statement: str, values: Sequence[Any]) -> list[Sequence[Any]]:
        """Read beside the service."""

    def close(self) -> None:
        """Give everything back."""


class Plot(Protocol):
    """What happens in a world, what its people say to what they are sent, and how its lines behave."""

    def events(self) -> Sequence[Event]:
        """What happens without anybody's being asked."""

    def answers(self, message: Message, day: date, depth: int) -> Iterable[tuple[str, Answer]]:
        """What somebody says to a message, each with a name of its own; `depth`: how long this goes to and fro."""

    def fate(self, weather: list[Weather], at: datetime, errand: Errand, name: str) -> Fate:
        """What becomes of the attempt of this name."""


class Checker(Protocol):
    """Whoever looks after every step and when all is over; raises `Broken`."""

    def look(self, now: datetime) -> None: ...
    def end(self, now: datetime) -> None: ...


class Restless(Broken):
    """The instances do not come to rest at an instant."""


@dataclass
class World:
    """One seed's world. `only` names what happens in it, where that is not everything."""

    town: Town
    plot: Plot
    crew: Crew
    outside: Outside
    checker: Checker
    only: Collection[str] | None = None
    weather: list[Weather] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    _queue: list[tuple[datetime, int, Callable[[], None]]] = field(default_factory=list)
    _count: int = 0
    _jobs: list[Job] = field(default_factory=list)
    _notices: dict[str, str] = field(default_factory=dict)
    _latest: dict[str, list[Message]] = field(default_factory=dict)
    _alive_until: datetime | None = None
    _stood: int = 0
    _turn: int = 0
    _depth: dict[str, int] = field(default_factory=dict)
    _keys: dict[str, str] = field(default_factory=dict)
    _unfinished: list[Callable[[], None]] = field(default_factory=list)

    @property
    def now(self) -> datetime:
        return self.crew.clock.now()

    @property
    def up(self) -> list[Instance]:
        return [i for i in self.crew.instances if i.up]

    @property
    def _is_alone(self) -> bool:
        """Whether one instance does all there is: whatever its pass leaves is due at once, and seen by `_next`."""
        return len(self.crew.instances) == 1

    def play(self) -> None:
        """All days of the town, to the night after the last."""
        town = self.town
        start = min(town.at(s, town.days[0], "00:30") for s in town.schools)
        end = max(town.at(s, town.days[-1], "23:30") for s in town.schools)
        self.crew.clock.move_to(start)
        self.outside.documents = town.documents
        commands.configure(self.crew.instances[0].desk, town.documents, "folder")
        for event in self.plot.events():
            if self._happens(event.name) and event.at > start:
                self.later(event.at, partial(self._happen, event))
        self._plan_daily(start, end)
        with errors_heard() as errors:
            while (due := self._next()) is not None and due <= end:
                self._instant(due)
                if errors:
                    raise Broken(f"a fault of the service's own: {errors[0]}")
        self.crew.clock.move_to(end)
        self.checker.end(end)

    def _plan_daily(self, start: datetime, end: datetime) -> None:
        school, day = self.town.schools[0], self.town.days[0]
        while day <= self.town.days[-1]:
            for wall in PLANS:
                at = self.town.at(school, day, wall)
                if start < at < end:
                    self.later(at, self._plan)
            day += timedelta(days=1)

    def _plan(self) -> None:
        for instance in self.up:
            self._jobs.append((instance, partial(planner.plan_all, instance.desk)))

    def _happens(self, name: str) -> bool:
        return self.only is None or name in self.only

    def later(self, at: datetime, do: Callable[[], None]) -> None:
        """Have something happen at an instant."""
        self._count += 1
        heapq.heappush(self._queue, (at, self._count, do))

    def _next(self) -> datetime | None:
        up = self.up
        known = [self._queue[0][0]] if self._queue else []
        if up:
            desk = up[0].desk
            with desk.glance() as m:
                due = (running.next_in(m), outbox.next_lease(m.tx))
            held = [i.desk.silence_held_until for i in up]
            known += [at for at in (*due, *held) if at is not None]
        if self._stood > STUCK and any(i.paused for i in self.crew.instances):
            # What is due is locked by an instance that stands still; others look again until the server ends it.
            return self._queue[0][0]
        return max(min(known), self.now) if known else None

    def _instant(self, due: datetime) -> None:
        self._stood = self._stood + 1 if due == self.now else 0
        if self._stood > ROUNDS:
            raise Restless(f"something is due at {due:%Y-%m-%d %H:%M:%S} and is never done")
        self.crew.clock.move_to(due)
        while self._queue and self._queue[0][0] <= due:
            heapq.heappop(self._queue)[2]()
        self._settle()
        self.checker.look(self.now)
        self.counts["steps"] += 1

    def _settle(self) -> None:
        for _ in range(ROUNDS):
            done: list[int] = []
            jobs = [(i, do) for i, do in self._jobs if i.up]
            passes = [(i, partial(self._pass, i, done)) for i in self.up]
            self._jobs = []
            ended = self.crew.run([*jobs, *passes])
            for instance in ended:
                self._gone(instance)
            for instance in [i for i in self.up if i.paused]:
                self._stands_still(instance)
            self._try_again()
            at_rest = self._is_alone or not (any(done) or (jobs and len(passes) > 1))
            if at_rest and not self._jobs and not ended:
                return
        raise Restless(f"the engine does not come to rest at {self.now:%Y-%m-%d %H:%M:%S}")

    def _pass(self, instance: Instance, done: list[int]) -> None:
        desk, now = instance.desk, self.now
        running.release_silence(desk, now)
        due = running.run_due(desk, now)
        errands = postman.claim(desk, now)
        done.append(len(errands) + (due if len(self.crew.instances) > 1 else 0))
        done_at_once = [(e, report) for e in errands if (report := self._send(instance, e))]
        if done_at_once:
            postman.record_all(desk, done_at_once, self.now)

    # Channels.

    def _send(self, instance: Instance, errand: Errand) -> postman.Report | None:
        """One attempt; what came of it, where that is known at once."""
        waited = self.now - errand.claimed_at
        if waited > TURN_WITHIN:
            return postman.Report(postman.Outcome.REFUSED, "waited too long")
        if waited > LOOK_AGAIN and postman.withdrawn(instance.desk, [errand], self.now):
            return None
        name = f"fate:{errand.id}:{errand.attempt}"
        doomed = self._fate(name, errand)
        self.counts["attempts"] += 1
        life = instance.life
        for n in range(doomed.copies):
            copy = Copy.of(errand, instance.number, n)
            arrives = min(doomed.after, timedelta(seconds=9))
            if arrives:
                self.later(self.now + arrives, partial(self._arrive, copy))
            else:
                self._arrive(copy)
        self.outside.tried(errand.id, errand.key, self.now, doomed.does)
        if doomed.after:
            self.later(self.now + doomed.after, lambda: self._hears(instance, life, errand, doomed))
            return None
        self._bounce(errand, doomed)
        return doomed.report

    def _hears(self, instance: Instance, life: int, errand: Errand, doomed: Fate) -> None:
        """The sender hears what became of an attempt, if it is still the process that began it."""
        if instance.up and instance.life == life:
            record = partial(postman.record, instance.desk, errand, doomed.report, self.now)
            self._jobs.append((instance, record))
            self._bounce(errand, doomed)

    def _bounce(self, errand: Errand, doomed: Fate) -> None:
        if doomed.bounce is not None:
            self.later(self.now + doomed.bounce, lambda: self._anywhere(self._bounced(errand.id)))

    def _bounced(self, id: str) -> Callable[[Instance], None]:
        return lambda i: postman.bounced(i.desk, id, self.now)

    def _fate(self, name: str, errand: Errand) -> Fate:
        if not self._happens(name):
            return ACCEPTED
        found = self.plot.fate(self.weather, self.now, errand, name)
        if found.does != "accept":
            self.counts["line faults"] += 1
            words = f"the message {errand.key} to {errand.person} by {errand.channel}: {found.does}"
            self.outside.happens(self.now, name, words)
        return found

    # People.

    def _arrive(self, copy: Copy) -> None:
        self.outside.arrived(copy, self.now)
        self.counts["messages"] += 1
        if copy.again:
            return
        self._keys[copy.id] = copy.key
        message = Message(copy.key, copy.id, copy.person, copy.purpose, copy.lock_line, copy.text)
        self._latest.setdefault(copy.person, []).append(message)
        for name, answer in self.plot.answers(message, self.now.date(), self._depth.get(answered(copy.key), 0)):
            if self._happens(name):
                self.later(self.now + answer.after, partial(self._answers, name, message, answer, copy.channel))

    def _answers(self, name: str, message: Message, answer: Answer, channel: str) -> None:
        older = [m.id for m in self._latest.get(message.person, []) if m.id != message.id]
        re = {"yes": message.id, "no": None}.get(answer.thread, older[0] if older else None)
        proven = "" if answer.proven else ", unproven"
        words = f"{message.person} writes “{answer.text}”{proven}, thread: {answer.thread} ({message.purpose})"
        self.outside.happens(self.now, name, words)
        self._says(name, message.person, answer.text, re, answer.proven, channel)
        if answer.again:
            self.later(
                self.now + timedelta(seconds=30),
                lambda: self._says(name, message.person, answer.text, re, answer.proven, channel),
            )

    def _says(self, name: str, person: str, text: str, re: str | None, proven: bool, channel: str) -> None:
        """Words reach whichever instance is there, and are sent again until they are acknowledged."""
        known = person if person in self.outside.documents["people"] else None
        received = Received(channel, name, person, text, known, in_reply_to=re, proven=proven)

        def take(instance: Instance) -> None:
            id, _ = commands.receive(instance.desk, received)
            self._depth[id] = self._depth.get(answered(self._keys.get(re or "", "")), 0) + 1
            self.outside.acknowledged(Acknowledged(id, name, known, text, re, proven, self.now))

        self.counts["replies"] += 1
        self._anywhere(take, lambda: self._says(name, person, text, re, proven, channel))

    def _anywhere(self, do: Callable[[Instance], object], again: Callable[[], None] | None = None) -> None:
        """Have some instance do something; where it does not come to its end, it is tried again later."""
        up = self.up
        again = again or (lambda: self._anywhere(do))
        if not up:
            self.later(self.now + RETRY, again)
            return
        self._turn += 1
        instance = up[self._turn % len(up)]

        def work() -> None:
            do(instance)
            self._unfinished.remove(again)

        self._unfinished.append(again)
        self._jobs.append((instance, work))

    def _try_again(self) -> None:
        """Whoever was not served tries again a little later."""
        served, self._unfinished[:] = self._unfinished[:], []
        for again in served:
            self.later(self.now + RETRY, again)

    # What is planned to happen.

    def _happen(self, event: Event) -> None:
        self.outside.happens(event.at, event.name, event.words)
        what = event.what
        self.counts[event.kind] += 1
        match event.kind:
            case "says":
                re = self._newest(what["person"]) if what.get("newest") else None
                self._says(event.name, what["person"], what["text"], re, what["proven"], "chat")
            case "press":
                self._anywhere(partial(self._presses, event.name, what))
            case "board":
                self._anywhere(partial(self._acts, event.name, what))
            case "notice":
                self._anywhere(partial(self._gives, event.name, what))
            case "withdraw":
                self._anywhere(partial(self._withdraws, what))
            case "change":
                self._anywhere(partial(self._applies, what))
            case "weather":
                self.weather.append(
                    Weather(event.at, what["until"], what["channel"], what["person"], what["does"])
                )
            case "crash":
                self._crashes(what)

    def _newest(self, person: str) -> str | None:
        """The last message to somebody that asked for something."""
        return next((m.id for m in reversed(self._latest.get(person, ())) if m.purpose in ASKING), None)

    def _presses(self, name: str, what: Mapping[str, Any], instance: Instance) -> None:
        documents = self.outside.documents
        if what["person"] not in documents["people"] or what["student"] not in documents["students"]:
            return
        if what["result"] == "back":
            commands.student_back(instance.desk, what["person"], what["student"], name)
            return
        result = Result(what["result"])
        faults = (Fault(what["code"]),) if what["code"] else ()
        undone = result is Result.NOT_DONE
        then = THEN[what["then"]] if undone and "then" in what else None
        said = Outcome(result, faults, reason=NotDone.NO_TIME if undone else None, then=then)
        makes = result is Result.FAULT
        commands.report(instance.desk, what["person"], what["student"], said, name, makes_check=makes)
        self.outside.pressed(name, what["person"], what["student"], what["result"])

    def _acts(self, name: str, what: Mapping[str, Any], instance: Instance) -> None:
        commands.act(instance.desk, what["person"], what["chase"], Reading(command=what["does"]), name)
        self.outside.pressed(name, what["person"], what["chase"], what["does"].value)

    def _gives(self, name: str, what: Mapping[str, Any], instance: Instance) -> None:
        if what["school"] not in self.outside.documents["schools"]:
            return
        given = commands.give_notice(instance.desk, what["text"], what["by"], what["school"])
        if not isinstance(given, NoticeError):
            self._notices[name] = given[0].id
            self.outside.noticed(given[0].id, what["text"], what["school"], self.now)

    def _withdraws(self, what: Mapping[str, Any], instance: Instance) -> None:
        id = self._notices.get(what["notice"])
        if id is not None:
            commands.withdraw_notice(instance.desk, id, what["by"])
            self.outside.withdrawn(id)

    def _applies(self, what: Mapping[str, Any], instance: Instance) -> None:
        documents = changed(self.outside.documents, dict(what))
        commands.configure(instance.desk, documents, "folder")
        self.outside.configured(documents)

    # Instances.

    def _crashes(self, what: Mapping[str, Any]) -> None:
        instance = self.crew.instances[what["instance"] % len(self.crew.instances)]
        if not instance.up:
            return
        self._down_for = what["down"]
        if what["pause"] and not self.crew.pauses_within:
            self._stands_still(instance)
        else:
            instance.left, instance.pausing = what["after"], what["pause"]

    def _stands_still(self, instance: Instance) -> None:
        """The process is stopped as it is, and goes on later as if nothing had been."""
        self.counts["pauses"] += 1
        self.outside.happens(self.now, "", f"instance {instance.number} stands still for ten minutes")
        instance.up = False
        self._missed(instance)
        self.later(self.now + IDLE_AT_MOST, partial(self.crew.cut, instance))
        self.later(self.now + PAUSE, partial(self._goes_on, instance))

    def _goes_on(self, instance: Instance) -> None:
        since = self._found(instance)
        instance.up, instance.paused = True, False
        instance.looks_back(since, self.now)
        for ended in self.crew.resume(instance):
            self._gone(ended)
        instance.cut = False
        if instance.up and instance.paused:
            self._stands_still(instance)

    def _gone(self, instance: Instance) -> None:
        self.counts["crashes"] += 1
        instance.up = False
        self.outside.happens(self.now, "", f"instance {instance.number} is gone for {self._down_for}")
        self._missed(instance)
        self.later(self.now + self._down_for, partial(self._back, instance))

    def _back(self, instance: Instance) -> None:
        instance.start_again(self._found(instance), self.now)

    def _missed(self, instance: Instance) -> None:
        """Where it was the last one, the service is down."""
        if not self.up:
            self._alive_until = self.now
            self.outside.down(self.now)

    def _found(self, instance: Instance) -> datetime:
        """Until when any instance was alive, at the moment at which this one is there again."""
        if self.up or self._alive_until is None:
            return self.now
        self.outside.back(self.now)
        return self._alive_until


def answered(key: str) -> str:
    """Which received words a message answers, by its key; none: empty."""
    purpose, _, rest = key.partition("/")
    return rest.partition("/")[0] if purpose in ("question", "answer", "caution") else ""


@contextmanager
def errors_heard() -> Iterator[list[str]]:
    """Collects what the service logs as errors of its own while this lasts."""
    heard: list[str] = []

    class Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(record.getMessage())

    listener, log = Listener(logging.ERROR), logging.getLogger("service")
    log.addHandler(listener)
    try:
        yield heard
    finally:
        log.removeHandler(listener)
