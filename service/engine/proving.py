"""Proves the record: every stream sealed as written, and every table as the journal, replayed from nothing, says.

One stream is held in memory at a time. What is proved is one unchanging picture of the database; others go on
writing meanwhile.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import islice
from typing import Any

from service.core.replay import (
    Difference,
    State,
    Told,
    differences,
    fold,
    last_late,
    said_differently,
    without_words,
)
from service.engine.desk import Moment
from service.engine.holds import FORGETTING
from service.store import proof, replayed, seals
from service.store.proof import Bad, Broken
from service.store.replayed import STATEMENTS, VALUES, Found, day_of
from service.store.seals import Kept

SHOWN = 100
"""Differences named one by one; the rest is counted."""


@dataclass
class Verdict:
    """What came of proving. `bad` are the first bad entries of broken streams, `wrong` names tables that differ,
    with the stream that says otherwise; `forgotten` counts personal values that are gone, `unknown` rows of an
    earlier form of the journal that no entry tells of. `head` is the newest one, `beyond` how many entries came
    after it.
    """

    streams: int = 0
    entries: int = 0
    head: Kept | None = None
    beyond: int = 0
    bad: list[Bad] = field(default_factory=list)
    wrong: list[tuple[str, Difference]] = field(default_factory=list)
    more: int = 0
    forgotten: int = 0
    unknown: int = 0

    @property
    def is_sound(self) -> bool:
        """Whether all is as it was written, and as it was written down."""
        return not self.bad and not self.wrong

    def add(self, stream: str, found: Iterator[Difference]) -> None:
        """Take in differences, as many as are shown."""
        room = SHOWN - len(self.wrong)
        self.wrong.extend((stream, difference) for difference in islice(found, max(0, room)))
        self.more += sum(1 for _ in found)


@dataclass
class _Whole:
    """What is gathered over all streams, to find rows that no stream tells of."""

    matched: Counter[str] = field(default_factory=Counter)
    missing: Counter[str] = field(default_factory=Counter)
    first_missing: dict[str, int] = field(default_factory=dict)
    redacted: Counter[str] = field(default_factory=Counter)
    is_old: bool = False
    new_from: datetime | None = None

    def see(self, stream: str, proved: proof.Proved) -> None:
        """Count the personal values of one entry."""
        self.matched[VALUES] += len(proved.words)
        if proved.forgotten:
            self.missing[stream] += proved.forgotten
            self.first_missing.setdefault(stream, proved.row["n"])

    def take(self, state: State, found: Found) -> None:
        for table in replayed.KINDS:
            implied: Mapping[str, Any] = getattr(state, table)
            self.matched[table] += sum(1 for id in implied if id in found.rows[table])
        self.matched[STATEMENTS] += sum(map(len, found.statements.values()))
        self.redacted += state.forgotten
        self.is_old |= state.is_old
        if state.new_from is not None:
            self.new_from = min(state.new_from, self.new_from or state.new_from)


def prove_all(m: Moment, kept: str | None = None) -> Verdict:
    """Prove every stream, every head, and that no row is without its entry. `kept`: a head that was kept elsewhere."""
    verdict, whole = Verdict(), _Whole()
    for stream in proof.all_streams(m.tx):
        _prove(m, stream, verdict, whole)
    _prove_heads(m, verdict, kept)
    if verdict.bad:
        return verdict
    for table in replayed.KINDS:
        if replayed.count(m.tx, table) != whole.matched[table]:
            _find_untold(m, table, verdict, whole)
    for table in (STATEMENTS, VALUES):
        beside = replayed.count(m.tx, table) - whole.matched[table]
        if beside:
            verdict.wrong.append(("", Difference(table, None, f"{beside} of them belong to nothing that is told of")))
    verdict.add("", _forgotten(verdict, whole, whole.missing.keys() | whole.redacted.keys()))
    return verdict


def _forgotten(verdict: Verdict, whole: _Whole, streams: Iterable[str]) -> Iterator[Difference]:
    """Personal values that are gone from a stream though no entry says that they were forgotten."""
    for stream in sorted(streams):
        verdict.forgotten += whole.missing[stream]
        if whole.missing[stream] != whole.redacted[stream]:
            gone, told = whole.missing[stream], whole.redacted[stream]
            what = f"{gone} personal values are gone, {told} were forgotten on record"
            yield Difference(stream, whole.first_missing.get(stream), what)


def _prove_heads(m: Moment, verdict: Verdict, kept: str | None) -> None:
    bad = seals.first_bad(m.tx, m.desk.journal)
    if bad is not None:
        verdict.bad += [bad] if bad.stream not in {b.stream for b in verdict.bad} else []
        return
    verdict.head = seals.last(m.tx)
    verdict.beyond = verdict.entries - (verdict.head.entries if verdict.head else 0)
    missing = seals.missing(m.tx, kept) if kept is not None else None
    if missing is not None:
        verdict.wrong.append(("", Difference(f"head {kept}", None, missing)))


def prove_some(m: Moment, school: str | None = None, on: date | None = None) -> Verdict:
    """Prove the streams of a school, of a date, or of one school's one day."""
    verdict, whole = Verdict(), _Whole()
    wanted = [
        stream
        for stream in proof.all_streams(m.tx)
        if (day := day_of(stream)) and school in (None, day[0]) and on in (None, day[1])
    ]
    for stream in wanted:
        _prove(m, stream, verdict, whole)
    # What was forgotten is told in a stream of its own. It counts here only as far as it tells of these days.
    beside = Verdict()
    _prove(m, FORGETTING, beside, whole)
    verdict.bad += beside.bad
    verdict.add("", _forgotten(verdict, whole, wanted))
    return verdict


def _prove(m: Moment, stream: str, verdict: Verdict, whole: _Whole) -> None:
    verdict.streams += 1
    state = State()
    try:
        for proved in proof.entries(m.desk.journal, m.tx, stream):
            verdict.entries += 1
            whole.see(stream, proved)
            fold(state, _told(proved))
    except Broken as broken:
        verdict.bad.append(broken.bad)
        return
    found = replayed.load(m.tx, stream, {table: getattr(state, table) for table in replayed.KINDS})
    whole.take(state, found)
    verdict.add(stream, _compare(state, found))


def _told(proved: proof.Proved) -> Told:
    row = proved.row
    cause, body = tuple(row["cause"]), row["body"]
    return Told(row["n"], row["at"], row["kind"], cause, row["actor"], body, proved.words)


def _compare(state: State, found: Found) -> Iterator[Difference]:
    for table in replayed.KINDS:
        yield from differences(getattr(state, table), found.rows[table], state.is_old)
    yield from _compare_said(state, found)
    yield from _compare_words(state, found)
    for id, known in sorted(state.messages.items()):
        if not known.values.get("cause", True):
            yield Difference(id, known.n, "it was put out without a cause")


def _compare_said(state: State, found: Found) -> Iterator[Difference]:
    for check in sorted({*state.statements, *found.statements}):
        said, kept = state.statements.get(check, []), found.statements.get(check, [])
        yield from said_differently(check, said, kept, state.is_old)
    if state.is_old:
        return
    for check, row in sorted(found.rows["checks"].items()):
        late = last_late(state.statements.get(check, []))
        if row["late"] != late:
            yield Difference(check, None, "the late answer beside it is not the one that was given")


def _compare_words(state: State, found: Found) -> Iterator[Difference]:
    for id, words in sorted(state.words.items()):
        if id in found.rows["inbox"] and found.rows["inbox"][id]["text"] != words:
            yield Difference(id, state.inbox[id].n, "its words are not those that were read")
    for id, known in sorted(state.notices.items()):
        row = found.rows["notices"].get(id)
        if row and "says" in known.values and without_words(row["body"]) != known.values["says"]:
            yield Difference(id, known.n, "it does not say what was given")


def _find_untold(m: Moment, table: str, verdict: Verdict, whole: _Whole) -> None:
    """Name the rows of a table that no stream tells of: every stream is read again for the ids it names."""
    told: set[str] = set()
    for stream in proof.all_streams(m.tx):
        state = State()
        for proved in proof.entries(m.desk.journal, m.tx, stream):
            fold(state, _told(proved))
        told |= getattr(state, table).keys()
    untold = ((id, when) for id, when in replayed.ids(m.tx, table) if id not in told)
    verdict.add("", _untold(untold, verdict, whole))


def _untold(
    rows: Iterator[tuple[str, date | datetime | None]], verdict: Verdict, whole: _Whole
) -> Iterator[Difference]:
    for id, when in rows:
        if whole.is_old and _is_before(when, whole.new_from):
            verdict.unknown += 1
        else:
            yield Difference(id, None, "it is in its table and not in the journal")


def _is_before(when: date | datetime | None, new_from: datetime | None) -> bool:
    """Whether a row is of the time of the earlier form."""
    if when is None or new_from is None:
        return when is not None
    return when < new_from if isinstance(when, datetime) else when <= new_from.date()
