"""The day strip: places along the day are lengths, marks have words, and nothing is styled in place."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace

import pytest
from web_district import Morning, at

from service.core.reading import Command, Reading
from service.engine import commands, views
from service.web import sentences, strip

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"


@pytest.fixture
def school(morning: Morning) -> views.SchoolView:
    """Hollow Road at twelve past eight; nobody has answered."""
    morning.play_to("08:12")
    with morning.desk.glance() as m:
        return views.school_view(m, "hollow-road")


def row_of(school: views.SchoolView, key: str = ROUND) -> views.BoardRow:
    return next(r for r in school.rows if r.key == key)


def places(text: str, css: str) -> list[float]:
    """Where along the day the shapes of a class stand, in percent."""
    svg = ElementTree.fromstring(text)
    return [float(n.attrib["x"].rstrip("%")) for n in svg if n.find(f"path[@class='{css}']") is not None]


def test_bells_stand_at_their_fraction_of_the_day(school):
    lunch = next(b for b in school.bands if b.name == "Lunch")

    assert (school.first, school.last) == ("08:00", "15:00")
    assert lunch.left == pytest.approx(210 / 420, abs=1e-4)
    assert lunch.right == pytest.approx(250 / 420, abs=1e-4)


def test_now_is_a_line_only_while_school_is_in(school, morning):
    assert school.now == pytest.approx(12 / 420, abs=1e-4)
    morning.clock.move_to(at("15:30"))
    with morning.desk.glance() as m:
        assert views.school_view(m, "hollow-road").now is None


def test_asked_reminded_and_the_steps_to_come_stand_at_their_minutes(school):
    drawn = str(strip.row(school, row_of(school)))

    assert places(drawn, "mark asked") == [pytest.approx(5 / 420 * 100, abs=0.01)]
    assert places(drawn, "mark reminded") == [pytest.approx(10 / 420 * 100, abs=0.01)]
    minutes = [15, 20, 30]
    assert places(drawn, "ahead") == [pytest.approx(m / 420 * 100, abs=0.01) for m in minutes]


def test_the_steps_to_come_name_roles_and_minutes(school):
    chase = row_of(school).chase
    assert chase is not None
    assert [(a.role, a.at) for a in chase.ahead] == [
        ("the second checker", "08:15"),
        ("the front office", "08:20"),
        ("the coordinator", "08:30"),
    ]


def test_a_strip_says_in_a_sentence_what_it_shows(school):
    words = sentences.strip_words(school, row_of(school))

    assert words == (
        "Room 12 has not answered. asked at 08:05; reminded at 08:10; ahead: the second checker at 08:15, "
        "the front office at 08:20, the coordinator at 08:30; now 08:12."
    )
    assert f'aria-label="{words}"' in str(strip.row(school, row_of(school)))


def test_what_is_worked_out_ahead_is_what_then_happens(school, morning):
    chase = row_of(school).chase
    assert chase is not None
    foretold = [a.at for a in chase.ahead]
    morning.play_to("08:45")
    with morning.desk.glance() as m:
        told = [t.at for c in views.running(m, ROUND)[:1] for t in c.told]
    assert told[1:] == foretold


def test_looking_ahead_changes_nothing(morning):
    morning.play_to("08:12")
    before = morning.entries()
    with morning.desk.glance() as m:
        first = views.board(m)
    with morning.desk.glance() as m:
        assert views.board(m) == first
    assert morning.entries() == before


def test_in_hand_is_a_bracket_to_the_promised_time(school, morning):
    with morning.desk.glance() as m:
        held = views.running(m, ROUND)
    for chase in held:
        commands.act(morning.desk, "o-birch", chase.id, Reading(command=Command.MINE, minutes=30), chase.id)
    with morning.desk.glance() as m:
        after = views.school_view(m, "hollow-road")
    row = row_of(after)

    assert row.tone == "hand"
    assert row.chase is not None
    assert row.chase.hand is not None
    assert row.chase.hand.ends == pytest.approx(42 / 420, abs=1e-4)
    assert str(strip.row(after, row)).count('class="held"') == 3
    assert "In hand with the front office until 08:42." in sentences.detail(row)


def test_the_upright_strip_has_a_column_for_each_row_and_the_same_places(school, morning):
    morning.play_to("08:20")
    with morning.desk.glance() as m:
        now = views.school_view(m, "hollow-road")
    svg = ElementTree.fromstring(str(strip.upright(now, now.open_rows)))
    asked = [n for n in svg if n.find("path[@class='mark asked']") is not None]

    assert len({n.attrib["x"] for n in asked}) == len(now.open_rows) == 2
    assert sorted(n.attrib["y"] for n in asked) == ["1.19%", "2.38%"]


@pytest.mark.parametrize(
    "draw", [strip.header, lambda s: strip.row(s, s.rows[0]), lambda s: strip.upright(s, s.rows)]
)
def test_a_strip_is_well_formed_and_styled_by_the_sheet_alone(school, draw):
    text = str(draw(school))

    ElementTree.fromstring(text)
    assert not re.search(r"\sstyle=|<style|<script|\sfill=|\sstroke=", text)


def test_words_on_a_strip_are_escaped(school):
    bands = (replace(school.bands[0], name='<b>"&', left=0.0, right=1.0),)
    text = str(strip.header(replace(school, bands=bands)))

    ElementTree.fromstring(text)
    assert "<b>" not in text


def test_a_school_without_school_today_says_why(morning):
    morning.clock.move_to(at("09:00", "2026-10-12"))
    with morning.desk.glance() as m:
        view = views.school_view(m, "hollow-road")

    assert (view.bands, view.now) == ((), None)
    assert sentences.settled(view) == "No school: Staff day."
