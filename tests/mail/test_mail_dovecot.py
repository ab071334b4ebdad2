"""Answers fetched from a real mailbox: nothing lost, nothing twice, nothing changed in it."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from imapclient import IMAPClient

from service.channels import mailbox as mailboxes
from service.channels.mailbox import Mailbox, MailboxTrouble, probe
from service.core.district import ChannelSetup
from service.engine import commands
from service.engine.clock import RealClock
from service.engine.desk import Desk
from service.engine.health import health
from service.engine.mailboxes import Reader, fetch_new
from service.engine.mailroom import Mailroom
from service.store import marks
from service.store.base import Store
from tests.engine.engine_mail import CHECKER, NO_SECRETS, address, by_mail, received, reply
from tests.engine.engine_morning import open_desk
from tests.mail.mail_dovecot import PASSWORD, Dovecot

pytestmark = pytest.mark.mail

CHANNEL = ChannelSetup("mail", "email", False, {"answers": True})


@pytest.fixture
def dovecot(open_folder: Path, tmp_path: Path) -> Iterator[Dovecot]:
    server = Dovecot(open_folder / tmp_path.name)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A desk on real time: a mailbox's days are the machine's."""
    store = Store(f"sqlite:///{tmp_path / 'bc.db'}")
    store.upgrade()
    made = open_desk(store, RealClock())  # type: ignore[arg-type]
    commands.configure(made, by_mail(), "C")
    yield made
    store.close()


def mail(words: str, id: str) -> bytes:
    return reply(words, address(CHECKER), id=id)


def texts(desk: Desk) -> list[str]:
    return sorted(row.text for row in received(desk))


def soon(holds: Callable[[], bool], seconds: float = 20) -> None:
    until = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < until, "it did not come about"
        time.sleep(0.05)


def fetch(desk: Desk, dovecot: Dovecot) -> int:
    """One look at the mailbox."""
    opened = Mailbox(dovecot.server)
    try:
        opened.open()
        return fetch_new(desk, Mailroom(desk, NO_SECRETS), "mail", opened, lambda: None)
    finally:
        opened.close()


@pytest.fixture
def reader(desk: Desk, dovecot: Dovecot) -> Iterator[Reader]:
    """The thread that reads the mailbox in service."""
    made = Reader(desk, CHANNEL, Mailroom(desk, NO_SECRETS), lambda: Mailbox(dovecot.server), lambda: None)
    made.start()
    yield made
    made.stop()
    made._thread.join(20)
    assert not made._thread.is_alive()


def test_mail_that_comes_while_the_connection_idles_is_stored_within_seconds(
    desk: Desk, dovecot: Dovecot, reader: Reader
) -> None:
    assert reader.looked.wait(20)
    for n in range(3):
        time.sleep(1.1)  # a Maildir that changes twice in a second looks to Dovecot as if it had once
        dovecot.deliver(mail(f"word {n}", f"m{n}"))
        soon(lambda n=n: len(texts(desk)) == n + 1)  # type: ignore[misc]
    assert texts(desk) == ["word 0", "word 1", "word 2"]


def test_a_server_that_goes_away_in_the_middle_of_idling_and_comes_back_loses_nothing(
    desk: Desk, dovecot: Dovecot, reader: Reader
) -> None:
    dovecot.deliver(mail("before", "m1"))
    soon(lambda: texts(desk) == ["before"])
    dovecot.stop()
    dovecot.deliver(mail("meanwhile", "m2"))
    time.sleep(1)
    dovecot.start()
    soon(lambda: texts(desk) == ["before", "meanwhile"])


def test_a_server_that_knows_no_idle_is_asked_again_and_again(
    desk: Desk, open_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mailboxes, "POLL_SECONDS", 0.2)
    server = Dovecot(open_folder / "plain", "imap_capability = IMAP4rev1")
    server.start()
    reader = Reader(desk, CHANNEL, Mailroom(desk, NO_SECRETS), lambda: Mailbox(server.server), lambda: None)
    reader.start()
    try:
        assert reader.looked.wait(20)
        server.deliver(mail("ok?", "m1"))
        soon(lambda: texts(desk) == ["ok?"])
    finally:
        reader.stop()
        reader._thread.join(20)
        server.stop()


def test_uids_that_mean_something_else_by_now_bring_no_mail_twice_and_lose_none(desk: Desk, dovecot: Dovecot) -> None:
    for n in range(3):
        dovecot.deliver(mail(f"word {n}", f"m{n}"))
    assert fetch(desk, dovecot) == 3
    before = _validity(dovecot)
    dovecot.stop()
    dovecot.forget_uids()
    time.sleep(1.1)  # Dovecot makes the new one from the second it is made in
    dovecot.deliver(mail("word 3", "m3"), name="0000000001.first.test")
    dovecot.start()
    assert fetch(desk, dovecot) == 1
    assert _validity(dovecot) != before
    assert texts(desk) == [f"word {n}" for n in range(4)]
    assert fetch(desk, dovecot) == 0


def _validity(dovecot: Dovecot) -> int:
    opened = Mailbox(dovecot.server)
    opened.open()
    opened.close()
    return opened.validity


def test_of_five_thousand_old_mails_only_those_of_these_days_are_read(desk: Desk, dovecot: Dovecot) -> None:
    for n in range(5000):
        dovecot.deliver(mail("ok", f"old{n}"), days_old=40)
    dovecot.deliver(mail("2 battery", "new"))
    assert fetch(desk, dovecot) == 1
    assert desk.mail_read.keys() == {"mail"}
    assert texts(desk) == ["2 battery"]


def test_a_mail_of_thirty_megabytes_and_a_broken_one_keep_no_other_from_being_read(
    desk: Desk, dovecot: Dovecot
) -> None:
    attached = b"\r\n--b\r\nContent-Type: application/pdf\r\n\r\n" + b"A" * 30_000_000
    plain, mixed = b"Content-Type: text/plain; charset=utf-8", b"Content-Type: multipart/mixed; boundary=b"
    large = mail("x", "large").replace(plain, mixed)
    dovecot.deliver(large.replace(b"\r\n\r\nx", b"\r\n\r\n--b\r\n\r\n2 battery") + attached)
    dovecot.deliver(b"Content-Type: multipart/mixed; boundary=\"\"\r\n\xff\0\r\n\r\n--\r\n")
    dovecot.deliver(b"")
    dovecot.deliver(mail("3 cable", "last"))
    fetch(desk, dovecot)
    assert {"2 battery", "3 cable"} <= set(texts(desk))
    assert fetch(desk, dovecot) == 0


def test_the_mailbox_is_left_as_it_was(desk: Desk, dovecot: Dovecot) -> None:
    dovecot.deliver(mail("2 battery", "m1"))
    fetch(desk, dovecot)
    with IMAPClient("127.0.0.1", dovecot.port, ssl=False) as looked:
        looked.login("checks", PASSWORD)
        looked.select_folder("INBOX", readonly=True)
        flags = looked.fetch(looked.search("ALL"), ["FLAGS"])
    assert len(flags) == 1
    assert not {b"\\Seen", b"\\Deleted"} & {flag for each in flags.values() for flag in each[b"FLAGS"]}


def test_a_look_says_what_is_there_or_what_is_wrong(dovecot: Dovecot) -> None:
    dovecot.deliver(mail("ok", "m1"))
    assert probe(dovecot.server) == "opened, 1 mails, tells of new mail by itself"
    with pytest.raises(MailboxTrouble, match="does not take the name or the password"):
        probe(mailboxes.MailboxServer("127.0.0.1", dovecot.port, False, "checks", "wrong"))
    with pytest.raises(MailboxTrouble, match="has no such folder"):
        probe(mailboxes.MailboxServer("127.0.0.1", dovecot.port, False, "checks", PASSWORD, "Elsewhere"))
    dovecot.stop()
    with pytest.raises(MailboxTrouble, match="cannot be reached"):
        probe(dovecot.server)
    dovecot.start()


def test_a_mailbox_that_cannot_be_read_for_minutes_is_a_trouble_that_ends_with_it(desk: Desk, dovecot: Dovecot) -> None:
    with desk.moment() as m:
        long_ago = m.now.replace(year=m.now.year - 1)
        marks.set(m.tx, "mailbox-trouble/mail", long_ago, {"why": "the mailbox server cannot be reached"})
    with desk.glance() as m:
        assert any("the mailbox of channel mail is not read" in wrong for wrong in health(m).wrongs)
    fetch(desk, dovecot)
    with desk.glance() as m:
        assert not any("mailbox" in wrong for wrong in health(m).wrongs)
