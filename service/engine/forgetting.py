"""Forgets what identifies a child: on leaving, or when a record is old enough. What happened stays, and stays proved.

Done in slices, each a transaction of its own with its own entry in the journal, so that it can be broken off at any
moment and begun again; whatever tells where the rest is to be found (names in checks, the configuration) goes last.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field

from service.engine import holds
from service.engine.desk import Desk, Moment
from service.store import forgetting as rows
from service.store import journal
from service.store.forgetting import FORGOTTEN, Names
from service.store.tables import InboxRow, NoticeRow, OutboxRow, ServiceMark

WHAT = ("checks", "received", "sent", "notices", "corrections", "entries", "values")
"""What is counted, in the order in which it is shown."""


class Refused(Exception):
    """Nothing may be forgotten now; the message says why, and what would have to be done first."""


class _OnlyCounted(Exception):
    """Leaves a transaction without doing anything."""


@dataclass
class Forgotten:
    """How many rows of each kind lost what identified somebody, and how many personal values of each stream."""

    counts: Counter[str] = field(default_factory=Counter)
    values: Counter[str] = field(default_factory=Counter)


@dataclass
class Work:
    """One run: `id` says for whom or until when. Unless `really`, everything is found and counted, and stays."""

    desk: Desk
    id: str
    by: str
    really: bool
    done: Counter[str] = field(default_factory=Counter)
    seen: set[str] = field(default_factory=set)

    def slice(self, do: Callable[[Moment, Forgotten], None]) -> None:
        """Do one part in a transaction of its own, and note what it took out."""
        taken = Forgotten()
        with suppress(_OnlyCounted), self.desk.moment() as m:
            do(m, taken)
            taken.counts["values"] = taken.values.total()
            if not self.really:
                raise _OnlyCounted
            _note(m, self, taken)
        self.done += taken.counts

    def forget(self, m: Moment, taken: Forgotten, digests: Mapping[str, str]) -> None:
        """Remove personal values, each given with its stream."""
        fresh = {digest: stream for digest, stream in digests.items() if digest not in self.seen}
        self.seen |= fresh.keys()
        journal.forget(m.tx, fresh)
        taken.values.update(fresh.values())


def _note(m: Moment, work: Work, taken: Forgotten) -> None:
    counts = dict(sorted((+taken.counts).items()))
    if counts:
        values = dict(sorted(taken.values.items()))
        m.note(holds.FORGETTING, "forgotten", work.id, [], work.by, counts=counts, values=values)


def blank_sent(row: OutboxRow, taken: Forgotten, *, address: bool) -> None:
    """Take the words out of a message that was sent, and where it went."""
    there = (row.text, row.subject, row.lock_line)
    if there != (FORGOTTEN,) * 3 or (address and row.address):
        row.text = row.subject = row.lock_line = FORGOTTEN
        if address:
            row.address = ""
            row.body = {**row.body, "ways": [[channel, ""] for channel, _ in row.body.get("ways", ())]}
        taken.counts["sent"] += 1


def unname_sent(row: OutboxRow, names: Names, taken: Forgotten) -> None:
    """Take out of a message to which others have a right the lines that name the child."""
    text, subject = names.lines_out_of(row.text), names.lines_out_of(row.subject)
    if (text, subject) != (row.text, row.subject):
        row.text, row.subject = text, subject
        taken.counts["sent"] += 1


def blank_received(row: InboxRow, taken: Forgotten, *, address: bool) -> None:
    """Take out what somebody wrote, and from where."""
    if row.text not in ("", FORGOTTEN) or (address and row.address):
        row.text = row.text and FORGOTTEN
        row.address = "" if address else row.address
        taken.counts["received"] += 1


def unname_received(row: InboxRow, names: Names, taken: Forgotten) -> bool:
    """Take the child's names out of what somebody wrote of several; says whether there were any."""
    text = names.out_of(row.text)
    if text == row.text:
        return False
    row.text = text
    taken.counts["received"] += 1
    return True


def reword(row: NoticeRow, text: str, taken: Forgotten) -> None:
    """Put other words into a notice."""
    if row.body.get("text", "") != text:
        row.body = {**row.body, "text": text}
        taken.counts["notices"] += 1


def reword_correction(row: ServiceMark, text: str, taken: Forgotten) -> None:
    """Put other words into what a checker said is different."""
    if row.body["words"] != text:
        row.body = {**row.body, "words": text}
        taken.counts["corrections"] += 1


def empty_entries(m: Moment, section: str, ids: Iterable[str], taken: Forgotten) -> None:
    """Empty entries of the configuration that are out of force; their ids stay."""
    for id in ids:
        row = rows.entry(m.tx, section, id)
        if row is not None and row.removed_at is not None and row.body:
            row.body = {}
            taken.counts["entries"] += 1
