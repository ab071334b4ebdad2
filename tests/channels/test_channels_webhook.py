import asyncio
import json
import time
from dataclasses import replace
from datetime import timedelta

import pytest
from channel_parcels import NOW, SECRET, parcel
from channel_receivers import Behaviour, Receiver, answers, drips, hangs, says
from channel_webhooks import HELD, OK, OLDER, channel, delivering, outcome

from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.channels.protocol import Handover
from service.channels.signature import Verified, verify
from service.core.district import ChannelSetup


def test_a_parcel_arrives_as_signed_json_under_its_id():
    (handover,), receiver = delivering(OK)
    assert handover == Handover("accepted", "HTTP 200")
    (request,) = receiver.requests
    assert request.line == "POST /hook HTTP/1.1"
    assert request.headers["content-type"] == "application/json"
    assert request.headers["host"] == f"127.0.0.1:{receiver.port}"
    assert verify([SECRET], request.headers, request.body, NOW) == Verified(parcel().id, NOW)
    sent = json.loads(request.body)
    assert (sent["text"], sent["subject"], sent["to"]) == (parcel().text, "2 checks by 08:20", "l-teal")


def test_over_a_retry_the_id_stays_and_the_timestamp_is_renewed():
    moments = iter([NOW] * 2 + [NOW + timedelta(seconds=30)] * 2)

    async def run() -> list:
        async with Receiver(answers("500 Oops")) as receiver:
            options = {"url": receiver.url, "signing secret": {"env": "CHAT_SECRET"}, "allow": ["127.0.0.1"]}
            setup = ChannelSetup("chat", "webhook", options=options)
            sending = build(setup, HELD.get, AddressGuard(), stamp=lambda: next(moments))
            await sending.deliver(parcel())
            await sending.deliver(parcel())
            await sending.close()
            return receiver.requests

    first, second = asyncio.run(run())
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert int(second.headers["webhook-timestamp"]) - int(first.headers["webhook-timestamp"]) == 30
    assert first.headers["webhook-signature"] != second.headers["webhook-signature"]


@pytest.mark.parametrize(
    "held",
    [{"env": "BOTH_SECRETS"}, [{"env": "CHAT_SECRET"}, {"env": "OLD_SECRET"}]],
    ids=["one name", "two names"],
)
def test_during_a_rotation_a_receiver_with_either_secret_is_content(held: object):
    _, receiver = delivering(OK, options={"signing secret": held}, held={"OLD_SECRET": OLDER})
    (request,) = receiver.requests
    for secret in (SECRET, OLDER):
        assert isinstance(verify([secret], request.headers, request.body, NOW), Verified)


def test_without_a_signing_secret_id_and_time_are_sent_unsigned():
    _, receiver = delivering(OK, options={"signing secret": None})
    headers = receiver.requests[0].headers
    assert headers["webhook-id"] == parcel().id
    assert "webhook-signature" not in headers


def test_a_template_shapes_what_is_sent():
    _, receiver = delivering(OK, options={"template": {"msg": {"body": "{text}"}, "room": "{to}"}})
    assert json.loads(receiver.requests[0].body) == {"msg": {"body": parcel().text}, "room": "l-teal"}


def test_a_persons_own_web_address_is_posted_to_and_never_told():
    async def run() -> tuple[Handover, Receiver]:
        async with Receiver(OK) as receiver:
            sending = channel({}, held={"TEAL_CHAT_URL": receiver.url + "?key=k3y"})
            handover = await sending.deliver(parcel(to_address="env:TEAL_CHAT_URL"))
            await sending.close()
            return handover, receiver

    handover, receiver = asyncio.run(run())
    assert handover.outcome == "accepted"
    assert receiver.requests[0].line == "POST /hook?key=k3y HTTP/1.1"
    assert json.loads(receiver.requests[0].body)["to"] == ""


def test_an_address_of_a_person_is_put_into_the_channels_own_without_leaving_its_place():
    async def run() -> Receiver:
        async with Receiver(OK) as receiver:
            sending = channel({"url": receiver.url + "/{address}/in"})
            await sending.deliver(parcel(to_address="room 4/../x?y#z"))
            await sending.close()
            return receiver

    assert asyncio.run(run()).requests[0].line == "POST /hook/room%204%2F..%2Fx%3Fy%23z/in HTTP/1.1"


@pytest.mark.parametrize(
    ("address", "says_so"),
    [("env:NOWHERE", "NOWHERE is not set"), ("room-4", "no web address"), ("ftp://x.example/", "https")],
)
def test_an_address_that_leads_nowhere_is_refused_for_good(address: str, says_so: str):
    async def run() -> Handover:
        sending = channel({})
        return await sending.deliver(parcel(to_address=address))

    handover = asyncio.run(run())
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert says_so in handover.detail


def test_a_redirect_is_a_refusal_and_is_not_followed():
    (handover,), receiver = delivering(answers("301 Moved", Location="/elsewhere"))
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert len(receiver.requests) == 1


def test_a_web_page_for_an_answer_is_acceptance_with_a_remark():
    page = outcome(answers("200 OK", b"<html>Sign in</html>", Content_Type="text/html"))
    assert page.outcome == "accepted"
    assert "web page" in page.detail


def test_410_ends_the_address():
    assert outcome(answers("410 Gone")).outcome == "gone"


def test_429_with_retry_after_defers_the_message():
    limited = outcome(answers("429 Slow Down", Retry_After="7"))
    assert (limited.outcome, limited.retry_after) == ("deferred", timedelta(seconds=7))


def test_500_can_be_tried_again():
    assert outcome(answers("500 Oops")) == Handover("refused", "HTTP 500")


def timed(behave: Behaviour, limit: float) -> tuple[Handover, float]:
    begun = time.monotonic()
    handover = outcome(behave, limit=timedelta(seconds=limit))
    return handover, time.monotonic() - begun


def test_a_receiver_that_hangs_is_given_up_when_the_time_is_over():
    handover, took = timed(hangs, 0.3)
    assert (handover.outcome, handover.for_good) == ("timed_out", False)
    assert 0.3 <= took < 1.5


def test_a_receiver_that_drips_its_answer_is_cut_off_all_the_same():
    handover, took = timed(drips(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok", 0.05), 0.4)
    assert handover.outcome == "timed_out"
    assert took < 1.5


def test_a_receiver_that_drips_only_the_body_of_its_acceptance_has_accepted():
    head, body = b"HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\n", b"x" * 100

    async def behave(request: object, writer: asyncio.StreamWriter) -> None:
        writer.write(head)
        await drips(body, 0.05)(request, writer)

    handover, took = timed(behave, 0.5)
    assert handover.outcome == "accepted"
    assert took < 1.5


def test_an_endless_answer_is_not_read_to_its_end():
    written = 0

    async def behave(_: object, writer: asyncio.StreamWriter) -> None:
        nonlocal written
        writer.write(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n")
        while True:
            writer.write(b"10000\r\n" + b"x" * 65536 + b"\r\n")
            await writer.drain()
            written += 65536

    handover, took = timed(behave, 3)
    assert handover.outcome == "accepted"
    assert took < 1
    assert written < 50_000_000


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"220 mail.school.example ESMTP\r\n",
        b"\x00" * 50,
        b"HTTP/1.1 abc\r\n\r\n",
        b"HTTP/1.1 200 OK\r\nX: " + b"y" * 200_000,
    ],
    ids=["nothing", "a mail server", "noise", "no status", "an endless head"],
)
def test_an_answer_that_is_no_http_leaves_it_unknown_whether_the_message_arrived(raw: bytes):
    handover = outcome(says(raw, then_close=True))
    assert (handover.outcome, handover.for_good) == ("timed_out", False)


def test_nobody_listening_is_a_refusal_that_may_change():
    async def run() -> Handover:
        async with Receiver(OK) as receiver:
            url = receiver.url
        return await channel({"url": url}).deliver(parcel())

    handover = asyncio.run(run())
    assert handover == Handover("refused", "no connection")


def test_messages_in_a_row_share_a_connection():
    outcomes, receiver = delivering(OK, *(parcel(id=f"m-{n}") for n in range(20)))
    assert {each.outcome for each in outcomes} == {"accepted"}
    assert receiver.connections == 1


def test_a_receiver_that_answers_twice_does_not_answer_for_the_next_message():
    twice = b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\n\r\n" * 2
    outcomes, receiver = delivering(says(twice), parcel(id="m-1"), parcel(id="m-2"))
    assert len(receiver.requests) == len(outcomes) == 2
    assert receiver.connections == 2


def test_a_receiver_that_closes_after_each_answer_gets_a_new_connection_each_time():
    closing = says(b"HTTP/1.1 200 OK\r\nContent-Length: 0\r\nConnection: close\r\n\r\n", then_close=True)
    outcomes, receiver = delivering(closing, *(parcel(id=f"m-{n}") for n in range(3)))
    assert {each.outcome for each in outcomes} == {"accepted"}
    assert receiver.connections == 3


def test_a_kept_connection_that_the_receiver_has_left_is_replaced_unseen():
    async def run() -> list[Handover]:
        async with Receiver(says(b"HTTP/1.1 204 No Content\r\n\r\n", then_close=True)) as receiver:
            sending = channel({"url": receiver.url})
            first = await sending.deliver(parcel())
            await asyncio.sleep(0.1)
            outcomes = [first, await sending.deliver(parcel())]
            await sending.close()
            return outcomes

    assert [each.outcome for each in asyncio.run(run())] == ["accepted", "accepted"]


def test_one_receiver_that_hangs_holds_up_no_other_message():
    async def run() -> tuple[list[Handover], float]:
        async with Receiver(hangs) as stuck, Receiver(OK) as quick:
            sending = channel({}, held={"STUCK": stuck.url, "QUICK": quick.url}, limit=timedelta(seconds=2))
            waiting = [asyncio.create_task(sending.deliver(parcel(to_address="env:STUCK"))) for _ in range(5)]
            await asyncio.sleep(0.05)
            begun = time.monotonic()
            outcomes = [await sending.deliver(parcel(to_address="env:QUICK")) for _ in range(10)]
            took = time.monotonic() - begun
            for task in waiting:
                task.cancel()
            await asyncio.gather(*waiting, return_exceptions=True)
            await sending.close()
            return outcomes, took

    outcomes, took = asyncio.run(run())
    assert {each.outcome for each in outcomes} == {"accepted"}
    assert took < 1


def test_the_settings_of_a_proxy_in_the_environment_are_not_used(monkeypatch: pytest.MonkeyPatch):
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    assert outcome(OK).outcome == "accepted"


def test_no_outcome_tells_an_address_a_secret_or_a_word_of_the_message():
    for behave in (
        OK,
        answers("500 Oops"),
        answers("403 No", parcel().text.encode()),
        says(b"?", then_close=True),
    ):
        detail = outcome(behave).detail
        assert not any(word in detail for word in ("127.0.0.1", "hook", "Fern", "whsec"))


def test_a_prompt_that_must_wait_longer_than_it_matters_is_refused_for_good():
    soon = replace(parcel(), give_up_at=NOW + timedelta(seconds=20))
    (handover,), _ = delivering(answers("503 Busy", Retry_After="21"), soon)
    assert (handover.outcome, handover.for_good) == ("refused", True)
