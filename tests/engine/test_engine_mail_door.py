"""The door for raw mail over HTTP: only with the channel's token, stored before it is answered."""

import pytest

from service.channels.envelope import Refused
from service.engine import commands
from service.engine.desk import Desk
from service.engine.inward import Taken
from service.engine.mail_door import MailDoor
from tests.engine.engine_mail import CHECKER, address, by_mail, received, reply

MAIL = reply("2 battery", address(CHECKER))
TOKEN = "a-word-of-thirty-two-letters-or-so"


@pytest.fixture
def door(desk: Desk) -> MailDoor:
    documents = by_mail()
    documents["channels"]["mail"]["in"] = {"token": {"env": "MAIL_TOKEN"}}
    commands.configure(desk, documents, "C")
    return MailDoor(desk, {"MAIL_TOKEN": TOKEN}.get)


def test_raw_mail_with_the_token_is_stored(desk: Desk, door: MailDoor) -> None:
    assert door.serves("mail")
    assert not door.serves("chat")
    assert isinstance(door.take("mail", f"Bearer {TOKEN}", MAIL), Taken)
    assert [(row.person, row.text) for row in received(desk)] == [(CHECKER, "2 battery")]


@pytest.mark.parametrize("offered", ["", "Bearer", "Bearer wrong", f"Basic {TOKEN}", TOKEN, f"Bearer {TOKEN}x"])
def test_without_it_nothing_is(desk: Desk, door: MailDoor, offered: str) -> None:
    refused = door.take("mail", offered, MAIL)
    assert isinstance(refused, Refused)
    assert refused.status == 401
    assert received(desk) == []


def test_a_channel_without_a_token_or_with_one_that_is_not_set_has_no_such_door(desk: Desk, door: MailDoor) -> None:
    unset = MailDoor(desk, {}.get)
    assert isinstance(unset.take("mail", "Bearer ", MAIL), Refused)
    commands.configure(desk, by_mail(), "C")
    assert isinstance(door.take("mail", f"Bearer {TOKEN}", MAIL), Refused)


def test_an_empty_body_is_no_mail(door: MailDoor) -> None:
    refused = door.take("mail", f"Bearer {TOKEN}", b"\r\n")
    assert isinstance(refused, Refused)
    assert refused.status == 400
