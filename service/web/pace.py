"""How often somebody may try: a few wrong keys, a reasonable number of presses."""

import time
from collections import deque
from collections.abc import Callable
from threading import Lock

KEPT = 10_000
"""How many names are remembered; the longest untouched are forgotten first."""


class Pace:
    """At most `times` within `seconds` for each name. Real time, as it is about people and programs."""

    def __init__(self, times: int, seconds: float, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._times, self._seconds, self._monotonic = times, seconds, monotonic
        self._seen: dict[str, deque[float]] = {}
        self._lock = Lock()

    def allows(self, name: str) -> bool:
        """Whether one more is within the pace; it is counted if so."""
        with self._lock:
            seen = self._recent(name)
            if len(seen) >= self._times:
                return False
            seen.append(self._monotonic())
            return True

    def is_spent(self, name: str) -> bool:
        """Whether one more would be beyond the pace; nothing is counted."""
        with self._lock:
            return len(self._recent(name)) >= self._times

    def _recent(self, name: str) -> deque[float]:
        seen = self._seen.pop(name, deque())
        while seen and seen[0] <= self._monotonic() - self._seconds:
            seen.popleft()
        self._seen[name] = seen
        if len(self._seen) > KEPT:
            del self._seen[next(iter(self._seen))]
        return seen
