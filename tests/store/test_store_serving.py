"""One serving process per SQLite file."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from service.store.base import AlreadyServing, DatabaseUnreachable, Store, serving_lock

HOLD = """
import sys, time
from service.store.base import Store, serving_lock
with serving_lock(Store(sys.argv[1])):
    print("serving", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def address(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'bellcheck.db'}"


def serving_process(address: str) -> "subprocess.Popen[str]":
    root = Path(__file__).parents[2]
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, address], cwd=root, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout.readline() == "serving\n"
    return process


def test_a_second_serving_process_is_refused_and_told_who_holds_it(address: str) -> None:
    with serving_process(address) as first:
        try:
            refusal = rf"number {first.pid}\) already serves"
            with pytest.raises(AlreadyServing, match=refusal), serving_lock(Store(address)):
                pass
        finally:
            os.kill(first.pid, signal.SIGKILL)


def test_a_process_that_was_killed_leaves_nothing_to_clean_up(address: str) -> None:
    with serving_process(address) as first:
        os.kill(first.pid, signal.SIGKILL)
        first.wait(10)
    with serving_lock(Store(address)):
        pass


def test_the_right_to_serve_is_given_back_at_the_end(address: str) -> None:
    for _ in range(2):
        with serving_lock(Store(address)), pytest.raises(AlreadyServing), serving_lock(Store(address)):
            pass


def test_other_commands_may_open_the_file_beside_the_serving_process(address: str) -> None:
    store = Store(address)
    with serving_lock(store):
        beside = Store(address)
        beside.upgrade()
        beside.check_version()
        beside.close()
    store.close()


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    store = Store(f"sqlite:///{tmp_path / 'nowhere' / 'bellcheck.db'}")
    with pytest.raises(DatabaseUnreachable, match="nowhere"), serving_lock(store):
        pass


@pytest.mark.postgres
def test_postgresql_takes_any_number(postgresql_url: str) -> None:
    with serving_lock(Store(postgresql_url)), serving_lock(Store(postgresql_url)):
        pass


def test_in_memory_there_is_nobody_to_shut_out() -> None:
    with serving_lock(Store("sqlite://")), serving_lock(Store("sqlite://")):
        pass
