"""Many rounds due at one instant, from planned to prompts ready to be sent, beside bare writing of the same rows.

By itself: `python -m tests.bench.bench_bell [--rounds 10000]`.
"""

import argparse
import gc
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from statistics import median
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from service.engine import planner, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk, bind
from service.setup import build
from service.store.base import Store
from service.store.tables import (
    AddresseeRow,
    ChaseRow,
    CheckRow,
    JournalHead,
    JournalRow,
    OutboxChase,
    OutboxRow,
    RoundRow,
    TrayRow,
    table_of,
)
from tests.bench.bench_planning import DAY
from tests.bench.figures import HEAD, RUNS, Figure
from tests.bench.large_districts import fresh
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk

ROUNDS, ROOMS, CHILDREN = 10_000, 25, 3
BATCH = 100
"""Rounds written in one commit of the limit."""

INSERTED = (ChaseRow, TrayRow, OutboxRow, OutboxChase, AddresseeRow, JournalRow)
CHANGED = {RoundRow: ("state", "asked_at"), CheckRow: ("state",)}

Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Took:
    """Seconds by the clock on the wall, and of processor."""

    wall: float
    cpu: float


class Watch:
    """Measures from when it is made."""

    def __init__(self) -> None:
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def took(self) -> Took:
        return Took(time.perf_counter() - self._wall, time.process_time() - self._cpu)


def planned(store: Store, book: Desk) -> Desk:
    """A desk whose day is planned, just before the bell."""
    desk = open_desk(store, SteppedClock(at("07:00")))
    desk._book = book._book
    planner.plan_all(desk, DAY)
    return desk


@contextmanager
def as_served() -> Iterator[None]:
    """With what lives long out of the collector's way, as `serve` puts it when it begins."""
    gc.collect()
    gc.freeze()
    yield
    gc.unfreeze()


def ours(book: Desk, rounds: int) -> tuple[Took, Rows, Rows]:
    """What it took to lay all prompts out, and the rows before and after."""
    with fresh() as store:
        desk = planned(store, book)
        before = rows_of(store)
        with as_served():
            watch = Watch()
            running.run_due(desk, at("08:05"))
            took = watch.took()
        after = rows_of(store)
        if len(after["outbox"]) != rounds:
            raise AssertionError(f"{len(after['outbox'])} prompts of {rounds} rounds")
        return took, before, after


def rows_of(store: Store) -> Rows:
    """Every row of the tables that a bell touches, in the order of their keys."""
    tables = [table_of(model) for model in (*CHANGED, *INSERTED, JournalHead)]
    with store.reading() as tx:
        return {
            table.name: [dict(row) for row in tx.connection().execute(ordered).mappings()]
            for table in tables
            for ordered in [select(table).order_by(*table.primary_key)]
        }


def bare(before: Rows, after: Rows, rounds: int) -> Took:
    """What it takes to write what changed, and nothing else, with ready values."""
    batches = -(-rounds // BATCH)
    old = {(row["stream"], row["n"]) for row in before["journal"]}
    new = {**after, "journal": [row for row in after["journal"] if (row["stream"], row["n"]) not in old]}
    with fresh() as store:
        with store.transaction() as tx:
            for model in (*CHANGED, JournalRow, JournalHead):
                table = table_of(model)
                tx.connection().execute(insert(table), before[table.name])
        with as_served():
            watch = Watch()
            for n in range(batches):
                with store.transaction() as tx:
                    _write(tx.connection(), {name: _part(rows, n, batches) for name, rows in new.items()})
            return watch.took()


def _part(rows: list[dict[str, Any]], n: int, of: int) -> list[dict[str, Any]]:
    return rows[len(rows) * n // of : len(rows) * (n + 1) // of]


def _write(connection: Connection, rows: Rows) -> None:
    for model, columns in CHANGED.items():
        table = table_of(model)
        named = update(table).where(table.c.id == bindparam("row_id"))
        changed = named.values({name: bindparam(name) for name in columns})
        values = [{name: row[name] for name in columns} | {"row_id": row["id"]} for row in rows[table.name]]
        connection.execute(changed, values)
    for model in INSERTED:
        if rows[table_of(model).name]:
            connection.execute(insert(table_of(model)), rows[table_of(model).name])
    heads = table_of(JournalHead)
    ends = {row["stream"]: row for row in rows["journal"]}
    moved = update(heads).where(heads.c.stream == bindparam("of")).values(n=bindparam("to"), seal=bindparam("by"))
    connection.execute(moved, [{"of": s, "to": row["n"], "by": row["seal"]} for s, row in ends.items()])


def figures(rounds: int = ROUNDS) -> Iterator[Figure]:
    with fresh() as store:
        book = open_desk(store, SteppedClock(at("07:00")))
        book._book = bind(build(district(max(1, rounds // ROOMS), ROOMS, CHILDREN)), 0)
    rounds = max(1, rounds // ROOMS) * ROOMS
    pairs: list[tuple[Took, Took]] = []
    for _ in range(RUNS):
        own, before, after = ours(book, rounds)
        pairs.append((bare(before, after, rounds), own))
    name = f"{rounds:,} rounds of {CHILDREN} due at one bell"
    limit, own = (median(took.wall for took in column) for column in zip(*pairs, strict=True))
    yield Figure(f"{name}, prompts laid out", "the same rows, bare", rounds / limit, rounds / own, "rounds/s")
    limit, own = (median(took.cpu for took in column) for column in zip(*pairs, strict=True))
    yield Figure(
        "the same, for one round", "the same rows, bare", limit / rounds * 1e6, own / rounds * 1e6, "µs of CPU"
    )


def main() -> None:
    """Print the figures of the bell alone."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=ROUNDS)
    print(HEAD, flush=True)
    for figure in figures(parser.parse_args().rounds):
        print(figure, flush=True)


if __name__ == "__main__":
    main()
