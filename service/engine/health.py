"""Whether the service is well, judged from the database alone, so that a watchdog needs no page."""

from dataclasses import dataclass
from datetime import timedelta

from service.engine.desk import Moment
from service.engine.expected import missing
from service.engine.held import HEARTBEAT, held, say
from service.engine.server_time import SAY_FROM
from service.engine.stumbling import TROUBLE
from service.store import inbox, marks, outbox

SILENT_AFTER = timedelta(seconds=90)
"""The heartbeat comes every 20 seconds; after this long without one nobody is serving."""

STUCK_AFTER = timedelta(minutes=2)
"""A message that has been due for this long is not leaving (invariant 2 gives delivery two minutes)."""

MAILBOX = "mailbox-trouble/"
"""The marks of mailboxes that cannot be read."""

NOT_HEARD = "the heartbeat does not reach its monitor: {}"

TOLD_FOR = timedelta(hours=1)
"""How long a task that failed is told of after it last did."""


@dataclass(frozen=True)
class Health:
    """What is wrong, nothing where all is well, a few figures, and what is worth knowing though nothing is wrong."""

    wrongs: tuple[str, ...]
    seconds_since_heartbeat: int | None
    oldest_unsent_seconds: int
    notes: tuple[str, ...] = ()

    @property
    def is_well(self) -> bool:
        """Whether nothing is wrong."""
        return not self.wrongs

    def __str__(self) -> str:
        if self.wrongs:
            return "not well: " + "; ".join((*self.wrongs, *self.notes))
        return "; ".join((f"well: heartbeat {self.seconds_since_heartbeat} s ago, nothing is stuck", *self.notes))


def health(m: Moment) -> Health:
    """How the service is at this moment."""
    wrongs: list[str] = []
    beat = marks.get(m.tx, HEARTBEAT)
    age = int((m.now - beat.at).total_seconds()) if beat is not None and beat.at is not None else None
    if age is None:
        wrongs.append("it has never run on this database; start `bellcheck serve`")
    elif age > SILENT_AFTER.total_seconds():
        wrongs.append(f"no heartbeat for {age} s; look whether `bellcheck serve` runs, and start it")
    if beat is not None and beat.body.get("trouble"):
        wrongs.append(f"its last pass failed: {beat.body['trouble']}")
    off = beat.body.get("clock_off", 0) if beat is not None else 0
    if off > SAY_FROM.total_seconds():
        wrongs.append(f"its machine's clock is {off:.0f} s off that of the database; set it right")
    wrongs += [
        f"the mailbox of channel {mark.key.removeprefix(MAILBOX)} is not read: {mark.body.get('why')}"
        for mark in marks.with_prefix(m.tx, MAILBOX)
        if mark.at is not None and m.now - mark.at > STUCK_AFTER
    ]
    state = held(m.tx)
    due = None if state else outbox.next_at(m.tx)
    unsent = max(0, int((m.now - due).total_seconds())) if due is not None else 0
    if unsent > STUCK_AFTER.total_seconds():
        wrongs.append(f"a message has been due for {unsent} s and does not leave; run `bellcheck preflight`")
    unread = None if state else inbox.oldest_unread(m.tx)
    if unread is not None and m.now - unread > STUCK_AFTER:
        wrongs.append("a reply has not been read for over two minutes; restart the service")
    failed = [k for k in marks.with_prefix(m.tx, TROUBLE) if k.at is not None and m.now - k.at < TOLD_FOR]
    if failed:
        wrongs.append(f"{len(failed)} of its tasks failed and wait; the log says where ({failed[0].key})")
    wrongs += [str(each) for each in missing(m)]
    if state is not None:
        wrongs.append(say(state))
    monitor = beat.body.get("monitor") if beat is not None else None
    notes = (NOT_HEARD.format(monitor),) if monitor else ()
    return Health(tuple(wrongs), age, unsent, notes)
