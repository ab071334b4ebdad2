"""Through a real mail server and back: prompt, reply, record, acknowledgement; and a bounce as it really comes."""

import asyncio
import smtplib
from collections.abc import Iterator
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest

from service.channels.addresses import AddressGuard
from service.channels.factory import build
from service.channels.protocol import Parcel
from service.engine import commands, postman, running
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.engine.postman import Outcome, Report
from service.store.base import Store
from service.wiring import dresser
from tests.engine.engine_mail import (
    CHECKER,
    SECOND,
    address,
    by_mail,
    mailroom,
    messages_by_purpose,
    received,
)
from tests.engine.engine_morning import DAY, Receivers, at, open_desk, play_to, results
from tests.mail.mail_postfix import Postfix

pytestmark = pytest.mark.mail


@pytest.fixture(scope="module")
def postfix(open_folder: Path) -> Iterator[Postfix]:
    server = Postfix(open_folder / "postfix", (CHECKER,))
    server.start()
    yield server
    server.stop()


@pytest.fixture
def desk(postfix: Postfix, tmp_path: Path) -> Iterator[Desk]:
    """07:00 in the made district, whose mail goes through Postfix."""
    store = Store(f"sqlite:///{tmp_path / 'bc.db'}")
    store.upgrade()
    made = open_desk(store, SteppedClock(at("07:00")))
    documents = by_mail()
    documents["channels"]["mail"]["port"] = postfix.port
    commands.configure(made, documents, "C")
    yield made
    store.close()


def send(desk: Desk) -> None:
    """What waits in the outbox, through the channel as it is in service."""
    now = desk.clock.now()
    running.run_due(desk, now)
    errands = postman.claim(desk, now)
    dresses = dresser(desk, "https://checks.example")(errands)
    with desk.glance() as m:
        setup = m.district.channels["mail"]

    async def deliver() -> None:
        channel = build(setup, {}.get, AddressGuard(), stamp=lambda: datetime.now(UTC))
        for errand, dress in zip(errands, dresses, strict=True):
            parcel = Parcel(
                id=errand.id, key=errand.key, to_address=errand.address, subject=errand.subject,
                lock_line=errand.lock_line, text=errand.text, html=None, link=dress.link, purpose=errand.purpose,
                thread=errand.thread, in_reply_to=errand.in_reply_to, reply_token=dress.reply_token, at=now,
                give_up_at=errand.give_up_at, automatic="auto-replied" if errand.in_reply_to else "auto-generated",
            )  # fmt: skip
            came = await channel.deliver(parcel)
            assert came.outcome == "accepted", came
            postman.record(desk, errand, Report(Outcome.ACCEPTED), now)
        await channel.close()

    asyncio.run(deliver())


def opened(raw: bytes) -> EmailMessage:
    return message_from_bytes(raw, policy=policy.default)


def answer(postfix: Postfix, asked: EmailMessage, text: str) -> None:
    """A person's mail program answers: to the reply address, in the thread, the question quoted below."""
    mail = EmailMessage()
    mail["From"], mail["To"] = address(CHECKER), asked["Reply-To"]
    mail["Subject"], mail["Message-ID"] = f"Re: {asked['Subject']}", "<answer-1@phone.example>"
    mail["In-Reply-To"] = asked["Message-ID"]
    mail["References"] = f"{asked.get('References', '')} {asked['Message-ID']}".strip()
    body = asked.get_body(("plain",))
    quoted = "\n".join(f"> {line}" for line in body.get_content().splitlines()) if body else ""
    mail.set_content(f"{text}\n\nOn Mon, Oct 5, 2026 at 8:05 AM Checks <{asked['From']}> wrote:\n{quoted}\n")
    with smtplib.SMTP("127.0.0.1", postfix.port) as smtp:
        smtp.send_message(mail)


def test_a_prompt_goes_out_its_answer_comes_back_and_is_acknowledged_in_the_same_thread(
    desk: Desk, postfix: Postfix
) -> None:
    desk.clock.move_to(at("08:05"))  # type: ignore[attr-defined]
    send(desk)
    asked = opened(postfix.next_mail_of(CHECKER))
    assert "Tree" not in asked["Subject"]
    assert asked["Auto-Submitted"] == "auto-generated"

    answer(postfix, asked, "all ok")
    assert mailroom(desk).take("mail", postfix.next_mail()).new
    send(desk)

    assert {result for check, result in results(desk.store).items() if DAY in check} == {"working"}
    acknowledged = opened(postfix.next_mail_of(CHECKER))
    assert acknowledged["Auto-Submitted"] == "auto-replied"
    assert acknowledged["In-Reply-To"] == "<answer-1@phone.example>"
    assert acknowledged["Subject"] == f"Re: {asked['Subject']}"
    assert asked["References"] is None or asked["References"].split()[0] in acknowledged["References"]


def test_a_mail_to_nobody_comes_back_and_the_next_is_told_at_once(desk: Desk, postfix: Postfix) -> None:
    documents = by_mail()
    documents["channels"]["mail"]["port"] = postfix.port
    documents["people"][CHECKER]["channels"] = [{"mail": "nobody-there@school.example"}]
    commands.configure(desk, documents, "C")
    desk.clock.move_to(at("08:05"))  # type: ignore[attr-defined]
    send(desk)

    bounced = postfix.next_mail()
    assert opened(bounced).get_content_type() == "multipart/report"
    mailroom(desk).take("mail", bounced)
    play_to(desk, "08:06", Receivers())

    assert [row.body["mail"]["kind"] for row in received(desk)] == ["failed"]
    assert messages_by_purpose(desk, SECOND) == ["alert"]
    with desk.glance() as m:
        assert f"gone/{CHECKER}/mail" in m.gone
