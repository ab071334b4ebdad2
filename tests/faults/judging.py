"""What must hold of a morning however it was broken into, read from the database and from what the receiver kept."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sqlmodel import col, select

from service.store.base import Store
from service.store.tables import ChaseRow, InboxRow, TrayRow
from tests.cli.cli_run import environment
from tests.cli.cli_run import here as bellcheck
from tests.engine.engine_morning import DAY, at, messages, results, told
from tests.faults import town
from tests.faults.instance import KEY
from tests.faults.morning import STOP_SECONDS, World
from tests.faults.story import story

TELLS = ("prompt", "reminder", "second", "alert")
"""What is told of an open chase; besides what must be, an outage may lead to more: a limit ran out meanwhile."""

A_PASS = timedelta(minutes=2)
"""A pass has one instant from its beginning to its end, so another's deeds may bear a later one."""


@dataclass(frozen=True)
class Ended:
    """What is left of a morning that came to its end."""

    results: Mapping[str, str | None]
    told: frozenset[str]
    wrong: list[str] = field(default_factory=list)
    again: int = 0
    stories: Mapping[str, Sequence[str]] = field(default_factory=dict)
    """What came of the checks that did not end as they should."""

    @property
    def besides(self) -> list[str]:
        """Who was told though they need not have been, had nothing failed."""
        return sorted(self.told - town.ends()[1])


def judged(world: World) -> Ended:
    """How a morning ended, and what is wrong with it by itself."""
    store = world.desk.store
    held = {c: r for c, r in results(store).items() if DAY in c}
    wrong = [*world.outside.wrong, *world.outside.never_heard()]
    wrong += [*_stops(world), *_outbox(world), *_alerts_twice(world), *_told(store), *_inbox(world)]
    wrong += [*_journal(world), *_logs(world)]
    arrived = Counter(a.id for a in world.outside.arrivals)
    stories = {check: story(world, check) for check, _, _ in _astray(held)}
    return Ended(held, frozenset(told(store, TELLS)), wrong, arrived.total() - len(arrived), stories)


def wrongs(ended: Ended) -> list[str]:
    """All that is wrong with a morning: by itself, and beside what must come of it."""
    wrong = list(ended.wrong)
    for check, result, due in _astray(ended.results):
        wrong.append(f"{check} is {result}; it should be {due}")
        wrong += [f"    {line}" for line in ended.stories.get(check, ())]
    return wrong + [f"{key} was never told" for key in sorted(town.ends()[1] - ended.told)]


def _astray(results: Mapping[str, str | None]) -> Iterable[tuple[str, str | None, str | None]]:
    """The checks that did not end as they should: which, how it ended, how it should have."""
    due = town.ends()[0]
    for check in sorted(results.keys() | due.keys()):
        if results.get(check) != due.get(check):
            yield check, results.get(check), due.get(check)


def _stops(world: World) -> Iterable[str]:
    for took, code in world.stops:
        if code != 0 or took > STOP_SECONDS:
            yield f"an instance told to stop took {took:.1f} s and ended with {code}"


def _outbox(world: World) -> Iterable[str]:
    sent = messages(world.desk.store)
    arrived = Counter(a.id for a in world.outside.arrivals)
    for m in sent:
        if m.state not in ("accepted", "dropped", "refused", "timed_out"):
            yield f"{m.id} to {m.person} is stuck: {m.state}, attempts {m.attempts}"
        if m.state == "accepted" and not arrived[m.id]:
            yield f"{m.id} to {m.person} counts as accepted and never arrived"
    if len({m.key for m in sent}) != len(sent):
        yield "a key was used twice"
    for id in arrived.keys() - {m.id for m in sent}:
        yield f"{id} arrived and is not in the outbox"


def _alerts_twice(world: World) -> Iterable[str]:
    """Invariant 3, by what arrived: nobody is alerted twice of a chase, whatever the messages' ids."""
    arrived = {a.id for a in world.outside.arrivals}
    alerts: Counter[tuple[str, str]] = Counter()
    with world.desk.store.reading() as tx:
        laid = {row.key: row for row in tx.exec(select(TrayRow).where(TrayRow.purpose == "alert"))}
    for row in laid.values():
        if row.outbox_id in arrived and row.generation == 1:
            alerts[row.chase_id, row.person] += 1
    for (chase, person), times in alerts.items():
        if times > 1:
            yield f"{person} was alerted {times} times of {chase}"


def _told(store: Store) -> Iterable[str]:
    """Nothing lies in a tray for ever, and nothing is told of a chase that has ended."""
    with store.reading() as tx:
        ended = {row.id: row.ended_at for row in tx.exec(select(ChaseRow))}
        laid = list(tx.exec(select(TrayRow).where(col(TrayRow.dropped).is_(None))))
    for row in laid:
        if row.outbox_id is None and row.not_before <= at(town.END):
            yield f"{row.key} still lies in the tray"
        over, laid_at = ended.get(row.chase_id), datetime.fromisoformat(row.body["laid"])
        if row.purpose in ("second", "alert") and over is not None and laid_at - over > A_PASS:
            yield f"{row.key} was told after its chase had ended"


def _inbox(world: World) -> Iterable[str]:
    with world.desk.store.reading() as tx:
        held = [(row.external_id, row.state) for row in tx.exec(select(InboxRow))]
    for id in world.outside.acknowledged:
        states = [state for external, state in held if external == id or external.endswith(f"/{id}")]
        if states != ["read"]:
            yield f"{id} was acknowledged and is {states or 'nowhere'}"


def _logs(world: World) -> Iterable[str]:
    """The log says in one line what failed; a trace means that nobody foresaw it."""
    for handle in world.handles:
        said = handle.orders.log.read_text() if handle.orders.log.exists() else ""
        for part in said.split("Traceback (most recent call last)")[1:]:
            yield f"instance {handle.orders.number} logged a trace: {part.strip().splitlines()[-1]}"


def _journal(world: World) -> Iterable[str]:
    ran = bellcheck("verify", env={**environment(), "BELLCHECK_DB": world.site.database, "BELLCHECK_KEY": KEY.decode()})
    if ran.code:
        yield f"verify said: {ran.out.strip()} {ran.err.strip()}"
