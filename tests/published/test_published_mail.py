"""The person's own words out of mails of the wild.

Sources: `data/email/SOURCES.md` (fixtures of alfonsrv/mail-parser-reply, MIT, and made-up ones;
`short-reply-cases.json` holds twenty short phone replies that four libraries were measured on). What is expected is
our own reading of each file: what its last writer typed, without the closing and the name below it.
"""

import json

import pytest

from service.channels.mime import open_mail
from service.core.mail import Delivery, Kind, kind_of, own_words
from tests.published.mail_files import mail

WRITTEN = {
    "correct_sig": "this is an email with a correct -- signature.",
    "email_danish_1": "Hej Peter,\n\nTak for din mail. Det lyder godt.",
    "email_danish_2": "Hej Hanne,\n\nJeg har modtaget filerne.",
    "email_danish_4": "Hej,\n\nSvar.",
    "email_ja_1_2": (
        "田中様\n\nお世話になっております。織田です。\n\n"
        "それでは 11:00 にお待ちしております。\n\n\n以上、よろしくお願いいたします"
    ),
    "email_sent_from_BlackBerry": "Here is another email",
    "email_sent_from_iPhone": "Here is another email",
    "email_sent_from_multi_word_mobile_device": "Here is another email",
    "email_sent_from_not_signature": (
        "Here is another email\n\nSent from my desk, is much easier than my mobile phone."
    ),
    "email_sig_delimiter_in_middle_of_line": (
        "Hi there!\n\nStuff happened.\n\nAnd here is a fix -- this is not a signature.\n\nkthxbai"
    ),
    "email_sv_anon_1": (
        "Hej\n\nBerättar gärna. Enklast är om vi kan ta ett kort samtal under dagen. Jag är\n"
        "flexibel fram till kl 15 idag."
    ),
    "multi_header": "No problem. I’ll just start a new order.",
    # It begins with the head of a forwarded mail, so nothing in it is certain to be the sender's.
    "email_pl_1_2": "",
}


@pytest.mark.parametrize("name", sorted(WRITTEN))
def test_what_the_last_writer_typed_is_all_that_is_left(name: str) -> None:
    assert own_words(mail(f"mpr__{name}.txt").decode()) == (WRITTEN[name], False)


def test_each_of_the_twenty_short_phone_replies_is_read_whole() -> None:
    cases = json.loads(mail("short-reply-cases.json"))
    assert len(cases) == 20
    wrong = {
        name: found
        for name, case in cases.items()
        if (found := own_words(case["text"])) != (case["expected"], False)
    }
    assert wrong == {}


KINDS = {
    "dsn_delayed": Kind.DELAYED,
    "dsn_failed": Kind.FAILED,
    "human_reply_with_suppress_header": Kind.HUMAN,
    "ooo_exchange": Kind.AWAY,
    "ooo_gmail": Kind.AWAY,
    "read_receipt_mdn": Kind.RECEIPT,
}


@pytest.mark.parametrize("name", sorted(KINDS))
def test_only_the_persons_mail_is_taken_for_a_persons(name: str) -> None:
    opened = open_mail(mail(f"madeup__{name}.eml"))
    assert kind_of(opened) is KINDS[name]


def test_a_failed_delivery_names_the_address_and_the_message_that_failed() -> None:
    opened = open_mail(mail("madeup__dsn_failed.eml"))
    assert opened.deliveries == (Delivery("pat@school.example", "failed", "5.1.1"),)
    assert opened.returned["message-id"] == ("<c42.p7.1@checks.example>",)


HTML = {
    "android_dual": "Hello",
    "gmail": "Hi. I am fine.",
    "hotmail": "Hi. I am fine.",
    "ms_outlook_2010": "Hi. I am fine.",
}


@pytest.mark.parametrize("name", sorted(HTML))
def test_of_html_mail_the_last_writers_words_are_left(name: str) -> None:
    """Fixtures of getfernand/unquotemail (MIT): four of those that it fails on itself."""
    opened = open_mail(b"Content-Type: text/html; charset=utf-8\r\n\r\n" + mail(f"unq__{name}.html"))
    assert own_words(opened.text) == (HTML[name], False)
