"""Wall clocks and instants against published clock changes and RFC 5545.

Sources: `data/vectors/dst-transitions-2026-2027.json` (IANA 2026f), `data/vectors/tzdata-2025b-vs-2026f.json`,
RFC 5545 section 3.3.5.
"""

import json
import zoneinfo
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import pytest
from school_files import data

from service.core.days import instant, version, zone


def transitions() -> dict[str, list[dict[str, str]]]:
    read = json.loads(data("vectors/dst-transitions-2026-2027.json").read_text())
    return {name: changes for name, changes in read.items() if name != "_meta"}


def offset(text: str) -> timedelta:
    sign = -1 if text[0] == "-" else 1
    return sign * timedelta(hours=int(text[1:3]), minutes=int(text[3:5]))


def at_wall(wall: datetime, name: str) -> datetime:
    return instant(wall.date(), wall.time(), zone(name))


def test_the_zone_data_is_the_edition_the_vectors_were_made_with_or_a_later_one():
    assert version() >= "2026f"
    assert zoneinfo.TZPATH == ()


def test_around_every_published_clock_change_wall_times_are_the_right_instants():
    checked = 0
    for name, changes in transitions().items():
        for change in changes:
            old, new = offset(change["offset_before"]), offset(change["offset_after"])
            low, high = sorted(datetime.fromisoformat(change[k]) for k in ("wall_before", "wall_after"))
            minutes = int((high - low).total_seconds() // 60)
            for minute in range(-60, minutes + 60):
                wall = low + timedelta(minutes=minute)
                # RFC 5545 3.3.5: skipped times by the offset before the gap, repeated ones the first time.
                by = old if minute < minutes else new
                assert at_wall(wall, name) == (wall - by).replace(tzinfo=UTC), (name, wall)
                checked += 1
            # The change itself: in a gap the first time shown after it, otherwise the first time not repeated.
            again = timedelta() if change["kind"] == "gap" else high - low
            moment = datetime.fromisoformat(change["utc"])
            assert at_wall(high, name) == moment + again, (name, high)
    assert checked > 5000


def test_between_the_published_clock_changes_offsets_do_not_move():
    for name, changes in transitions().items():
        moments = [datetime.fromisoformat(c["utc"]) for c in changes]
        days = [date(2026, 1, 1) + timedelta(days=n) for n in range(730)]
        noons = [instant(d, time(12), zone(name)) for d in days]
        for before, after in pairwise(noons):
            changed = any(before < m <= after for m in moments)
            assert (after - before != timedelta(days=1)) == changed, (name, before)


def changed_law() -> dict[str, dict[str, str]]:
    return json.loads(data("vectors/tzdata-2025b-vs-2026f.json").read_text())["zones"]


def written_offset(text: str) -> timedelta:
    days, _, clock = text.rpartition(", ")
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    return timedelta(days=int(days.split()[0]) if days else 0, hours=hours, minutes=minutes, seconds=seconds)


def test_zones_whose_law_changed_have_the_new_offset_whatever_the_machine_holds():
    zones = changed_law()
    assert len(zones) == 15
    for name, row in zones.items():
        day = date.fromisoformat(row["first_utc_midnight_that_differs"])
        midnight = datetime.combine(day, time(), tzinfo=UTC)
        expected = written_offset(row["offset_2026f"])
        wall = (midnight + expected).replace(tzinfo=None)
        assert at_wall(wall, name) == midnight, name
        assert expected != written_offset(row["offset_2025b"])


@pytest.mark.parametrize(
    ("wall", "expected"),
    [
        ("20071104T013000", "2007-11-04T05:30:00+00:00"),  # 1:30 EDT, the first of the two
        ("20070311T023000", "2007-03-11T07:30:00+00:00"),  # skipped: 3:30 EDT
    ],
)
def test_the_two_examples_of_rfc_5545_section_3_3_5(wall: str, expected: str):
    assert at_wall(datetime.fromisoformat(wall), "America/New_York").isoformat() == expected
