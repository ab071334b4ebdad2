"""The invented district and the starter are samples that hold."""

import json
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from service.channels.addresses import AddressGuard
from service.channels.factory import build as build_channel
from service.core.days import NoSchool, school_day
from service.core.district import ContactKind, DeviceKind, Role
from service.core.routines import rounds
from service.setup import export, load, new
from service.setup.kinds import spelling
from service.setup.schema import SECTIONS, SINGLE

DEMO = Path(__file__).parents[2] / "config_demo"
STARTER = Path(__file__).parents[2] / "service" / "setup" / "starter"
FILES = [*sorted(DEMO.rglob("*.yaml")), *sorted(STARTER.glob("*.yaml"))]


@pytest.fixture(scope="module")
def demo():
    return load(DEMO, {})


def test_the_demo_has_no_errors_and_no_warnings(demo):
    assert [str(p) for p in demo.problems] == []


def test_the_demo_shows_several_zones_and_every_kind_of_device(demo):
    district = demo.district
    kinds = {device.kind for student in district.students.values() for device in student.devices}

    assert len({school.zone for school in district.schools.values()}) >= 2
    assert kinds == set(DeviceKind)
    assert any(school.rotation for school in district.schools.values())
    assert {held.role for person in district.people.values() for held in person.roles} == set(Role)


def test_every_key_that_exists_is_shown_in_the_demo(demo):
    text = "\n".join(path.read_text("utf-8") for path in DEMO.rglob("*.yaml"))
    shown = {spelling(key) for key in re.findall(r"(?m)(?:^\s*-?\s*|[{,]\s*)([A-Za-z][\w ]*):", text)}
    unshown = {"user", "password", "token"}

    assert {spelling(key) for key in _keys()} - shown == unshown, (
        "a demo without secrets shows no key that holds one"
    )


def _keys() -> set[str]:
    found: set[str] = set()
    waiting: list[object] = [*SECTIONS.values(), *SINGLE.values()]
    while waiting:
        kind = waiting.pop()
        for key in getattr(kind, "keys", ()):
            found.add(key.name)
            waiting.append(key.kind)
        waiting += [getattr(kind, part) for part in ("each", "value") if hasattr(kind, part)]
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_key_of_the_samples_carries_a_comment(path):
    bare = [
        f"{number}: {line}"
        for number, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#") and not re.search(r"\s#\s\S", line)
    ]

    assert bare == []


def test_the_morning_at_hollow_road_is_as_the_guide_tells_it(demo):
    school = demo.district.schools["hollow-road"]
    bells = {bell.name: bell.start.strftime("%H:%M") for bell in school.day_types["regular"].bells}

    assert school.zone == "America/Chicago"
    assert (bells["First bell"], bells["Period 1"], bells["Period 2"], bells["Last bell"]) == (
        "08:00",
        "08:15",
        "09:05",
        "15:00",
    )


def test_the_demo_plans_the_morning_of_room_12(demo):
    monday = date(2026, 11, 23)
    day = school_day(demo.district.schools["hollow-road"], monday)
    planned = {
        (r.checker, r.due.strftime("%H:%M")): [c.alias for c in r.checks]
        for r in rounds(demo.district, day, ())
    }

    assert planned["l-teal", "14:05"] == ["Finch", "Lark", "Wren"], "08:05 at UTC-6"


def test_every_day_of_every_demo_school_has_its_checks(demo):
    for school in demo.district.schools.values():
        for n in range(280):
            day = school_day(school, date(2026, 8, 24) + timedelta(days=n))
            if not isinstance(day, NoSchool):
                assert rounds(demo.district, day, ()) or (
                    school.id == "peel-lane" and day.date.isoweekday() == 3
                )


def test_the_channels_of_the_demo_can_be_built_from_what_the_check_passed(demo):
    held = {
        "BELLCHECK_DEMO_CHAT_SECRET": "whsec_" + "c2VjcmV0IG9mIHRoZSBkZW1vIGNoYXQgY2hhbm5lbA==",
        "BELLCHECK_DEMO_MAIL_HOST": "127.0.0.1",
        "BELLCHECK_DEMO_MAIL_PORT": "2525",
    }
    for channel in demo.district.channels.values():
        build_channel(
            channel, held.get, AddressGuard(), stamp=lambda: datetime(2026, 11, 23, 14, 5, tzinfo=UTC)
        )


def test_the_starter_passes_its_own_check(tmp_path):
    new(tmp_path / "mine")

    assert [str(p) for p in load(tmp_path / "mine", {}).problems] == []


def test_the_starter_can_begin_in_another_year(tmp_path):
    new(tmp_path / "mine", 2031)
    loaded = load(tmp_path / "mine", {})

    assert loaded.errors == ()
    assert loaded.district.schools["our-school"].terms[0].first.year == 2031


def test_the_starters_silence_goes_to_staff_only(tmp_path):
    new(tmp_path / "mine")
    steps = load(tmp_path / "mine", {}).district.chains["silence"].steps

    assert [step.contact.kind for step in steps[:2]] == [ContactKind.CHECKER, ContactKind.SECOND]
    assert [step.contact.role for step in steps[2:]] == [Role.OFFICE, Role.COORDINATOR]


def test_nothing_is_written_over(tmp_path, demo):
    (tmp_path / "x.yaml").write_text("mine")

    with pytest.raises(FileExistsError, match="is not empty"):
        new(tmp_path)
    with pytest.raises(FileExistsError, match="is not empty"):
        export(demo.documents, tmp_path)
    assert (tmp_path / "x.yaml").read_text() == "mine"


def test_documents_are_plain_json(demo):
    assert json.loads(json.dumps(demo.documents)) == demo.documents
