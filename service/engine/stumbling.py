"""One thing that fails must not stop the others: it is written to the log, marked, and tried again a little later."""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TypeVar

from service.engine.desk import Desk, Moment, NotSetUp
from service.engine.trouble import place_of
from service.store import marks
from service.store.errors import StoreError

AGAIN = timedelta(minutes=1)
"""When what failed is tried again."""

TROUBLE = "trouble/"
"""The marks under which health finds what failed."""

OURS = (StoreError, NotSetUp, OSError)
"""What the whole pass must stop for: the database, the configuration or the machine fails, not one thing."""

log = logging.getLogger(__name__)

T = TypeVar("T")


def guarded(
    desk: Desk, now: datetime, what: str, do: Callable[[], int], later: Callable[[Moment], None]
) -> int:
    """Do one thing. Where it fails for a reason nobody foresaw, `later` moves it on and it is marked."""
    try:
        return do()
    except OURS:
        raise
    except Exception as failure:
        place = place_of(failure)
        log.error("%s failed and is tried again later: %s", what, place)
        with desk.moment(now) as m:
            later(m)
            marks.set(m.tx, TROUBLE + what, m.now, {"place": place})
        return 0


def beside(m: Moment, what: str, find: Callable[[], T], otherwise: T) -> T:
    """What `find` finds, which writes nothing; `otherwise`, and marked, where it fails for a reason nobody foresaw:
    what it stands beside, somebody's words, is not to wait for it.
    """
    try:
        return find()
    except OURS:
        raise
    except Exception as failure:
        place = place_of(failure)
        log.error("%s failed and is left out: %s", what, place)
        marks.set(m.tx, TROUBLE + what, m.now, {"place": place})
        return otherwise
