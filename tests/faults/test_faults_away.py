"""A service that was away: for a week, or put back to a backup. What it says and sends when it is there again."""

import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import col, select

from service.engine import held, releasing
from service.engine.desk import Desk
from service.store import copies
from service.store.tables import CheckRow
from tests.cli.cli_run import environment
from tests.cli.cli_run import here as bellcheck
from tests.engine.engine_morning import DAY, at
from tests.faults import town
from tests.faults.instance import KEY
from tests.faults.morning import World, here, sqlite_database
from tests.faults.outside import Arrival

SLOWLY = 4.0
QUIET = 3.0
"""Real seconds in which nothing arrives are taken for silence."""

ASKING = ("prompt", "reminder", "second")
START_SECONDS = 5.0


@pytest.fixture
def morning(tmp_path: Path) -> Iterator[World]:
    """Real instances in a morning in which everybody was asked; one reported an emergency, one a sore ear."""
    with sqlite_database(tmp_path) as database, World(tmp_path, here(database, 1)) as made:
        made.play(at("08:07"))
        made.clock.stand()
        yield made


def came(world: World, known: int, seconds: float = QUIET) -> list[Arrival]:
    """What has arrived since so many arrivals were known, once nothing more comes."""
    seen = len(world.outside.arrivals)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if len(world.outside.arrivals) > seen:
            seen, end = len(world.outside.arrivals), time.monotonic() + seconds
        time.sleep(0.05)
    return world.outside.arrivals[known:]


def open_results(desk: Desk, day: str = DAY) -> list[str]:
    """The checks of a day that have no result."""
    with desk.store.reading() as tx:
        rows = tx.exec(select(CheckRow).where(col(CheckRow.date) == day))
        return [row.id for row in rows if row.result is None]


@pytest.mark.slow
def test_after_a_week_away_it_is_ready_within_seconds_and_asks_nobody_about_days_that_are_over(
    morning: World,
) -> None:
    (handle,) = morning.handles
    handle.kill()
    morning.clock.move_to(at("07:00") + timedelta(days=7))
    known = len(morning.outside.arrivals)

    handle.start()
    handle.wait_ready()
    ready = processor_seconds(handle.process.pid if handle.process else None)
    morning.clock.run(SLOWLY)
    arrived = came(morning, known)

    assert ready < START_SECONDS
    assert [a for a in arrived if a.purpose in ASKING] == []
    for person in {a.person for a in arrived}:
        ids = [a.id for a in arrived if a.person == person]
        assert len(ids) == len(set(ids))
    assert open_results(morning.desk) == []


def processor_seconds(pid: int | None) -> float:
    """What a process has used of the processor: a busy machine makes nobody late."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / 100


@pytest.mark.slow
def test_put_back_to_a_backup_it_lists_what_nobody_knows_and_sends_only_by_somebodys_word(
    morning: World, tmp_path: Path
) -> None:
    (handle,) = morning.handles
    database = tmp_path / "morning.db"
    copies.copy(database, tmp_path / "backup.db")
    copied = morning.clock.now()
    morning.play(at("08:17"))
    morning.clock.stand()
    handle.kill()
    morning.desk.store.close()
    for file in (database, *(database.with_name(database.name + end) for end in ("-wal", "-shm"))):
        file.unlink(missing_ok=True)
    (tmp_path / "backup.db").rename(database)
    known = len(morning.outside.arrivals)

    handle.start()
    handle.wait_said("held since")
    morning.clock.run(SLOWLY)
    assert came(morning, known) == []

    with morning.desk.glance() as m:
        state = held.held(m.tx)
        assert state is not None
        assert state.since is not None
        assert at(town.BEGIN) <= state.since <= copied < at("08:17") <= state.until
        listed = list(releasing.unknown(m, state).lines(m))
    assert [line for line in listed if "birch" in line and "may have been answered" in line]
    releasing.release(morning.desk, send=True, by="ash-coordinator")
    handle.wait_ready()
    morning.play(morning.clock.now() + timedelta(minutes=4))
    arrived = morning.outside.arrivals[known:]

    assert {a.person for a in arrived if a.purpose == "alert"} >= {"birch-second0", "birch-second1"}
    ids = [a.id for a in arrived]
    assert len(ids) == len(set(ids))
    ran = bellcheck("verify", env={**environment(database), "BELLCHECK_KEY": KEY.decode()})
    assert ran.code == 0, ran.out
