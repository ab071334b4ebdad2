"""The one place that reads the time. Everything else is handed a `Clock`."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Lock
from typing import Protocol


class Clock(Protocol):
    """What time it is, aware and UTC, and how long to sleep for a stretch of it."""

    def now(self) -> datetime:
        """The present instant; never earlier than one given before."""
        ...

    def real_seconds(self, span: timedelta) -> float:
        """How many real seconds `span` takes on this clock."""
        ...


def wall_now() -> datetime:
    """Real time, for what the outside world reads: `webhook-timestamp`, `Date`, file dates."""
    return datetime.now(UTC)


class RealClock:
    """Wall time that never runs backwards: a clock set back holds until time has caught up."""

    def __init__(self, read: Callable[[], datetime] = wall_now) -> None:
        self._read = read
        self._latest = read()
        self._lock = Lock()

    def now(self) -> datetime:
        """The present instant."""
        with self._lock:
            self._latest = max(self._latest, self._read())
            return self._latest

    def real_seconds(self, span: timedelta) -> float:
        """Real time runs at its own pace."""
        return span.total_seconds()


class SteppedClock:
    """Stands still until it is moved; for rehearsal and tests."""

    def __init__(self, start: datetime) -> None:
        self._now = start.astimezone(UTC)

    def now(self) -> datetime:
        """The instant it was last moved to."""
        return self._now

    def move_to(self, instant: datetime) -> None:
        """Move forward to `instant`; an earlier one changes nothing."""
        self._now = max(self._now, instant.astimezone(UTC))

    def real_seconds(self, span: timedelta) -> float:  # noqa: ARG002 - a stepped clock takes no time
        """No real time passes."""
        return 0.0


class FastClock:
    """Runs `speed` times as fast as real time from `start`; can be paused, sped up and moved forward."""

    def __init__(
        self, start: datetime, speed: float, monotonic: Callable[[], float] = time.monotonic
    ) -> None:
        self._monotonic = monotonic
        self._base = start.astimezone(UTC)
        self._since = monotonic()
        self._speed = speed
        self._paused = False
        self._lock = Lock()

    def now(self) -> datetime:
        """The present instant of the fast day."""
        with self._lock:
            return self._now()

    def real_seconds(self, span: timedelta) -> float:
        """How long `span` of the fast day takes; paused, it is looked at again after a second."""
        return 1.0 if self._paused else max(0.0, span.total_seconds() / self._speed)

    @property
    def speed(self) -> float:
        """How many seconds of the fast day one real second takes; 0 while paused."""
        return 0.0 if self._paused else self._speed

    def set_speed(self, speed: float) -> None:
        """Go on at another speed from here."""
        with self._lock:
            self._rebase()
            self._speed = speed

    def pause(self, paused: bool) -> None:
        """Stop, or go on."""
        with self._lock:
            self._rebase()
            self._paused = paused

    def move_to(self, instant: datetime) -> None:
        """Jump forward to `instant`; an earlier one changes nothing."""
        with self._lock:
            self._rebase()
            self._base = max(self._base, instant.astimezone(UTC))

    def _now(self) -> datetime:
        if self._paused:
            return self._base
        return self._base + timedelta(seconds=(self._monotonic() - self._since) * self._speed)

    def _rebase(self) -> None:
        self._base = self._now()
        self._since = self._monotonic()
