"""Raw mail to text: the oddities of mail programs, and bounds for what is hostile.

Samples from outside: `data/email/SOURCES.md`; the flowed text is the form of RFC 3676 4.1 and the reports those of
RFC 3464 (both from memory); the other oddities are from memory, each as programs send them.
"""

import base64
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.channels.html_text import text_of
from service.channels.mime import MOST_BYTES, MOST_TEXT, open_mail
from service.core.mail import own_words

HEAD = "From: L. Teal <l.teal@school.example>\r\nTo: checks@school.example\r\nMessage-ID: <m1@school.example>\r\n"


def raw(body: str | bytes, *headers: str) -> bytes:
    """A mail with further headers."""
    more = "".join(f"{header}\r\n" for header in headers)
    return (HEAD + more + "\r\n").encode() + (body.encode() if isinstance(body, str) else body)


def words(mail: bytes) -> str:
    return own_words(open_mail(mail).text)[0]


def test_headers_name_sender_recipients_and_what_is_answered_nearest_first() -> None:
    mail = open_mail(
        raw(
            "ok",
            "Cc: <Checks+Ab12@School.example>, someone@else.example",
            "In-Reply-To: <msg-2@school.example>",
            "References: <rd-1@school.example> <msg-1@school.example>\r\n <msg-2@school.example>",
            "Subject: =?utf-8?q?Re=3A_2_checks?=",
        )
    )
    assert (mail.id, mail.sender, mail.subject) == ("m1@school.example", "l.teal@school.example", "Re: 2 checks")
    assert "checks+ab12@school.example" in mail.recipients
    assert mail.answers == ("msg-2@school.example", "msg-1@school.example", "rd-1@school.example")


@pytest.mark.parametrize(
    ("value", "sender"),
    [
        ("l.teal@school.example", "l.teal@school.example"),
        ("\"Teal, L.\" <L.Teal@School.example>", "l.teal@school.example"),
        ("\"a@school.example\" <b@else.example>", "b@else.example"),
        ("a@school.example <b@else.example>", ""),
        ("a@school.example, b@else.example", ""),
        ("<a@school.example> <b@else.example>", ""),
        ("a@school.example (b@else.example)", "a@school.example"),
        ("a@school.example)b@else.example", ""),
        ("", ""),
    ],
)
def test_a_sender_that_could_be_read_in_two_ways_is_nobody(value: str, sender: str) -> None:
    assert open_mail(f"From: {value}\r\n\r\nok".encode()).sender == sender
    assert open_mail(f"From: {value}\r\nFrom: x@else.example\r\n\r\nok".encode()).sender == ""


def test_words_broken_by_quoted_printable_are_whole() -> None:
    coded = "2 cab=\r\nle caf=C3=A9=\r\n broken\r\n"
    mail = raw(coded, "Content-Transfer-Encoding: quoted-printable", "Content-Type: text/plain; charset=utf-8")
    assert words(mail) == "2 cable café broken"


@pytest.mark.parametrize(
    ("charset", "data", "text"),
    [
        ("utf-8", "câble".encode(), "câble"),
        ("iso-8859-1", "câble".encode("latin-1"), "câble"),
        ("windows-1252", "“ok”".encode("cp1252"), "“ok”"),
        ("utf-16", "câble".encode("utf-16"), "câble"),
        ("koi8-r", "кабель".encode("koi8-r"), "кабель"),
        ("us-ascii", "câble".encode(), "câble"),
        ("utf-8", "câble".encode("latin-1"), "câble"),
        ("x-unknown", "câble".encode(), "câble"),
        ("no such thing; x", b"ok", "ok"),
        ("punycode", b"ok", "ok"),
        ("rot13", b"ok", "ok"),
        ("unicode_escape", b"\\x41", "\\x41"),
    ],
)
def test_a_charset_is_believed_where_it_can_be(charset: str, data: bytes, text: str) -> None:
    coded = base64.encodebytes(data)
    mail = raw(coded, f"Content-Type: text/plain; charset=\"{charset}\"", "Content-Transfer-Encoding: base64")
    assert open_mail(mail).text.strip() == text


def test_flowed_lines_are_one_and_keep_their_depth() -> None:
    flowed = "2 cable is \r\nloose\r\n> 1 Ada, left \r\n> processor\r\n>> deeper\r\n-- \r\nL. Teal\r\n"
    mail = raw(flowed, "Content-Type: text/plain; format=flowed")
    assert open_mail(mail).text == "2 cable is loose\n> 1 Ada, left processor\n>> deeper\n-- \nL. Teal\n"
    joined = raw("2 ca \r\nble\r\n", "Content-Type: text/plain; format=flowed; delsp=yes")
    assert words(joined) == "2 cable"


def parted(subtype: str, *parts: str) -> bytes:
    body = "".join(f"--b\r\n{part}\r\n" for part in parts) + "--b--\r\n"
    return raw(body, f"Content-Type: multipart/{subtype}; boundary=b")


PLAIN = "Content-Type: text/plain\r\n\r\n"
HTML = "Content-Type: text/html\r\n\r\n"


def test_of_alternatives_the_plain_text_is_read_unless_it_is_empty() -> None:
    assert words(parted("alternative", PLAIN + "2 cable", HTML + "<p>other")) == "2 cable"
    assert words(parted("alternative", PLAIN + " \r\n", HTML + "<p>2 cable")) == "2 cable"


def test_parts_around_an_attachment_are_one_text_and_attachments_none_of_it() -> None:
    picture = "Content-Type: image/jpeg\r\nContent-Disposition: attachment\r\n\r\nxx"
    note = "Content-Type: text/plain\r\nContent-Disposition: attachment; filename=a.txt\r\n\r\n1 ok"
    tnef = "Content-Type: application/ms-tnef; name=winmail.dat\r\nContent-Transfer-Encoding: base64\r\n\r\neJ8+Ig=="
    assert words(parted("mixed", PLAIN + "2 cable", picture, PLAIN + "left", note, tnef)) == "2 cable\nleft"


def test_text_that_comes_as_an_attachment_alone_is_read() -> None:
    """Text-message gateways send it so."""
    smil = "Content-Type: application/smil\r\n\r\n<smil/>"
    sent = "Content-Type: text/plain; name=text_0.txt\r\nContent-Disposition: attachment\r\n\r\n2 cable"
    assert words(parted("mixed", smil, sent)) == "2 cable"


def test_a_mail_that_is_attached_is_somebody_elses_words() -> None:
    assert words(parted("mixed", PLAIN + "see below", "Content-Type: message/rfc822\r\n\r\nFrom: a@b.c\r\n\r\nok")) == (
        "see below"
    )


def test_a_mail_of_nothing_but_an_attachment_has_no_words() -> None:
    assert words(raw("eJ8+Ig==", "Content-Type: application/ms-tnef", "Content-Transfer-Encoding: base64")) == ""


def test_html_is_read_as_it_is_seen() -> None:
    source = (
        "<html><head><style>p {x: '<p>ok'}</style><title>ok</title></head><body><div style=\"DISPLAY: none\">ok</div>"
        "<p>2&nbsp;cable &amp; <b>le</b>ft</p><!-- ok --><blockquote>1 Ada<blockquote>deep</blockquote></blockquote>"
        "<div class=gmail_signature>L. Teal</div>"
    )
    text = text_of(source)
    assert "2 cable & left" in text
    assert "> 1 Ada" in text
    assert "> > deep" in text
    assert own_words(text)[0] == "2 cable & left"


def test_a_mail_of_thirty_megabytes_is_looked_at_as_far_as_its_words_go() -> None:
    attached = "Content-Type: application/pdf\r\nContent-Transfer-Encoding: base64\r\n\r\n" + "A" * 30_000_000
    started = time.perf_counter()
    mail = open_mail(parted("mixed", PLAIN + "2 cable", attached))
    assert own_words(mail.text)[0] == "2 cable"
    assert not mail.truncated
    assert time.perf_counter() - started < 5


def test_a_text_that_is_longer_than_what_is_kept_says_so() -> None:
    assert open_mail(raw("ok " * MOST_TEXT)).truncated
    assert open_mail(raw("ok\n" * MOST_BYTES)).truncated
    assert len(open_mail(raw("ok " * MOST_TEXT)).text) == MOST_TEXT


BROKEN = [
    b"",
    b"\0" * 5000,
    b"ok",
    b"Content-Type: multipart/mixed\r\n\r\nok",
    b"Content-Type: multipart/mixed; boundary=\"\"\r\n\r\n--\r\n\r\nok",
    b"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n",
    b"Content-Type: multipart/report; report-type=delivery-status; boundary=b\r\n\r\n--b\r\n"
    b"Content-Type: message/delivery-status\r\n\r\nnothing\r\n--b--",
    b"Content-Type: text/plain; charset*0*=x''%ff\r\n\r\nok",
    b"Subject: =?utf-8?b?////?=\r\nFrom: =?x?q?\xff?= <a@b.c>\r\n\r\nok",
    b"Content-Transfer-Encoding: base64\r\n\r\n!!!!",
    b"Content-Transfer-Encoding: x-uuencode\r\n\r\nbegin 644 x\r\nM",
    b"".join(b"Content-Type: multipart/mixed; boundary=b%d\r\n\r\n--b%d\r\n" % (n, n) for n in range(3000)),
    b"Content-Type: message/rfc822\r\n\r\n" * 3000,
    b"a: b\r\n" * 100_000,
    b"From: " + b" " * 60_000 + b"<" * 1000,
    b"References: " + b"<a@b> " * 100_000,
]


@pytest.mark.parametrize("number", range(len(BROKEN)))
def test_a_broken_mail_is_still_a_mail_within_its_time(number: int) -> None:
    started = time.perf_counter()
    mail = open_mail(BROKEN[number])
    assert len(mail.text) <= MOST_TEXT
    assert time.perf_counter() - started < 5


PIECES = ["<", ">", "<a ", "</", "<!--", "-->", "<p>", "<div style='", "&", "&#", "<blockquote>", "ok", " ", "\""]
MARKUP = st.lists(st.sampled_from(PIECES))


@given(MARKUP)
def test_any_markup_gives_a_text(pieces: list[str]) -> None:
    text_of("".join(pieces))


UNFINISHED = ["<", "</", "<a ", "<a b=\"", "<!--", "<![", "<?", "<div>", "<blockquote>", "&", "<p>x"]


@pytest.mark.parametrize("piece", UNFINISHED)
def test_unfinished_markup_takes_no_longer_than_other_text(piece: str) -> None:
    """The parser of the standard library takes 158 s for 64 kB of the third (measured)."""
    started = time.perf_counter()
    text_of(piece * 65_536)
    assert time.perf_counter() - started < 5


@given(st.binary(max_size=2000))
def test_any_bytes_give_a_mail(data: bytes) -> None:
    open_mail(data)
    open_mail(HEAD.encode() + b"Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n" + data)
