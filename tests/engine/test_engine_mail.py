"""Answers by mail: which round they answer, whose they are, and what counts as certain."""

import pytest
from sqlmodel import select

from service.channels.letter import mark_of
from service.engine import commands, hearing
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.unclear import unclear
from service.store.tables import CheckRow, InboxRow
from tests.engine.engine_mail import (
    CHECKER,
    DOMAIN,
    OWN_SERVER,
    SECOND,
    address,
    by_mail,
    mailroom,
    message_to,
    messages_by_purpose,
    received,
    reply,
    tag_of,
)
from tests.engine.engine_morning import DAY, Receivers, at, broken_streams, play_to, results, step

PASSED = f"Authentication-Results: {OWN_SERVER}; dmarc=pass header.from={DOMAIN}"


@pytest.fixture
def receivers() -> Receivers:
    return Receivers()


@pytest.fixture
def morning(desk: Desk, receivers: Receivers) -> Desk:
    """08:06: the checker of a room of three was asked by mail a minute ago."""
    commands.configure(desk, by_mail(), "C")
    play_to(desk, "08:06", receivers)
    return desk


def take(desk: Desk, mail: bytes, receivers: Receivers | None = None) -> InboxRow:
    """One mail comes in and is read."""
    id = mailroom(desk).take("mail", mail).id
    step(desk, desk.clock.now(), receivers or Receivers())
    assert broken_streams(desk) == []
    return next(row for row in received(desk) if row.id == id)


def found(desk: Desk) -> set[str | None]:
    """What the checks of the morning came to."""
    return {result for check, result in results(desk.store).items() if DAY in check}


def tagged(desk: Desk, text: str, sender: str = CHECKER, **more: str) -> bytes:
    prompt = message_to(desk, CHECKER)
    return reply(text, address(sender), prompt, tag_of(desk, prompt), **more)


def test_an_answer_to_the_reply_address_is_certain_and_is_answered_in_its_thread(
    morning: Desk, receivers: Receivers
) -> None:
    row = take(morning, tagged(morning, "ok"), receivers)
    assert (row.person, row.proven, row.state) == (CHECKER, True, "read")
    assert found(morning) == {"working"}
    answer = receivers.last[CHECKER]
    assert answer.purpose == "answer"
    assert answer.in_reply_to == f"m1@{DOMAIN}"
    assert answer.subject == f"Re: {message_to(morning, CHECKER).subject}"


def test_the_reply_address_alone_says_which_round_is_answered(morning: Desk) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, reply("ok", address(CHECKER), None, tag_of(morning, prompt), subject="hello"))
    assert found(morning) == {"working"}


def test_the_reply_address_survives_a_program_that_changes_its_case(morning: Desk) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, reply("ok", address(CHECKER).upper(), None, tag_of(morning, prompt).upper()))
    assert found(morning) == {"working"}


def test_without_the_reply_address_a_thread_can_raise_an_alarm_and_never_lower_one(morning: Desk) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, reply("ok", address(CHECKER), prompt))
    assert found(morning) == {None}
    assert messages_by_purpose(morning, CHECKER)[-1] == "question"
    take(morning, reply("2 battery", address(CHECKER), prompt, id="m2"))
    assert sorted(found(morning), key=str) == [None, "fault"]


def test_a_reply_address_that_was_changed_or_revoked_proves_nothing(morning: Desk) -> None:
    tag = tag_of(morning, message_to(morning, CHECKER))
    wrong = tag[:-1] + ("a" if tag[-1] != "a" else "b")
    take(morning, reply("ok", address(CHECKER), None, wrong))
    assert found(morning) == {None}


def test_a_colleague_who_was_handed_the_mail_answers_in_the_checkers_place_as_themselves(morning: Desk) -> None:
    row = take(morning, tagged(morning, "1 2 ok, 3 battery", "colleague"))
    assert (row.person, row.proven) == ("colleague", True)
    assert found(morning) == {"fault", "working"}
    with morning.store.reading() as tx:
        assert {check.by for check in tx.exec(select(CheckRow)) if DAY in check.id} == {"colleague"}


def test_who_is_not_of_the_staff_cannot_answer_for_a_checker(morning: Desk) -> None:
    row = take(morning, tagged(morning, "ok", "parent"))
    assert row.person == "parent"
    assert not row.proven
    assert found(morning) == {None}


def test_an_unknown_address_with_the_reply_address_can_alarm_in_the_checkers_name_and_no_more(morning: Desk) -> None:
    prompt = message_to(morning, CHECKER)
    tag = tag_of(morning, prompt)
    take(morning, reply("ok", "private@home.example", prompt, tag))
    assert found(morning) == {None}
    take(morning, reply("2 battery", "private@home.example", prompt, tag, id="m2"))
    assert "fault" in found(morning)


def test_somebody_we_do_not_know_is_shown_to_the_coordinator_and_answered_by_nobody(
    morning: Desk, receivers: Receivers
) -> None:
    before = dict(receivers.arrived)
    row = take(morning, reply("ok", "who@else.example", message_to(morning, CHECKER)), receivers)
    assert (row.person, row.state) == (None, "aside")
    assert found(morning) == {None}
    assert dict(receivers.arrived) == before


def test_our_own_mail_servers_word_for_the_senders_domain_is_proof_where_the_channel_names_it(
    desk: Desk, receivers: Receivers
) -> None:
    commands.configure(desk, by_mail(own_server=True), "C")
    play_to(desk, "08:06", receivers)
    prompt = message_to(desk, CHECKER)
    forged = PASSED.replace(OWN_SERVER, "mx.else.example")
    take(desk, reply("ok", address(CHECKER), prompt, more=[forged]))
    assert found(desk) == {None}
    take(desk, reply("ok", address(CHECKER), prompt, id="m2", more=[PASSED.replace("pass", "fail"), PASSED]))
    assert found(desk) == {None}
    take(desk, reply("ok", address(CHECKER), prompt, id="m3", more=[PASSED]))
    assert found(desk) == {"working"}


def test_a_word_of_a_mail_server_counts_for_nothing_where_the_channel_names_none(morning: Desk) -> None:
    take(morning, reply("ok", address(CHECKER), message_to(morning, CHECKER), more=[PASSED]))
    assert found(morning) == {None}


def test_yesterdays_reply_address_settles_nothing_of_today(morning: Desk, receivers: Receivers) -> None:
    prompt = message_to(morning, CHECKER)
    play_to(morning, "08:06", receivers, "2026-10-06")
    today = message_to(morning, CHECKER)
    assert today.thread != prompt.thread
    take(morning, reply("ok", address(CHECKER), prompt, tag_of(morning, prompt)), receivers)
    assert "working" not in results(morning.store).values()


def test_a_thread_and_a_reply_address_that_disagree_settle_nothing(morning: Desk, receivers: Receivers) -> None:
    play_to(morning, "08:16", receivers)
    second, prompt = message_to(morning, SECOND, "alert"), message_to(morning, CHECKER)
    take(morning, reply("ok", address(CHECKER), second, tag_of(morning, prompt)), receivers)
    assert found(morning) == {None}


def test_the_mark_in_the_subject_says_which_round_is_meant(morning: Desk) -> None:
    mark = mark_of(tag_of(morning, message_to(morning, CHECKER)))
    row = take(morning, reply("2 battery", address(CHECKER), subject=f"RE: [EXT] 3 checks by 08:15 [{mark}]"))
    assert row.in_reply_to == message_to(morning, CHECKER).id


def test_the_same_mail_by_two_doors_is_one_and_another_mail_with_its_id_is_another(morning: Desk) -> None:
    room, mail = mailroom(morning), tagged(morning, "2 battery")
    first, again = room.take("mail", mail), room.take("mail", mail)
    assert (first.new, again.new, again.id) == (True, False, first.id)
    other = room.take("mail", tagged(morning, "3 cable"))
    assert other.new
    assert other.id != first.id


def test_a_mail_without_a_word_of_its_own_is_asked_about(morning: Desk, receivers: Receivers) -> None:
    row = take(morning, tagged(morning, "\n> 1 Tree00\n> 2 Tree01\n"), receivers)
    assert row.body["asked"]
    assert receivers.last[CHECKER].purpose == "question"


def test_a_program_that_nothing_marks_is_asked_once_whatever_it_answers(morning: Desk, receivers: Receivers) -> None:
    for n in range(3):
        take(morning, tagged(morning, "Your request has been received.", id=f"m{n}"), receivers)
    assert messages_by_purpose(morning, CHECKER).count("question") == 1


def test_a_mail_at_which_we_stumble_is_stored_and_shown(morning: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    def stumbles(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr("service.engine.mailroom.route", stumbles)
    row = take(morning, tagged(morning, "2 battery"))
    assert (row.text, row.state) == ("2 battery", "aside")


def test_mail_is_not_read_before_it_is_stored(morning: Desk, clock: SteppedClock) -> None:
    taken = mailroom(morning).take("mail", tagged(morning, "ok"))
    assert taken.new
    assert found(morning) == {None}
    assert hearing.read_all(morning, clock.now()) == 1
    assert at("08:06") == clock.now()


def test_words_inside_an_attachment_that_nobody_opens_are_asked_for_and_shown_to_be_missing(
    morning: Desk, receivers: Receivers
) -> None:
    """A rich-text mail of which only `winmail.dat` arrives (MS-OXTNEF)."""
    head = tagged(morning, "").replace(b"Content-Type: text/plain; charset=utf-8", b"Content-Type: application/ms-tnef")
    row = take(morning, head + b"eJ8+Ig==", receivers)
    assert (row.text, row.state) == ("", "read")
    assert receivers.last[CHECKER].purpose == "question"
    with morning.glance() as m:
        (shown,) = unclear(m)
    assert shown.words == "no words; what may be attached is not opened"
    assert found(morning) == {None}


def test_a_later_is_answered_each_time_until_it_looks_like_a_program_and_then_it_is_shown(
    morning: Desk, receivers: Receivers
) -> None:
    before = len(receivers.told(CHECKER))
    for n in range(5):
        take(morning, tagged(morning, "later", id=f"m{n}"), receivers)
    assert len(receivers.told(CHECKER)) == before + 3
    with morning.glance() as m:
        assert [shown.words for shown in unclear(m)] == ["later", "later"]
