"""One clock for several processes: the time of a compressed morning, kept in a shared page of memory.

Whoever plays the morning owns it: may stop it, run it and move it forward. The services only read it.
"""

import mmap
import struct
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Lock

_PAGE = struct.Struct("<qddd")
"""A count that is odd while the rest is being written; then the instant, the real time it held at, the speed."""


class WorldClock:
    """The morning's time as any process reads it. `speed` is the fastest it ever runs."""

    def __init__(self, path: Path, speed: float) -> None:
        with path.open("r+b") as file:
            self._page = mmap.mmap(file.fileno(), _PAGE.size)
        self.speed = speed

    def now(self) -> datetime:
        """The present instant."""
        return datetime.fromtimestamp(self._seconds(), UTC)

    def real_seconds(self, span: timedelta) -> float:
        """How long `span` takes at the fastest; while the clock runs slower, whoever waited looks again."""
        return max(0.0, span.total_seconds() / self.speed)

    def _seconds(self) -> float:
        while True:
            before, base, since, speed = _PAGE.unpack_from(self._page)
            if before % 2 == 0 and _PAGE.unpack_from(self._page)[0] == before:
                return base + (time.monotonic() - since) * speed


class OwnClock(WorldClock):
    """The clock in the hand of who plays the morning; it stands until it is told to run."""

    def __init__(self, path: Path, start: datetime, speed: float) -> None:
        path.write_bytes(_PAGE.pack(0, start.timestamp(), time.monotonic(), 0.0))
        super().__init__(path, speed)
        self._lock = Lock()
        self._count = 0
        self._told = 0.0
        self._at_most = speed

    @property
    def runs(self) -> bool:
        """Whether it is told to run at full speed."""
        return self._told >= self.speed

    def run(self, speed: float | None = None) -> None:
        """Go on, at full speed unless another is given."""
        self._change(told=self.speed if speed is None else speed)

    def stand(self) -> None:
        """Stop."""
        self._change(told=0.0)

    def brake(self, at_most: float | None) -> None:
        """Whatever it is told, run no faster than this; None: as fast as it is told."""
        self._change(at_most=self.speed if at_most is None else at_most)

    def move_to(self, instant: datetime) -> None:
        """Jump forward; an earlier instant changes nothing."""
        self._change(at_least=instant.timestamp())

    def _change(
        self, told: float | None = None, at_most: float | None = None, at_least: float = 0.0
    ) -> None:
        with self._lock:
            base = max(self._seconds(), at_least)
            self._told = self._told if told is None else told
            self._at_most = self._at_most if at_most is None else at_most
            self._count += 2
            struct.pack_into("<q", self._page, 0, self._count - 1)
            fastest = min(self._told, self._at_most)
            _PAGE.pack_into(self._page, 0, self._count - 1, base, time.monotonic(), fastest)
            struct.pack_into("<q", self._page, 0, self._count)
