"""Mail that programs send: never a reply, sometimes news."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.core.mail import Kind
from service.engine import commands
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.unclear import FATES, unclear
from service.store.base import Store
from tests.engine.engine_mail import (
    CHECKER,
    SECOND,
    address,
    bounce,
    by_mail,
    mailroom,
    message_to,
    messages_by_purpose,
    received,
    reply,
    tag_of,
)
from tests.engine.engine_morning import Receivers, at, broken_streams, open_desk, play_to, results, step
from tests.engine.test_engine_mail import found, morning, receivers, take

__all__ = ["morning", "receivers"]

AWAY = "OK - I am out of the office until Monday."
VACATION = ("Auto-Submitted: auto-replied", "Return-Path: <>")


def absent(desk: Desk, id: str = "m1") -> bytes:
    return reply(AWAY, address(CHECKER), message_to(desk, CHECKER), id=id, more=VACATION)


def test_an_out_of_office_answer_asks_the_second_checker_at_once_and_is_no_reply(
    morning: Desk, receivers: Receivers
) -> None:
    row = take(morning, absent(morning), receivers)
    assert row.state == "aside"
    assert found(morning) == {None}
    assert messages_by_purpose(morning, SECOND) == ["alert"]
    assert messages_by_purpose(morning, CHECKER) == ["prompt"]
    with morning.glance() as m:
        assert [told.fate for told in unclear(m)] == [FATES[Kind.AWAY]]


def test_the_coordinator_hears_of_it_once_a_day_and_what_the_program_wrote_stays_on_the_board(
    morning: Desk, receivers: Receivers
) -> None:
    for n in range(2):
        take(morning, absent(morning, f"m{n}"), receivers)
    (told,) = [errand for errand in receivers.told("C") if "answers that they are away" in errand.lock_line]
    assert "The checker was written to; at 08:06 a program answered in their place." in told.text
    assert "Monday" not in told.text


def test_it_is_remembered_for_the_day_until_a_word_of_their_own_comes(morning: Desk, receivers: Receivers) -> None:
    take(morning, absent(morning), receivers)
    with morning.glance() as m:
        assert CHECKER in m.absent
    take(morning, reply("2 battery", address(CHECKER), message_to(morning, CHECKER), id="m2"), receivers)
    with morning.glance() as m:
        assert CHECKER not in m.absent


def test_whoever_is_absent_is_passed_over_in_the_next_round_of_the_day_and_asked_again_on_the_next_day(
    desk: Desk, receivers: Receivers
) -> None:
    documents = by_mail()
    child = documents["students"][f"{CHECKER}-child0"]
    child["routines"]["noon"] = {**child["routines"]["morning"], "when": {"at": "09:05"}, "kind": "midday"}
    commands.configure(desk, documents, "C")
    play_to(desk, "08:06", receivers)
    take(desk, absent(desk), receivers)
    play_to(desk, "09:06", receivers)
    assert messages_by_purpose(desk, SECOND).count("alert") == 2
    play_to(desk, "08:06", receivers, "2026-10-06")
    assert message_to(desk, CHECKER).thread == f"rd-school000-2026-10-06-0805-{CHECKER}"
    assert broken_streams(desk) == []


def test_a_delivery_that_failed_moves_the_chase_on_and_a_dead_address_is_written_to_no_more(
    morning: Desk, receivers: Receivers
) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, bounce(prompt, tag_of(morning, prompt)), receivers)
    assert messages_by_purpose(morning, SECOND) == ["alert"]
    with morning.glance() as m:
        assert f"gone/{CHECKER}/mail" in m.gone


@pytest.mark.parametrize(("tag", "status"), [(False, "5.1.1"), (True, "5.2.2"), (True, "5.7.1"), (True, "4.4.7")])
def test_a_report_that_does_not_prove_itself_or_is_not_about_the_address_only_moves_the_chase_on(
    morning: Desk, receivers: Receivers, tag: bool, status: str
) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, bounce(prompt, tag_of(morning, prompt) if tag else None, status=status), receivers)
    assert messages_by_purpose(morning, SECOND) == ["alert"]
    with morning.glance() as m:
        assert not m.gone


def test_an_address_that_was_mended_in_the_folder_is_written_to_again(morning: Desk, receivers: Receivers) -> None:
    prompt = message_to(morning, CHECKER)
    take(morning, bounce(prompt, tag_of(morning, prompt)), receivers)
    documents = by_mail()
    documents["people"][CHECKER]["channels"] = [{"mail": "mended@school.example"}]
    commands.configure(morning, documents, "C")
    with morning.glance() as m:
        assert not m.gone


@pytest.mark.parametrize("action", ["delayed", "delivered", "relayed"])
def test_a_delay_waits_within_the_limit_and_a_receipt_does_nothing(
    morning: Desk, receivers: Receivers, action: str
) -> None:
    prompt = message_to(morning, CHECKER)
    row = take(morning, bounce(prompt, tag_of(morning, prompt), action, "4.4.1"), receivers)
    assert row.state == "aside"
    assert messages_by_purpose(morning, SECOND) == []
    with morning.glance() as m:
        assert unclear(m) == ()


@pytest.mark.parametrize("header", ["Auto-Submitted: auto-generated", "List-Id: <a.b>", "Precedence: bulk"])
def test_no_programs_mail_is_answered(morning: Desk, receivers: Receivers, header: str) -> None:
    before = sum(receivers.arrived.values())
    take(morning, reply("what?", address(CHECKER), message_to(morning, CHECKER), more=[header]), receivers)
    assert sum(receivers.arrived.values()) == before


PIECES = st.sampled_from(
    [
        b"From: ", address(CHECKER).encode(), b"\r\n", b"\n", b"\r\n\r\n", b"ok", b"all fine", b"--b", b"--b--", b"=",
        b"Content-Type: multipart/mixed; boundary=b\r\n", b"Content-Type: text/html\r\n", b"In-Reply-To: <msg-",
        b"Content-Transfer-Encoding: base64\r\n", b"charset=utf-16", b"\0", b"\xff", b"To: checks+", b"@school.example",
        b"Authentication-Results: mx.school.example; dmarc=pass header.from=school.example\r\n", b"Subject: [aaaaaa]",
    ]
)  # fmt: skip
ANY = st.one_of(st.binary(max_size=300), st.lists(PIECES, max_size=25).map(b"".join))


@pytest.fixture(scope="module")
def asked() -> Desk:
    """One desk for all made-up mails: they add to each other, as strangers' mails do."""
    store = Store("sqlite://")
    store.upgrade()
    desk = open_desk(store, SteppedClock(at("07:00")))
    commands.configure(desk, by_mail(), "C")
    play_to(desk, "08:06", Receivers())
    return desk


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(data=ANY)
def test_any_bytes_are_stored_and_none_are_good_news_by_accident(asked: Desk, data: bytes) -> None:
    taken = mailroom(asked).take("mail", data)
    step(asked, asked.clock.now(), Receivers())
    assert any(row.id == taken.id and row.state != "unread" for row in received(asked))
    assert not {"working", "fixed"} & set(results(asked.store).values())
