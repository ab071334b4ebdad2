"""A made district that is written to by mail, and mails as people and programs send them."""

from collections.abc import Iterable

from sqlmodel import col, select

from service.engine import doors
from service.engine.desk import Desk
from service.engine.mailroom import Mailroom
from service.store.tables import InboxRow, OutboxRow
from tests.engine.engine_district import Documents, district

DOMAIN = "school.example"
OURS = f"checks@{DOMAIN}"
OWN_SERVER = f"mx.{DOMAIN}"
CHECKER, SECOND = "school000-room0", "school000-second"
NO_SECRETS = {}.get


def by_mail(own_server: bool = False, **settings: str) -> Documents:
    """Everybody has a mail address, `own_server` says whom our mail server vouches for."""
    documents = district(**settings)
    documents["channels"]["mail"] = {
        "kind": "email",
        "host": "127.0.0.1",
        "starttls": False,
        "from": OURS,
        "answers": True,
        **({"own server": OWN_SERVER} if own_server else {}),
    }
    documents["people"]["colleague"] = {"name": "Somebody", "roles": [{"nurse": ["school000"]}]}
    documents["people"]["parent"] = {
        "name": "Somebody", "roles": ["guardian"], "outside": True, "consent": "2026-08-20",
    }  # fmt: skip
    for id, person in documents["people"].items():
        person["channels"] = [{"mail": address(id)}]
    return documents


def address(person: str) -> str:
    return f"{person}@{DOMAIN}".lower()


def mailroom(desk: Desk) -> Mailroom:
    return Mailroom(desk, NO_SECRETS)


def message_to(desk: Desk, person: str, purpose: str = "prompt") -> OutboxRow:
    """The newest message of that purpose to somebody."""
    with desk.store.reading() as tx:
        chosen = select(OutboxRow).where(OutboxRow.person == person, OutboxRow.purpose == purpose)
        found = tx.exec(chosen.order_by(col(OutboxRow.created_at).desc(), col(OutboxRow.id))).first()
    assert found is not None, f"{person} got no {purpose}"
    return found


def tag_of(desk: Desk, row: OutboxRow) -> str:
    with desk.glance() as m:
        return doors.reply_tag_of(m, row)


def reply(
    text: str,
    sender: str,
    to: OutboxRow | None = None,
    tag: str | None = None,
    id: str = "m1",
    subject: str = "Re: 3 checks by 08:15",
    more: Iterable[str] = (),
) -> bytes:
    """A mail to us: `to` is what it answers by its headers, `tag` what the address it goes to bears."""
    lines = [
        f"From: Somebody <{sender}>",
        f"To: Checks <{OURS.replace('@', f'+{tag}@') if tag else OURS}>",
        f"Subject: {subject}",
        f"Message-ID: <{id}@{DOMAIN}>",
        *([f"In-Reply-To: <{to.id}@{DOMAIN}>", f"References: <{to.thread}@{DOMAIN}> <{to.id}@{DOMAIN}>"] if to else ()),
        *more,
        "Content-Type: text/plain; charset=utf-8",
    ]
    return "\r\n".join([*lines, "", text]).encode()


def bounce(row: OutboxRow, tag: str | None, action: str = "failed", status: str = "5.1.1", id: str = "b1") -> bytes:
    """A delivery report as RFC 3464 forms it; `tag` is that of the Reply-To it gives back."""
    returned = [f"Message-ID: <{row.id}@{DOMAIN}>", *([f"Reply-To: checks+{tag}@{DOMAIN}"] if tag else ())]
    lines = [
        f"From: Mail Delivery Subsystem <MAILER-DAEMON@{OWN_SERVER}>", f"To: {OURS}", "Return-Path: <>",
        "Subject: Undelivered", f"Message-ID: <{id}@{OWN_SERVER}>", "Auto-Submitted: auto-replied",
        "Content-Type: multipart/report; report-type=delivery-status; boundary=b", "",
        "--b", "Content-Type: text/plain", "", "ok", "",
        "--b", "Content-Type: message/delivery-status", "", "Reporting-MTA: dns; mx", "",
        f"Final-Recipient: rfc822; {row.address}", f"Action: {action}", f"Status: {status}", "",
        "--b", "Content-Type: text/rfc822-headers", "", *returned, "", "--b--", "",
    ]  # fmt: skip
    return "\r\n".join(lines).encode()


def received(desk: Desk) -> list[InboxRow]:
    with desk.store.reading() as tx:
        return list(tx.exec(select(InboxRow).order_by(InboxRow.received_at, InboxRow.id)))


def messages_by_purpose(desk: Desk, person: str) -> list[str]:
    with desk.store.reading() as tx:
        chosen = select(OutboxRow).where(OutboxRow.person == person).order_by(col(OutboxRow.created_at))
        return [row.purpose for row in tx.exec(chosen)]
