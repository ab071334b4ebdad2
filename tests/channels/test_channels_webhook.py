import asyncio
import json
import ssl
import time
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

import pytest
from channel_parcels import NOW, SECRET, parcel, stamp
from channel_receivers import Authority, Behaviour, Receiver, answers, drips, hangs, says

from service.channels.addresses import AddressGuard, read_target
from service.channels.factory import build
from service.channels.lane import Network, NotReachedError
from service.channels.protocol import Channel, Handover, Parcel
from service.channels.signature import Verified, verify
from service.core.district import ChannelSetup

OLDER = "whsec_" + "REVG" * 8
HELD = {"CHAT_SECRET": SECRET, "BOTH_SECRETS": f"{OLDER} {SECRET}"}
OK = answers("200 OK", b"{}", Content_Type="application/json")


def channel(options: Mapping[str, object], *, guard: AddressGuard | None = None, **others: object) -> Channel:
    """A webhook channel that may speak to this machine, as the demo's may."""
    held = {**HELD, **others.pop("held", {})}
    limit = others.pop("limit", timedelta(seconds=5))
    setup = ChannelSetup("chat", "webhook", options={"allow": ["127.0.0.1"], **options})
    return build(setup, held.get, guard or AddressGuard(), stamp=stamp, limit=limit, **others)


def delivering(behave: Behaviour, *parcels: Parcel, **others: object) -> tuple[list[Handover], Receiver]:
    """What comes of delivering the parcels one after the other to a receiver that behaves so."""

    async def run() -> tuple[list[Handover], Receiver]:
        async with Receiver(behave) as receiver:
            options = {
                "url": receiver.url,
                "signing secret": {"env": "CHAT_SECRET"},
                **others.pop("options", {}),
            }
            sending = channel(options, **others)
            outcomes = [await sending.deliver(each) for each in parcels or (parcel(),)]
            await sending.close()
            return outcomes, receiver

    return asyncio.run(run())


def outcome(behave: Behaviour, **others: object) -> Handover:
    return delivering(behave, **others)[0][0]


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


# The guard


def resolving(*answers: Sequence[str]) -> tuple[AddressGuard, list[str]]:
    """A guard whose resolver gives the answers in turn, and what it was asked."""
    asked: list[str] = []
    left = list(answers)

    async def resolve(host: str, port: int) -> Sequence[str]:
        asked.append(f"{host}:{port}")
        return left.pop(0)

    return AddressGuard(resolve), asked


def dialled_for(guard: AddressGuard) -> list[str]:
    """The addresses that a lane to chat.example dials when none answers: a test calls nobody's."""
    dialled: list[str] = []

    async def dial(address: str, port: int, **_: object) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        dialled.append(address)
        raise ConnectionRefusedError

    network = Network(guard, (), ssl.create_default_context(), 1.0, dial)
    with pytest.raises(NotReachedError):
        asyncio.run(network.connect(read_target("https://chat.example/")))
    return dialled


def test_a_name_that_changes_its_mind_is_asked_once_and_its_checked_address_is_dialled():
    guard, asked = resolving(["9.9.9.9"], ["127.0.0.1"])
    assert dialled_for(guard) == ["9.9.9.9"]
    assert asked == ["chat.example:443"]


def test_every_checked_address_is_tried_before_giving_up():
    guard, _ = resolving(["2620:fe::9", "9.9.9.9"])
    assert dialled_for(guard) == ["2620:fe::9", "9.9.9.9"]


@pytest.mark.parametrize("found", [["127.0.0.1"], ["9.9.9.9", "127.0.0.1"], ["::ffff:127.0.0.1"]])
def test_a_name_that_leads_into_the_house_is_refused_for_good_without_a_connection(found: list[str]):
    guard, _ = resolving(found)

    async def run() -> tuple[Handover, int]:
        async with Receiver(OK) as receiver:
            sending = channel({"url": f"https://chat.school.example:{receiver.port}/"}, guard=guard)
            handover = await sending.deliver(parcel())
            return handover, receiver.connections

    handover, connections = asyncio.run(run())
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert "private network" in handover.detail
    assert connections == 0


def test_plain_http_to_a_host_that_is_not_allowed_by_name_is_refused():
    handover = asyncio.run(channel({}).deliver(parcel(to_address="http://chat.example/hook")))
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert "https" in handover.detail


def test_a_name_that_cannot_be_resolved_may_be_resolved_later():
    async def unknown(host: str, port: int) -> Sequence[str]:
        raise OSError("no such name")

    handover = asyncio.run(
        channel({"url": "https://chat.example/"}, guard=AddressGuard(unknown)).deliver(parcel())
    )
    assert (handover.outcome, handover.for_good) == ("refused", False)


# TLS


def over_tls(
    authority: Authority, host: str, tls: ssl.SSLContext, work: Callable[[Channel], Awaitable[Handover]]
) -> tuple[Handover, Receiver]:
    guard, _ = resolving(*[["127.0.0.1"]] * 4)

    async def run() -> tuple[Handover, Receiver]:
        async with Receiver(OK, authority.serving()) as receiver:
            options = {"url": f"https://{host}:{receiver.port}/hook", "allow": [host]}
            sending = channel(options, guard=guard, tls=tls)
            handover = await work(sending)
            await sending.close()
            return handover, receiver

    return asyncio.run(run())


def test_tls_goes_to_the_checked_address_and_is_verified_for_the_name(authority: Authority):
    handover, receiver = over_tls(
        authority, "chat.school.example", authority.trusting(), lambda sending: sending.deliver(parcel())
    )
    assert handover.outcome == "accepted"
    assert receiver.requests[0].headers["host"] == f"chat.school.example:{receiver.port}"


@pytest.mark.parametrize("host", ["other.school.example", "127.0.0.1"])
def test_a_certificate_for_another_name_is_not_good_enough(authority: Authority, host: str):
    handover, receiver = over_tls(
        authority, host, authority.trusting(), lambda sending: sending.deliver(parcel())
    )
    assert handover.outcome == "refused"
    assert "certificate" in handover.detail
    assert not receiver.requests


def test_a_certificate_from_an_unknown_authority_is_not_good_enough(authority: Authority):
    handover, receiver = over_tls(
        authority,
        "chat.school.example",
        ssl.create_default_context(),
        lambda sending: sending.deliver(parcel()),
    )
    assert "certificate" in handover.detail
    assert not receiver.requests


def test_a_server_that_hangs_while_agreeing_on_tls_is_cut_off_and_the_connection_closed():
    async def run() -> tuple[Handover, bytes]:
        rest: asyncio.Future[bytes] = asyncio.get_running_loop().create_future()

        async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            rest.set_result(await reader.read())
            writer.close()

        server = await asyncio.start_server(silent, "127.0.0.1", 0)
        url = f"https://127.0.0.1:{server.sockets[0].getsockname()[1]}/"
        handover = await channel({"url": url}, limit=timedelta(seconds=0.3)).deliver(parcel())
        read = await asyncio.wait_for(rest, 1)
        server.close()
        return handover, read

    handover, read = asyncio.run(run())
    assert handover.outcome == "timed_out"
    assert read


# Probing


def test_a_probe_agrees_on_tls_and_sends_no_request(authority: Authority):
    handover, receiver = over_tls(
        authority, "chat.school.example", authority.trusting(), lambda sending: sending.probe()
    )
    assert handover.outcome == "accepted"
    assert receiver.connections == 1
    assert not receiver.requests


def test_a_probe_finds_a_bad_certificate(authority: Authority):
    handover, _ = over_tls(authority, "other.example", authority.trusting(), lambda sending: sending.probe())
    assert handover.outcome == "refused"


def test_a_probe_of_one_persons_address_needs_the_channel_to_have_none():
    async def run() -> tuple[Handover, Handover, Handover]:
        async with Receiver(OK) as receiver:
            sending = channel({}, held={"TEAL_CHAT_URL": receiver.url})
            return (
                await sending.probe(),
                await sending.probe("env:TEAL_CHAT_URL"),
                await sending.probe("env:NOWHERE"),
            )

    nothing, reached, unset = asyncio.run(run())
    assert "nothing to try" in nothing.detail
    assert reached.outcome == "accepted"
    assert unset.outcome == "refused"


def test_a_prompt_that_must_wait_longer_than_it_matters_is_refused_for_good():
    soon = replace(parcel(), give_up_at=NOW + timedelta(seconds=20))
    (handover,), _ = delivering(answers("503 Busy", Retry_After="21"), soon)
    assert (handover.outcome, handover.for_good) == ("refused", True)
