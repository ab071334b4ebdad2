"""Links: hard to guess, for one person and one round, over with the day, revoked at once, kept nowhere."""

from base64 import urlsafe_b64decode
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import select
from web_district import KEY, Morning, at

from service.engine import doors
from service.engine.doors import Kind
from service.engine.postman import Errand, claim
from service.store.tables import OutboxRow

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"


def errand(person: str, round_id: str | None, channel: str = "mail", purpose: str = "alert") -> Errand:
    now = at("08:05")
    return Errand(
        "msg-1", "key", 1, person, "checker", channel, "a", purpose, "s", "l", "t", None, None, round_id, None, now
    )  # fmt: skip


def test_a_token_holds_more_than_128_bits_and_needs_no_quoting_in_an_address():
    made = doors.token(KEY, Kind.ROUND, ROUND, "l-teal", 0)

    assert len(urlsafe_b64decode(made)) * 8 >= 128
    assert made.replace("-", "").replace("_", "").isalnum()


def test_every_part_of_what_a_token_opens_changes_it():
    same = (KEY, Kind.ROUND, ROUND, "l-teal", 0)
    others = [
        (b"another key", Kind.ROUND, ROUND, "l-teal", 0),
        (KEY, Kind.STANDING, ROUND, "l-teal", 0),
        (KEY, Kind.REPLY, ROUND, "l-teal", 0),
        (KEY, Kind.ROUND, ROUND + "x", "l-teal", 0),
        (KEY, Kind.ROUND, ROUND, "r-moss", 0),
        (KEY, Kind.ROUND, ROUND, "l-teal", 1),
    ]
    assert len({doors.token(*each) for each in [same, *others]}) == 7


def test_parts_cannot_be_shifted_into_each_other():
    assert doors.token(KEY, Kind.ROUND, "ab", "c", 0) != doors.token(KEY, Kind.ROUND, "a", "bc", 0)


def test_a_round_opens_for_its_own_person_only(morning: Morning):
    with morning.desk.glance() as m:
        theirs = doors.round_token(m.desk, m.tx, ROUND, "l-teal")

        assert doors.open_round(m, ROUND, "l-teal", theirs) is not None
        assert doors.open_round(m, ROUND, "r-moss", theirs) is None
        assert doors.open_round(m, "rd-hollow-road-2026-09-15-0810-d-fenn", "l-teal", theirs) is None
        assert doors.open_round(m, ROUND, "l-teal", "") is None
        assert doors.open_round(m, ROUND, "l-teal", "ünicode") is None


def test_a_round_link_ends_with_the_day_and_says_which_day_it_was(morning: Morning):
    with morning.desk.glance() as m:
        theirs = doors.round_token(m.desk, m.tx, ROUND, "l-teal")
    morning.clock.move_to(at("23:59"))
    with morning.desk.glance() as m:
        assert not isinstance(doors.open_round(m, ROUND, "l-teal", theirs), doors.Ended)
    morning.clock.move_to(at("23:59") + timedelta(minutes=2))
    with morning.desk.glance() as m:
        ended = doors.open_round(m, ROUND, "l-teal", theirs)

    assert isinstance(ended, doors.Ended)
    assert str(ended.date) == "2026-09-15"


def test_raising_the_epoch_closes_every_link_and_is_journalled(morning: Morning):
    with morning.desk.glance() as m:
        standing = doors.standing_token(m.desk, m.tx, "l-teal")
        own_round = doors.round_token(m.desk, m.tx, ROUND, "l-teal")
        assert doors.open_standing(m, "l-teal", standing) is not None
    before = morning.entries()
    with morning.desk.moment() as m:
        doors.revoke(m, "l-teal")
    with morning.desk.glance() as m:
        assert doors.open_standing(m, "l-teal", standing) is None
        assert doors.open_round(m, ROUND, "l-teal", own_round) is None
        assert doors.open_standing(m, "l-teal", doors.standing_token(m.desk, m.tx, "l-teal")) is not None
    assert morning.entries() == before + 1


def test_who_has_left_opens_nothing(morning: Morning):
    with morning.desk.glance() as m:
        token = doors.standing_token(m.desk, m.tx, "t-rowe")
        assert doors.open_standing(m, "t-rowe", token) is not None
    morning.clock.move_to(at("08:00", "2027-01-11"))
    with morning.desk.glance() as m:
        assert doors.open_standing(m, "t-rowe", token) is None


@pytest.mark.parametrize(
    ("person", "round_id", "channel", "purpose", "begins"),
    [
        ("l-teal", ROUND, "chat", "prompt", f"/r/{ROUND}/l-teal/"),
        ("r-moss", ROUND, "chat", "second", f"/r/{ROUND}/r-moss/"),
        ("j-aske", ROUND, "chat", "prompt", f"/r/{ROUND}/j-aske/"),
        ("g-pike", ROUND, "mail", "alert", "/s/g-pike/"),
        ("l-teal", None, "mail", "news", "/s/l-teal/"),
        ("c-reed", ROUND, "mail", "alert", "/board"),
        ("l-teal", None, "board-room", "news", "/board"),
    ],
    ids=["checker", "second", "deputy", "guardian", "no round", "coordinator", "many read along"],
)
def test_a_link_leads_where_its_reader_can_act(morning, person, round_id, channel, purpose, begins):
    with morning.desk.glance() as m:
        sent = errand(person, round_id, channel, purpose)
        (opening,) = doors.openings(m, [sent], "https://checks.example/")
    assert opening.link.startswith("https://checks.example" + begins)


def test_no_row_of_the_outbox_holds_a_token(morning: Morning):
    morning.clock.move_to(at("08:05"))
    morning.play_to("08:20")
    assert claim(morning.desk, morning.clock.now()) == []
    with morning.desk.glance() as m:
        rows = list(m.tx.exec(select(OutboxRow)))
        people = sorted({row.person for row in rows})
        tokens = [doors.round_token(m.desk, m.tx, ROUND, p) for p in people]
        tokens += [doors.standing_token(m.desk, m.tx, p) for p in people]
    assert rows
    assert not [t for t in tokens for row in rows if t in row.model_dump_json()]


def test_a_reply_address_proves_the_message_and_whom_it_was_sent_to(morning: Morning):
    morning.clock.move_to(at("08:05"))
    morning.play_to("08:20")
    with morning.desk.moment() as m:
        row = next(r for r in m.tx.exec(select(OutboxRow)) if r.person == "l-teal" and r.thread == ROUND)
        sent = replace(errand("l-teal", ROUND, "mail", "prompt"), id=row.id)
        tag = doors.openings(m, [sent], "https://checks.example")[0].reply_tag
        answered = doors.answered_by(m, tag)
        assert answered is not None
        assert answered.id == row.id
        assert tag == tag.lower()
        changed = tag[:-1] + ("a" if tag[-1] != "a" else "b")
        assert doors.answered_by(m, changed) is None
        assert doors.answered_by(m, tag.partition("-")[0]) is None
        assert doors.answered_by(m, "") is None
        doors.revoke(m, "l-teal")
        assert doors.answered_by(m, tag) is None

