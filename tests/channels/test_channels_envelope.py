import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.channels.envelope import (
    BODY_AT_MOST,
    TEXT_AT_MOST,
    Envelope,
    Refused,
    open_envelope,
    problems_of,
)
from service.channels.signature import headers_for
from service.core.district import ChannelSetup

NOW = datetime(2026, 10, 5, 13, 7, tzinfo=UTC)
SECRET = "whsec_" + "QUJD" * 8
TOKEN = "an-invented-token"
HELD = {"CHAT_SECRET": SECRET, "CHAT_TOKEN": TOKEN}.get
SIGNED = ChannelSetup("chat", "webhook", options={"signing secret": {"env": "CHAT_SECRET"}})
BY_TOKEN = ChannelSetup("old-chat", "webhook", options={"in": {"token": {"env": "CHAT_TOKEN"}}})


def arrives(body: bytes, setup: ChannelSetup = SIGNED, id: str = "m-1") -> Envelope | Refused:
    """A properly signed message arriving now."""
    return open_envelope(setup, headers_for([SECRET], id, NOW, body), body, NOW, HELD)


def arrives_as(document: object, **options: object) -> Envelope | Refused:
    setup = ChannelSetup("chat", "webhook", options={**SIGNED.options, **options})
    return arrives(json.dumps(document).encode(), setup)


def test_a_signed_message_opens_with_all_it_says():
    document = {"from": "l-teal", "text": "1 cable", "in_reply_to": "m-0", "at": "2026-10-05T08:06:58-05:00"}
    written = datetime(2026, 10, 5, 13, 6, 58, tzinfo=UTC)
    assert arrives_as(document) == Envelope("m-1", "l-teal", "1 cable", "m-0", written, proven=True)


def test_only_sender_and_text_are_needed():
    assert arrives_as({"from": "l-teal", "text": "ok"}) == Envelope("m-1", "l-teal", "ok", None, None, True)


def test_the_text_is_kept_word_for_word():
    words = "  OK 👍\r\n> quoted\n\u202eright to left\t"
    opened = arrives_as({"from": "l-teal", "text": words})
    assert isinstance(opened, Envelope)
    assert opened.text == words


@pytest.mark.parametrize("changed", [{}, {"webhook-signature": "v1,AAAA"}, {"webhook-id": "other"}])
def test_without_a_good_signature_nothing_is_taken(changed: dict[str, str]):
    body = b'{"from":"l-teal","text":"ok"}'
    headers = {**headers_for([SECRET], "m-1", NOW, body), **changed} if changed else {}
    refused = open_envelope(SIGNED, headers, body, NOW, HELD)
    assert isinstance(refused, Refused)
    assert refused.status == 401


@pytest.mark.parametrize(("late", "word"), [(301, "old"), (-301, "future")])
def test_an_old_and_a_future_signature_are_told_apart(late: int, word: str):
    body = b'{"from":"l-teal","text":"ok"}'
    headers = headers_for([SECRET], "m-1", NOW - timedelta(seconds=late), body)
    refused = open_envelope(SIGNED, headers, body, NOW, HELD)
    assert isinstance(refused, Refused)
    assert refused.status == 401
    assert word in refused.detail


def test_another_tools_json_is_read_by_pointers():
    document = {
        "event": {"user": 4711, "said": [{"words": "2 fixed"}], "a/b": {"~": "m-0"}, "ts": "1791205619.5"}
    }
    where = {
        "from": "/event/user",
        "text": "/event/said/0/words",
        "in reply to": "/event/a~1b/~0",
        "at": "/event/ts",
    }
    opened = arrives_as(document, **{"in": where})
    written = datetime.fromtimestamp(1791205619.5, UTC)
    assert opened == Envelope("m-1", "4711", "2 fixed", "m-0", written, True)


@pytest.mark.parametrize(
    ("body", "status", "says"),
    [
        (b"", 400, "line 1, column 1"),
        (b'{"from": "l-teal", "text": ', 400, "not JSON"),
        (b"hello", 400, "not JSON"),
        (b'{"from":"l-teal","text":"\xff"}', 400, "Byte 25"),
        (b'{"from":"l-teal","text":"ok","text":"1 cable"}', 400, "twice"),
        (b'{"from":"l-teal","text":NaN}', 400, "NaN"),
        (b'{"from":"l-teal","text":' + b"9" * 5000 + b"}", 400, "not JSON"),
        (b"[" * 100_000, 400, "deep"),
        (b'{"a":' * 100_000, 400, "deep"),
        (b'"ok"', 422, "object"),
        (b"null", 422, "object"),
        (b"[]", 422, "/from"),
        (b'{"text":"ok"}', 422, "/from"),
        (b'{"from":"","text":"ok"}', 422, "/from"),
        (b'{"from":true,"text":"ok"}', 422, "/from"),
        (b'{"from":{"id":1},"text":"ok"}', 422, "/from"),
        (b'{"from":"l-teal"}', 422, "/text"),
        (b'{"from":"l-teal","text":null}', 422, "/text"),
        (b'{"from":"l-teal","text":["ok"]}', 422, "/text"),
    ],
)
def test_a_body_that_is_no_message_is_refused_with_the_reason(body: bytes, status: int, says: str):
    refused = arrives(body)
    assert isinstance(refused, Refused)
    assert refused.status == status
    assert says in f"{refused.title} {refused.detail}"


@given(st.binary(max_size=200))
def test_any_signed_bytes_whatever_get_an_answer(body: bytes):
    assert isinstance(arrives(body), Envelope | Refused)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=20,
    )
)
def test_any_json_whatever_in_any_place_gets_an_answer(value: object):
    for name in ("from", "text", "in_reply_to", "at"):
        assert isinstance(arrives_as({"from": "l-teal", "text": "ok", name: value}), Envelope | Refused)


def test_a_reply_of_a_megabyte_keeps_its_beginning_and_says_so():
    opened = arrives_as({"from": "l-teal", "text": "1 cable " + "é" * 500_000})
    assert isinstance(opened, Envelope)
    assert opened.truncated
    assert opened.text.startswith("1 cable éé")
    assert TEXT_AT_MOST - 1 <= len(opened.text.encode()) <= TEXT_AT_MOST


def test_a_text_of_just_the_greatest_length_is_whole():
    opened = arrives_as({"from": "l-teal", "text": "a" * TEXT_AT_MOST})
    assert isinstance(opened, Envelope)
    assert not opened.truncated
    assert len(opened.text) == TEXT_AT_MOST


def test_a_body_beyond_the_doors_limit_is_refused_as_too_large():
    refused = arrives(b'{"from":"l-teal","text":"' + b"a" * BODY_AT_MOST + b'"}')
    assert isinstance(refused, Refused)
    assert refused.status == 413


def test_what_no_database_holds_is_replaced_and_pairs_stay_whole():
    body = rb'{"from":"l-\u0000teal","text":"1\u0000 \ud800 \ud83d\udc4d"}'
    opened = arrives(body)
    assert isinstance(opened, Envelope)
    assert opened.text == "1\N{REPLACEMENT CHARACTER} \N{REPLACEMENT CHARACTER} 👍"
    assert "\0" not in opened.from_address


@pytest.mark.parametrize(
    "at", ["yesterday", "2026-10-05T08:06:58", "", [], True, 1e300, -1e300, "9" * 400, "2026-02-30T08:00:00Z"]
)
def test_an_unreadable_time_costs_the_time_and_not_the_reply(at: object):
    assert arrives_as({"from": "l-teal", "text": "ok", "at": at}) == Envelope(
        "m-1", "l-teal", "ok", None, None, True
    )


def test_a_time_ahead_of_ours_is_not_believed():
    ahead = (NOW + timedelta(minutes=6)).isoformat()
    opened = arrives_as({"from": "l-teal", "text": "ok", "at": ahead})
    assert isinstance(opened, Envelope)
    assert opened.at is None


def test_a_byte_order_mark_is_no_obstacle():
    assert isinstance(arrives(b'\xef\xbb\xbf{"from":"l-teal","text":"ok"}'), Envelope)


def by_token(
    body: bytes, token: str | None, setup: ChannelSetup = BY_TOKEN, **headers: str
) -> Envelope | Refused:
    return open_envelope(setup, headers, body, NOW, HELD, token=token)


def test_a_plain_token_lets_a_message_in_but_proves_nothing():
    opened = by_token(b'{"from":"l-teal","text":"ok"}', TOKEN)
    assert isinstance(opened, Envelope)
    assert not opened.proven


@pytest.mark.parametrize("token", [None, "", "an-invented-tokem", "ünï", "\ud800"])
def test_a_wrong_or_missing_token_is_refused(token: str | None):
    refused = by_token(b'{"from":"l-teal","text":"ok"}', token)
    assert isinstance(refused, Refused)
    assert refused.status == 401


def test_a_channel_that_names_no_token_takes_none():
    refused = by_token(b'{"from":"l-teal","text":"ok"}', TOKEN, setup=SIGNED)
    assert isinstance(refused, Refused)
    assert refused.status == 401


def test_a_channel_with_no_proof_at_all_takes_no_messages():
    refused = arrives(b'{"from":"l-teal","text":"ok"}', ChannelSetup("out", "webhook"))
    assert isinstance(refused, Refused)
    assert refused.status == 404


def test_an_unproven_message_repeated_under_its_id_is_the_same_and_never_that_of_a_proven_one():
    body = b'{"from":"l-teal","text":"ok"}'
    first, again, other = (by_token(body, TOKEN, **{"Webhook-Id": id}) for id in ("m-1", "m-1", "m-2"))
    proven = arrives(body, id="m-1")
    assert isinstance(first, Envelope)
    assert isinstance(again, Envelope)
    assert isinstance(other, Envelope)
    assert isinstance(proven, Envelope)
    assert first.id == again.id
    assert len({first.id, other.id, proven.id}) == 3


def test_the_same_words_without_an_id_on_another_morning_are_another_message():
    body = b'{"from":"l-teal","text":"ok"}'
    today = by_token(body, TOKEN)
    tomorrow = open_envelope(BY_TOKEN, {}, body, NOW + timedelta(days=1), HELD, token=TOKEN)
    assert isinstance(today, Envelope)
    assert isinstance(tomorrow, Envelope)
    assert today.id != tomorrow.id


def test_a_channel_whose_secret_is_not_set_asks_the_sender_to_come_back():
    body = b'{"from":"l-teal","text":"ok"}'
    refused = open_envelope(SIGNED, headers_for([SECRET], "m-1", NOW, body), body, NOW, {}.get)
    assert isinstance(refused, Refused)
    assert refused.status == 503


def test_no_refusal_repeats_what_was_sent_or_what_is_secret():
    for body in (b'{"from":"l-teal","text":{"words":"private"}}', b'{"text":"private"}', b'{"text":"private'):
        for answer in (arrives(body), by_token(body, "private-token"), by_token(body, TOKEN)):
            assert isinstance(answer, Refused)
            assert "private" not in f"{answer.title} {answer.detail}"
            assert TOKEN not in f"{answer.title} {answer.detail}"


def test_settings_that_cannot_work_are_named():
    setup = ChannelSetup("chat", "webhook", options={"in": {"from": "user", "token": "written-out"}})
    assert problems_of(setup) == (
        "in: from must be a JSON pointer such as /from",
        "in: token is given by name, as {env: NAME}, never written out",
    )
