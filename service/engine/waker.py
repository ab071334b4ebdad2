"""Wakes the engine at the next due instant: one date job for it, and a few interval jobs, never one per deadline.

All of the engine's own work runs in the scheduler's one worker thread, one pass after the other. What is due
lies in the database; a job that is lost costs nothing, since the next look finds it.
"""

import logging
import os
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain, islice
from threading import Lock

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.base import JobLookupError
from apscheduler.schedulers.background import BackgroundScheduler

from service.engine import held, planner, roster, running, sealing, unasked
from service.engine.clock import wall_now
from service.engine.desk import Desk, NotSetUp
from service.engine.expected import Missing
from service.engine.held import HEARTBEAT
from service.engine.server_time import HOLD_FROM, SAY_FROM, ServerTime
from service.engine.trouble import place_of
from service.store import identity, inbox, marks, outbox
from service.store.errors import StoreError

LOOK_EVERY = timedelta(seconds=5)
"""What another process has put into the database is noticed within this time."""

BEAT_EVERY = timedelta(seconds=20)
DOWN_AFTER = timedelta(seconds=60)
"""Without a heartbeat for this long the service was down, and catches up with grace (C20)."""

PLAN_EVERY = timedelta(minutes=5)
EXPECT_EVERY = timedelta(minutes=1)
"""How often it is looked whether every school that should have had a round has had one."""

SLICE = 4
"""So many schools are planned before it is looked again what has fallen due."""

OVERDUE_WAIT = timedelta(seconds=0.1)
"""What is due and could not be done yet (a channel without room) is looked at again after this."""

TROUBLE_WAIT = timedelta(seconds=2)
_DUE = "due"

log = logging.getLogger(__name__)


@dataclass
class Pulse:
    """How the engine fares, for health pages: `ran` and `planned` on the desk's clock, `missing` the schools without
    the rounds that they should have had, `monitor` what is wrong with the way to the monitor.
    """

    ran: datetime | None = None
    planned: datetime | None = None
    trouble: str | None = None
    missing: tuple[Missing, ...] = ()
    monitor: str | None = None


class _Scheduler(BackgroundScheduler):  # type: ignore[misc]
    """A scheduler that may be stopped while it puts a finished job away: by then there is none to remove."""

    def remove_job(self, job_id: str, jobstore: str | None = None) -> None:
        """Remove a job, if it is still there."""
        with suppress(JobLookupError):
            super().remove_job(job_id, jobstore)


class Waker:
    """Runs the engine from `start` to `stop`. `call` is told that messages may be ready to be sent, `held` that
    this machine's clock is too far off to send any (True), or no longer (False).
    """

    def __init__(
        self,
        desk: Desk,
        call: Callable[[], None] = lambda: None,
        server_time: ServerTime | None = None,
        held: Callable[[bool], None] | None = None,
    ) -> None:
        self.desk = desk
        self.pulse = Pulse()
        self._call = call
        self._server_time = server_time
        self._hold = held
        self._scheduler = _Scheduler(
            # Looking only wakes; it has a thread of its own, so that looks do not queue up behind a long pass.
            executors={"default": ThreadPoolExecutor(1), "looks": ThreadPoolExecutor(1)},
            # A date job may come again before the executor has put its last run away: let both through.
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 3},
            timezone="UTC",
        )
        self._lock = Lock()
        self._busy = False
        self._again = False
        self._stopped = False
        self._schools: Iterator[int] | None = None
        self._due: datetime | None = None
        self._started = desk.clock.now()

    def start(self) -> None:
        """Catch up, then keep going: what is stored is read at once, silence waits for senders' retries."""
        now = self.desk.clock.now()
        if (found := held.look(self.desk)) is not None:
            log.error("%s", held.say(found))
        down = catch_up(self.desk, now)
        if down is not None:
            log.warning("the service was down for %s; catching up", down)
        self._every(LOOK_EVERY, self._look, "look", "looks")
        self._every(BEAT_EVERY, self._beat, "heartbeat", "default")
        # Not where the passes run: a pass that hangs is one of the things that it would find.
        self._every(EXPECT_EVERY, self._expect, "expected", "looks")
        self._started = now
        self._scheduler.start()
        self._scheduler.add_job(self._beat, id="first beat")
        self.wake()

    def stop(self) -> None:
        """Finish the pass under way, and stop."""
        with self._lock:
            # The scheduler waits for its worker while it holds the lock that a new job would need.
            self._stopped = True
        self._scheduler.shutdown(wait=True)

    def wake(self) -> None:
        """Run at once what is due; from any thread. A pass under way is followed by another."""
        with self._lock:
            if self._busy:
                self._again = True
            else:
                self._schedule(timedelta())

    @property
    def jobs(self) -> tuple[str, ...]:
        """The names of the jobs that wait; however much is planned, there are four."""
        return tuple(sorted(job.id for job in self._scheduler.get_jobs()))

    def _look(self) -> None:
        """Run a pass unless nothing has changed: quiet hours are most hours, and looking is cheaper."""
        try:
            quiet = self._is_quiet()
        except StoreError:
            quiet = False
        if not quiet:
            self.wake()

    def _is_quiet(self) -> bool:
        now, planned = self.desk.clock.now(), self.pulse.planned
        if self.pulse.trouble or planned is None or now - planned >= PLAN_EVERY:
            return False
        due = running.next_due(self.desk)
        with self.desk.glance() as m:
            waits = inbox.has_unread(m.tx) or outbox.next_lease(m.tx) is not None
        return not waits and due == self._due and (due is None or due > now)

    def _expect(self) -> None:
        """Look for schools without rounds, once there was time to catch up after the start."""
        now = self.desk.clock.now()
        if self.pulse.planned is None and now - self._started < PLAN_EVERY:
            return
        try:
            found = unasked.tell(self.desk, now)
        except (StoreError, NotSetUp) as error:
            log.warning("it could not be looked whether rounds are missing: %s", error)
            return
        for each in found:
            if each not in self.pulse.missing:
                log.error("%s", each)
        self.pulse.missing = found
        if found:
            self._call()

    def _every(self, span: timedelta, do: Callable[[], None], id: str, executor: str) -> None:
        self._scheduler.add_job(do, "interval", seconds=span.total_seconds(), id=id, executor=executor)

    def _schedule(self, wait: timedelta | None) -> None:
        if wait is None or self._stopped:
            return
        at = wall_now() + wait
        self._scheduler.add_job(self._run, "date", run_date=at, id=_DUE, replace_existing=True)

    def _run(self) -> None:
        """Pass after pass until nothing new arrived meanwhile; then wait for the next due instant."""
        with self._lock:
            self._busy, self._again = True, False
        wait = self._pass()
        with self._lock:
            self._busy = False
            self._schedule(timedelta() if self._again else wait)

    def _pass(self) -> timedelta | None:
        """Do what is due; says how long, in real time, until something is due again (None: the next look)."""
        try:
            return self._work()
        except NotSetUp:
            self.pulse.trouble = "no configuration has been applied yet"
            return None
        except StoreError as error:
            self.pulse.trouble = str(error)
        except Exception as failure:
            self.pulse.trouble = place_of(failure)
        log.error("a pass failed: %s", self.pulse.trouble)
        self._call()
        return TROUBLE_WAIT

    def _work(self) -> timedelta | None:
        """What is due comes first, then a few schools' plans, again and again until all are planned."""
        more = True
        while more and not self._stopped:
            now = self.desk.clock.now()
            running.release_silence(self.desk, now)
            self._wait_after_release(now)
            running.run_due(self.desk, now)
            self.pulse.ran, self.pulse.trouble = now, None
            self._call()
            more = self._prepare(now)
        with self.desk.glance() as m:
            self._due, left = running.next_in(m), running.has_unread(m)
        # What another instance is at, or was at, is looked at again soon.
        return OVERDUE_WAIT if left else self._until(self._due)

    def _prepare(self, now: datetime) -> bool:
        """Plan a few schools where it is time to; says whether there was anything to do."""
        if self._schools is None:
            if self.pulse.planned is not None and now - self.pulse.planned < PLAN_EVERY:
                return False
            self._schools = chain(planner.each_school(self.desk), roster.each_school(self.desk))
        try:
            done = sum(1 for _ in islice(self._schools, SLICE))
        except BaseException:
            self._schools = None
            raise
        if done < SLICE:
            sealing.daily(self.desk, now)
            self._schools, self.pulse.planned = None, now
        return done > 0

    def _wait_after_release(self, now: datetime) -> None:
        """A service that was just let go on has been down, as far as those who answer can tell (C20)."""
        with self.desk.glance() as m:
            since = held.released_at(m.tx)
            grace = m.district.settings.restart_grace if since else timedelta()
        if since is not None and now < since + grace:
            running.hold_silence(self.desk, since, grace)

    def _until(self, due: datetime | None) -> timedelta | None:
        """The real time until an instant of the desk's clock."""
        if due is None:
            return None
        now = self.desk.clock.now()
        seconds = self.desk.clock.real_seconds(due - now) if due > now else 0.0
        return timedelta(seconds=seconds) if seconds > 0 else OVERDUE_WAIT

    def _beat(self) -> None:
        silence = self.desk.silence_held_until
        body = {
            "owner": self.desk.owner,
            "pid": os.getpid(),
            "held": silence.isoformat() if silence else None,
            "trouble": self.pulse.trouble,
            "monitor": self.pulse.monitor,
        }
        try:
            off = self._compare_clocks()
            with self.desk.moment() as m:
                marks.set(m.tx, HEARTBEAT, m.now, {**body, "clock_off": off.total_seconds()})
                instance, beats = held.count_beat(m)
            identity.count_beside(self.desk.store, instance, beats)
        except (StoreError, OSError) as error:
            log.warning("no heartbeat: %s", error)

    def _compare_clocks(self) -> timedelta:
        if self._server_time is None:
            return timedelta()
        off = abs(self._server_time.measure())
        if off > SAY_FROM:
            log.warning("this machine's clock is %.1f s off that of the database", off.total_seconds())
        if self._hold is not None:
            self._hold(off > HOLD_FROM)
        return off


def catch_up(desk: Desk, now: datetime) -> timedelta | None:
    """Hold back silence for a while where the service was down (C20); says for how long it was.

    A grace that was not over when the service went down again runs on. What was on its way when it went down is
    still told (C13), so its time is put off as well.
    """
    with desk.glance() as m:
        last = marks.get(m.tx, HEARTBEAT)
        try:
            grace = m.district.settings.restart_grace
        except NotSetUp:
            return None
    if last is None or last.at is None:
        return None
    silence = datetime.fromisoformat(last.body["held"]) if last.body.get("held") else None
    if now - last.at > DOWN_AFTER:
        running.hold_silence(desk, now, grace)
        with desk.moment(now) as m:
            outbox.put_off_giving_up(m.tx, now - last.at)
        return now - last.at
    if silence is not None and silence > now:
        running.hold_silence(desk, silence, timedelta())
    return None
