import asyncio
import ssl
from collections.abc import Awaitable, Callable, Sequence
from datetime import timedelta

import pytest
from channel_parcels import parcel
from channel_receivers import Authority, Receiver
from channel_webhooks import OK, channel, resolving

from service.channels.addresses import AddressGuard, read_target
from service.channels.lane import Network, NotReachedError
from service.channels.protocol import Channel, Handover


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


def test_an_address_that_does_not_answer_leaves_time_for_the_next():
    guard, _ = resolving(["2620:fe::9", "9.9.9.9"])

    async def dial(address: str, port: int, **_: object) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        if ":" in address:
            await asyncio.sleep(30)
        raise ConnectionRefusedError

    async def run() -> None:
        network = Network(guard, (), ssl.create_default_context(), 0.2, dial)
        async with asyncio.timeout(0.2):
            with pytest.raises(NotReachedError):
                await network.connect(read_target("https://chat.example/"))

    asyncio.run(run())


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
