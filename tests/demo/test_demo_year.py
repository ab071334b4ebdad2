"""The demo year: its district, what is planted, and a fortnight of one school lived through the real engine."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from service.core.reading import Result
from service.demo.year.calendar import calendar, last_over
from service.demo.year.folder import DATABASE, NotEmpty, live
from service.demo.year.nature import Nature
from service.demo.year.places import SECRET, children, documents
from service.demo.year.troubles import (
    AIDE_LEFT,
    BAD_CELLS,
    NEVER_ANSWERS,
    NOT_LOOKING,
    PLANTED,
    SLIPS,
    WEAK_CABLE,
    Trouble,
)
from service.engine import patterns, proving
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.settings import read_settings
from service.setup import export, load
from service.store import sightings
from service.store.base import Store
from service.store.journal import Journal
from tests.engine.engine_morning import at
from tests.year.counted import Year

AUTUMN = 2025
SCHOOLS = ("Cinder Hill",)
FIRST, LAST = date(2026, 1, 21), date(2026, 1, 30)
"""Three ordinary days, three of snow, a late start and a Friday; the aide has left long since."""

TROUBLED = ("Peel Lane", "Fallow End", "Cinder Hill", "Otter Ford")


def a_fortnight() -> Nature:
    return Nature(12, AUTUMN, PLANTED, SCHOOLS)


def in_any_order(held: Any) -> Any:
    return {key: Counter(each) for key, each in held.items()} if isinstance(held, dict) else held


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("year") / "made"
    live(folder, a_fortnight(), FIRST, LAST, lambda _: None)
    return folder


@pytest.fixture
def desk(lived: Path) -> Iterator[Desk]:
    key = read_settings({"BELLCHECK_SECRETS": str(lived / "secrets")}).key
    store = Store(f"sqlite:///{lived / DATABASE}")
    yield Desk(store, SteppedClock(at("08:00", "2026-02-02")), Journal(key), key, "reader")
    store.close()


class TestTheYear:
    def test_it_has_the_school_days_of_a_usual_year_and_a_week_of_snow(self) -> None:
        year = calendar(AUTUMN)
        days = list(year.days())
        assert 172 <= len(days) <= 180
        assert date(2026, 1, 14) in days
        assert len(year.snow) == 3
        assert not set(year.snow) & set(days)
        assert year.thaw in days

    @pytest.mark.parametrize("autumn", range(2024, 2031))
    def test_every_trouble_begins_within_the_year_that_it_is_planted_into(self, autumn: int) -> None:
        year = calendar(autumn)
        for trouble in PLANTED:
            assert any(trouble.holds(autumn, day) for day in year.days()), trouble
        assert not any(PLANTED[0].holds(autumn, day) for day in year.days() if day.year == autumn)

    def test_the_year_that_is_lived_by_default_is_over(self) -> None:
        assert last_over(date(2026, 11, 25)) == 2025
        assert last_over(date(2026, 5, 20)) == 2024
        assert last_over(date(2026, 6, 20)) == 2025


class TestTheDistrict:
    def test_it_is_as_large_as_was_promised_and_passes_its_own_check(self, tmp_path: Path) -> None:
        export(documents(calendar(AUTUMN)), tmp_path)
        loaded = load(tmp_path, {SECRET: "whsec_" + "x" * 40})
        assert loaded.problems == ()
        assert loaded.district is not None
        assert (len(loaded.district.schools), len(loaded.district.students)) == (12, 180)

    def test_no_two_adults_share_a_name(self, lived: Path) -> None:
        people = load(lived / "config", {}).documents["people"]
        names = [str(person["name"]) for person in people.values()]
        assert len(names) == len(set(names))

    def test_a_folder_that_holds_anything_is_left_alone(self, lived: Path) -> None:
        before = sorted(lived.iterdir())
        with pytest.raises(NotEmpty, match="give a folder that is empty"):
            live(lived, a_fortnight(), FIRST, FIRST, lambda _: None)
        assert sorted(lived.iterdir()) == before

    def test_the_secrets_are_for_their_owner_alone_and_outside_the_configuration(self, lived: Path) -> None:
        assert (lived / "secrets").stat().st_mode & 0o077 == 0
        assert (lived / DATABASE).stat().st_mode & 0o077 == 0
        held = read_settings({"BELLCHECK_SECRETS": str(lived / "secrets")}, lived / "config")
        assert held.database.endswith(DATABASE)
        assert held.board_key


class TestWhatIsPlanted:
    def test_a_seed_is_one_year_whoever_asks_in_whatever_order(self) -> None:
        one, other = Nature(5, AUTUMN), Nature(5, AUTUMN)
        asked = [(child.id, day) for child in children()[:20] for day in one.days]
        assert [one.truth(*each) for each in asked] == [other.truth(*each) for each in reversed(asked)][::-1]
        assert any(Nature(6, AUTUMN).truth(*each) != one.truth(*each) for each in asked)

    @pytest.mark.parametrize("trouble", PLANTED, ids=lambda trouble: trouble.what)
    def test_a_trouble_changes_whom_it_is_about_from_its_day_on_and_nothing_else(self, trouble: Trouble) -> None:
        clean, planted = Nature(2, AUTUMN, (), TROUBLED), Nature(2, AUTUMN, (trouble,), TROUBLED)
        days = clean.days[::5]
        meant = {
            SLIPS: lambda child: child.id == trouble.subject,
            BAD_CELLS: lambda child: child.shelf == trouble.subject,
            WEAK_CABLE: lambda child: child.cable == trouble.subject,
        }.get(trouble.what, lambda _: False)
        for child in clean.children.values():
            changed = [day for day in clean.days if clean.truth(child.id, day) != planted.truth(child.id, day)]
            assert not changed or meant(child)
            assert all(trouble.holds(AUTUMN, day) for day in changed)
        adults = {child.checker: child.school for child in clean.children.values()}
        silent = [
            (person, day)
            for person, school in adults.items()
            for day in days
            if clean.answers(person, "second", school, day) != planted.answers(person, "second", school, day)
        ]
        assert bool(silent) == (trouble.what in (AIDE_LEFT, NEVER_ANSWERS))
        assert all(trouble.subject in person for person, _ in silent)

    def test_who_does_not_look_sees_next_to_nothing(self) -> None:
        nature = Nature(2, AUTUMN)
        seen = [nature.sees("sedge-common-r2", "sedge-common-06", day) for day in nature.days]
        others = [nature.sees("sedge-common-r1", "sedge-common-01", day) for day in nature.days]
        assert sum(seen) < 0.25 * len(seen)
        assert sum(others) > 0.9 * len(others)
        assert any(trouble.what == NOT_LOOKING for trouble in PLANTED)


class TestAFortnightLived:
    def test_every_check_ends_as_the_year_has_it(self, desk: Desk) -> None:
        """The engine, asked and answered in words, against a reckoning without it (`tests/year/counted.py`)."""
        with desk.glance() as m:
            rows = sightings.checks(m.tx, FIRST, LAST)
        engine = {
            (row.date, row.student, "visit" in row.id): (row.result, [fault["code"] for fault in row.faults])
            for row in rows
            if row.date not in calendar(AUTUMN).snow
        }
        counted = {}
        for one in Year(a_fortnight()).live(FIRST, LAST).checks:
            result = Result.UNANSWERED if one.heard is None else Result.FIXED if one.heard.fixed else one.heard.result
            code = one.heard.code if one.heard else None
            counted[one.day, one.child, one.visit] = (result.value, [code] if code else [])
        assert engine.keys() == counted.keys()
        assert {key: (engine[key], held) for key, held in counted.items() if engine[key] != held} == {}
        assert {result for result, _ in engine.values()} == {"working", "fixed", "fault", "away", "unanswered"}

    def test_patterns_are_looked_for_in_the_same_things(self, desk: Desk) -> None:
        with desk.glance() as m:
            engine = patterns.record(m, FIRST, LAST, otherwise=True)
        counted = Year(a_fortnight()).live(FIRST, LAST).record()
        for field in fields(patterns.Record):
            assert in_any_order(getattr(engine, field.name)) == in_any_order(getattr(counted, field.name)), field.name

    def test_nobody_is_asked_on_a_day_of_snow(self, desk: Desk) -> None:
        with desk.glance() as m:
            held = sightings.checks(m.tx, FIRST, LAST)
        assert {row.result for row in held if row.date in calendar(AUTUMN).snow} == {Result.NO_CHECK.value}

    def test_its_record_proves(self, desk: Desk) -> None:
        with desk.glance() as m:
            verdict = proving.prove_all(m)
        assert not verdict.bad
        assert not verdict.wrong
