import asyncio
import socket
import ssl
import time
from collections.abc import Awaitable, Callable, Mapping
from datetime import timedelta

import pytest
from channel_mail_servers import PASSWORD, MailServer, Postbox, Scripted, read_content, talk
from channel_parcels import parcel, stamp
from channel_receivers import Authority

from service.channels import line
from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.channels.protocol import Channel, Handover, Parcel
from service.core.district import ChannelSetup

TO = parcel(to_address="r-moss@hollow-road.example")
EHLO = "250 mail.school.example"


def channel(port: int, options: Mapping[str, object], **others: object) -> Channel:
    """A mail channel to a server on this machine, without TLS unless told otherwise."""
    usual = {"host": "127.0.0.1", "port": port, "starttls": False, "from": "checks@school.example"}
    limit = others.pop("limit", timedelta(seconds=5))
    setup = ChannelSetup("mail", "email", options={**usual, **options})
    return build(setup, {"MAIL_WORD": PASSWORD}.get, AddressGuard(), stamp=stamp, limit=limit, **others)


def with_channel(
    port: int,
    work: Callable[[Channel], Awaitable[list[Handover]]],
    options: Mapping[str, object] = {},
    **others: object,
) -> list[Handover]:
    async def run() -> list[Handover]:
        sending = channel(port, options, **others)
        outcomes = await work(sending)
        await sending.close()
        return outcomes

    return asyncio.run(run())


def sent(port: int, *parcels: Parcel, options: Mapping[str, object] = {}, **others: object) -> list[Handover]:
    """What comes of sending these parcels one after the other."""

    async def work(sending: Channel) -> list[Handover]:
        return [await sending.deliver(each) for each in parcels or (TO,)]

    return with_channel(port, work, options, **others)


def test_a_mail_arrives_and_the_server_having_taken_it_is_acceptance():
    postbox = Postbox()
    with MailServer(postbox) as server:
        (handover,) = sent(server.port)
    assert handover.outcome == "accepted"
    (mail,) = postbox.mails
    assert mail["To"] == "r-moss@hollow-road.example"
    assert mail["Message-ID"] == f"<{TO.id}@school.example>"
    assert mail.get_content().splitlines() == TO.text.splitlines()
    assert postbox.envelopes[0].mail_from == "checks@school.example"


def test_a_line_of_one_dot_and_long_lines_arrive_as_they_were_written():
    text = ".\n..two\n" + "ü" * 3000 + "\nend"
    postbox = Postbox()
    with MailServer(postbox) as server:
        sent(server.port, parcel(to_address="r-moss@hollow-road.example", text=text, html="<p>.</p>"))
    (mail,) = postbox.mails
    assert mail.get_body(("plain",)).get_content().splitlines() == text.splitlines()
    assert mail.get_body(("html",)).get_content().strip() == "<p>.</p>"


def test_mails_in_a_row_share_a_connection():
    postbox = Postbox()
    with MailServer(postbox) as server:
        outcomes = sent(server.port, *[TO] * 10)
    assert [each.outcome for each in outcomes] == ["accepted"] * 10
    assert postbox.sessions == 1


def test_starttls_is_used_and_verified_for_the_servers_name(
    authority: Authority, monkeypatch: pytest.MonkeyPatch
):
    names_lead_here(monkeypatch)
    postbox = Postbox()
    with MailServer(postbox, authority.serving(), sign_in=True) as server:
        options = {
            "host": "mail.school.example",
            "starttls": True,
            "user": "checks",
            "password": {"env": "MAIL_WORD"},
        }
        (good,) = sent(server.port, options=options, tls=authority.trusting())
        (other,) = sent(server.port, options={**options, "host": "other.example"}, tls=authority.trusting())
        (unknown,) = sent(server.port, options=options, tls=ssl.create_default_context())
    assert good.outcome == "accepted"
    assert "certificate" in other.detail
    assert "certificate" in unknown.detail
    assert len(postbox.envelopes) == 1


def names_lead_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every name leads to this machine: a test calls no other."""
    connect = socket.create_connection
    monkeypatch.setattr(
        socket, "create_connection", lambda place, *rest: connect(("127.0.0.1", place[1]), *rest)
    )


def test_a_server_without_starttls_gets_no_mail_from_a_channel_that_wants_it():
    postbox = Postbox()
    with MailServer(postbox) as server:
        (handover,) = sent(server.port, options={"starttls": True})
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert "STARTTLS" in handover.detail
    assert not postbox.envelopes


def test_a_wrong_password_is_refused_for_good_and_never_repeated():
    postbox = Postbox()
    with MailServer(postbox, sign_in=True) as server:
        (handover,) = sent(server.port, options={"user": "checks", "password": "wrong-but-said"})
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert "535" in handover.detail
    assert "wrong" not in handover.detail


@pytest.mark.parametrize("where", ["rcpt", "data"])
@pytest.mark.parametrize(
    ("code", "outcome", "for_good"),
    [("450 4.2.0 grey r-moss", "deferred", False), ("452 full", "deferred", False),
     ("550 5.1.1 no r-moss here", "refused", True), ("554 no", "refused", True)],
)  # fmt: skip
def test_4yz_can_be_tried_again_and_5yz_cannot(where: str, code: str, outcome: str, for_good: bool):
    with MailServer(Postbox(**{where: code})) as server:
        (handover,) = sent(server.port)
    assert (handover.outcome, handover.for_good) == (outcome, for_good)
    assert code[:3] in handover.detail
    assert "r-moss" not in handover.detail


def test_one_refused_mail_does_not_spoil_the_next():
    postbox = Postbox(rcpt="550 5.1.1 no")

    async def work(sending: Channel) -> list[Handover]:
        first = await sending.deliver(TO)
        postbox.rcpt = "250 OK"
        return [first, await sending.deliver(TO)]

    with MailServer(postbox) as server:
        outcomes = with_channel(server.port, work)
    assert [each.outcome for each in outcomes] == ["refused", "accepted"]


def dropped_after_content(connection: socket.socket) -> None:
    talk(connection, EHLO, "250 OK", "250 OK", "354 go on")
    read_content(connection)


def taking_one(connection: socket.socket) -> None:
    talk(connection, EHLO, "250 OK", "250 OK", "354 go on")
    read_content(connection)
    connection.sendall(b"250 taken\r\n")
    time.sleep(0.2)


def taking_one_then_421(connection: socket.socket) -> None:
    talk(connection, EHLO, "250 OK", "250 OK", "354 go on")
    read_content(connection)
    connection.sendall(b"250 taken\r\n")
    connection.recv(4096)
    connection.sendall(b"421 4.7.0 enough for one connection\r\n")


def test_a_connection_lost_after_the_content_leaves_it_unknown_and_a_retry_bears_the_same_id():
    contents: list[bytes] = []

    def second(connection: socket.socket) -> None:
        talk(connection, EHLO, "250 OK", "250 OK", "354 go on")
        contents.append(read_content(connection))
        connection.sendall(b"250 taken\r\n")
        connection.recv(4096)

    def first(connection: socket.socket) -> None:
        talk(connection, EHLO, "250 OK", "250 OK", "354 go on")
        contents.append(read_content(connection))

    with Scripted(first, second) as server:
        unknown, known = sent(server.port, TO, TO)
    assert (unknown.outcome, unknown.for_good) == ("timed_out", False)
    assert known.outcome == "accepted"
    id = f"Message-ID: <{TO.id}@school.example>".encode()
    assert [id in each for each in contents] == [True, True]


@pytest.mark.parametrize("gone_stale", [taking_one, taking_one_then_421], ids=["closed", "421"])
def test_a_kept_connection_that_the_server_has_left_is_replaced_unseen(
    gone_stale: Callable[[socket.socket], None],
):
    async def work(sending: Channel) -> list[Handover]:
        first = await sending.deliver(TO)
        await asyncio.sleep(0.3)
        return [first, await sending.deliver(TO)]

    with Scripted(gone_stale, taking_one) as server:
        outcomes = with_channel(server.port, work)
    assert [each.outcome for each in outcomes] == ["accepted", "accepted"]
    assert server.connections == 2


def test_a_connection_lost_before_the_content_is_a_refusal_that_may_change():
    with Scripted(lambda connection: talk(connection, EHLO, "250 OK")) as server:
        (handover,) = sent(server.port)
    assert (handover.outcome, handover.for_good) == ("refused", False)


@pytest.mark.parametrize(
    ("greeting", "outcome", "for_good"),
    [
        ("421 4.3.2 not now", "deferred", False),
        ("554 not you", "refused", True),
        ("HTTP/1.1 400 Bad", "refused", False),
    ],
)
def test_a_server_that_does_not_greet_us_is_judged_by_what_it_says(
    greeting: str, outcome: str, for_good: bool
):
    with Scripted(lambda connection: talk(connection, greeting=greeting)) as server:
        (handover,) = sent(server.port)
    assert (handover.outcome, handover.for_good) == (outcome, for_good)


def hanging(connection: socket.socket) -> None:
    connection.recv(1)


def dripping(connection: socket.socket) -> None:
    for byte in b"220-" + b"x" * 200:
        connection.sendall(bytes([byte]))
        time.sleep(0.05)


def hanging_after_content(connection: socket.socket) -> None:
    dropped_after_content(connection)
    connection.recv(1)


@pytest.mark.parametrize("stuck", [hanging, dripping, hanging_after_content])
def test_a_server_that_hangs_or_drips_is_cut_off_and_the_next_mail_goes_its_way(
    stuck: Callable[[socket.socket], None],
):
    begun = time.monotonic()
    with Scripted(stuck, taking_one) as server:
        first, second = sent(server.port, TO, TO, limit=timedelta(seconds=0.4))
    assert (first.outcome, first.for_good) == ("timed_out", False)
    assert second.outcome == "accepted"
    assert time.monotonic() - begun < 2.5


def test_a_wait_that_runs_out_on_the_line_itself_is_no_refusal():
    with Scripted(hanging) as scripted:
        server = line.MailServer("127.0.0.1", scripted.port, False, None, None, "bell.school.example")
        assert line.Line(server, 0.2, ssl.create_default_context()).probe().outcome == "timed_out"


def test_nobody_listening_is_a_refusal_that_may_change():
    with socket.create_server(("127.0.0.1", 0)) as closing:
        port = closing.getsockname()[1]
    (handover,) = sent(port)
    assert handover == Handover("refused", "no connection to the mail server")


@pytest.mark.parametrize(
    "address", ["r-moss", "a@b@c", "", "x@y.example\r\nRCPT TO:<z@y.example>", "a@x.example, b@x.example"]
)
def test_what_is_not_one_mail_address_is_refused_for_good_without_a_connection(address: str):
    postbox = Postbox()
    with MailServer(postbox) as server:
        (handover,) = sent(server.port, parcel(to_address=address))
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert postbox.sessions == 0


def test_an_address_beyond_ascii_needs_a_server_that_says_it_can():
    with MailServer(Postbox()) as server:
        (handover,) = sent(server.port, parcel(to_address="möss@hollow-road.example"))
    assert (handover.outcome, handover.for_good) == ("refused", True)
    assert "SMTPUTF8" in handover.detail


def test_several_mails_at_once_go_one_after_the_other_and_all_arrive():
    postbox = Postbox()

    async def work(sending: Channel) -> list[Handover]:
        return await asyncio.gather(*(sending.deliver(TO) for _ in range(20)))

    with MailServer(postbox) as server:
        outcomes = with_channel(server.port, work)
    assert {each.outcome for each in outcomes} == {"accepted"}
    assert len(postbox.envelopes) == 20
    assert postbox.sessions == 1


def test_the_wait_for_a_mails_turn_is_not_part_of_its_attempt():
    class Slow(Postbox):
        async def handle_DATA(self, *arguments: object) -> str:  # noqa: N802
            await asyncio.sleep(0.3)
            return await super().handle_DATA(*arguments)

    async def work(sending: Channel) -> list[Handover]:
        return await asyncio.gather(*(sending.deliver(TO) for _ in range(4)))

    with MailServer(Slow()) as server:
        outcomes = with_channel(server.port, work, limit=timedelta(seconds=0.9))
    assert [each.outcome for each in outcomes] == ["accepted"] * 4


def test_a_probe_reaches_the_server_and_sends_nothing():
    postbox = Postbox()

    async def work(sending: Channel) -> list[Handover]:
        return [await sending.probe()]

    with MailServer(postbox) as server:
        (reached,) = with_channel(server.port, work)
    (missing,) = with_channel(server.port, work)
    assert reached.outcome == "accepted"
    assert missing.outcome == "refused"
    assert not postbox.envelopes
