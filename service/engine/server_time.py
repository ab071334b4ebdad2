"""Real time by the database server's clock, so that several instances agree on what is due."""

from datetime import datetime, timedelta

from service.engine.clock import wall_now
from service.store.base import Store

SAY_FROM = timedelta(seconds=2)
"""An instance whose own clock is further off than this says so."""

HOLD_FROM = timedelta(seconds=30)
"""One that is further off than this claims nothing: what else is wrong with that machine nobody knows."""


class ServerTime:
    """The machine's clock put right by the last measured distance from the server's."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.off = timedelta()

    def read(self) -> datetime:
        """The present instant as the server would say."""
        return wall_now() + self.off

    def measure(self) -> timedelta:
        """Look at the server's clock and say how far ahead of ours it is; on SQLite there is no other clock.

        Half the round trip is taken off. Raises `StoreError` where the server does not answer.
        """
        with self._store.reading() as tx:
            before = wall_now()
            theirs = self._store.database_now(tx)
            after = wall_now()
        if theirs is not None:
            self.off = theirs - (before + (after - before) / 2)
        return self.off
