"""`bellcheck record` on a desk whose clock stands on a Monday, with tomorrow planned already."""

import io
import json
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from service.engine import commands
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store.base import Store
from service.verbs import record
from service.verbs.speaking import Out
from tests.engine.engine_district import district
from tests.engine.engine_morning import at, open_desk


@pytest.fixture
def monday(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    desk = open_desk(Store(f"sqlite:///{tmp_path / 'b.db'}"), SteppedClock(at("12:00")))
    desk.store.upgrade()
    commands.configure(desk, district(), "test")

    @contextmanager
    def opened(*, moved_too: bool) -> Iterator[Desk]:
        assert moved_too
        yield desk

    monkeypatch.setattr(record, "desk_open", opened)
    yield desk
    desk.store.close()


def days(*more: str) -> set[str]:
    """The dates that the record lists."""
    text = io.StringIO()
    parser = ArgumentParser()
    record.arguments(parser)
    assert record.run(parser.parse_args(["--json", *more]), Out(text)) == 0
    return {line["date"] for line in json.loads(text.getvalue())}


@pytest.mark.usefixtures("monday")
def test_without_dates_it_ends_today() -> None:
    assert days() == {"2026-10-05"}
    assert days("--from", "2026-10-01") == {"2026-10-05"}


@pytest.mark.usefixtures("monday")
def test_a_day_to_come_is_listed_where_it_is_asked_for() -> None:
    assert days("--to", "2026-10-06") == {"2026-10-05", "2026-10-06"}
    assert days("--from", "2026-10-06") == {"2026-10-06"}
