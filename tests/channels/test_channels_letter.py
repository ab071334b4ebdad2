from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from channel_parcels import NOW, parcel
from hypothesis import given
from hypothesis import strategies as st

from service.channels.letter import Letter, Sender, read_address, write

FROM = read_address("Morning checks <checks@school.example>")
SENDER = Sender(FROM, "school.example", read_address("checks@replies.school.example"))
TO = "r-moss@hollow-road.example"


def letter(**changed: object) -> Letter:
    return write(parcel(**changed), SENDER, TO, NOW + timedelta(seconds=1))


def mail(**changed: object) -> EmailMessage:
    """The mail as its receiver reads it."""
    return message_from_bytes(letter(**changed).content, policy=policy.default)


def test_a_mail_says_who_to_whom_when_and_that_a_machine_wrote_it():
    read = mail()
    assert read["From"] == "Morning checks <checks@school.example>"
    assert read["To"] == TO
    assert read["Subject"] == "2 checks by 08:20"
    assert read["Date"].datetime == NOW + timedelta(seconds=1)
    assert read["Auto-Submitted"] == "auto-generated"


def test_an_answer_to_a_reply_says_that_it_is_one():
    assert mail(automatic="auto-replied")["Auto-Submitted"] == "auto-replied"


def test_out_of_office_answers_are_not_asked_to_keep_silent():
    assert mail()["X-Auto-Response-Suppress"] is None


def test_the_first_mail_of_a_thread_refers_to_none():
    read = mail(thread=parcel().id)
    assert read["Message-ID"] == f"<{parcel().id}@school.example>"
    assert read["In-Reply-To"] is None
    assert read["References"] is None


def test_a_later_mail_of_a_thread_refers_to_the_first():
    read = mail(thread="msg-first")
    assert read["In-Reply-To"] == "<msg-first@school.example>"
    assert read["References"] == "<msg-first@school.example>"


def test_an_answer_refers_to_the_first_of_the_thread_and_to_what_it_answers():
    read = mail(thread="msg-first", in_reply_to="CAF=x1@mail.elsewhere.example")
    assert read["In-Reply-To"] == "<CAF=x1@mail.elsewhere.example>"
    assert read["References"] == "<msg-first@school.example> <CAF=x1@mail.elsewhere.example>"


def test_replies_go_to_an_address_of_the_round():
    assert mail(reply_token="Ab3-x_9")["Reply-To"] == "checks+Ab3-x_9@replies.school.example"
    assert mail()["Reply-To"] is None


@pytest.mark.parametrize("token", ["", "a b", "a@b", "a\nb", "ü"])
def test_a_reply_token_that_is_no_word_is_not_put_into_an_address(token: str):
    with pytest.raises(ValueError, match="token"):
        letter(reply_token=token)


def test_text_and_html_are_two_parts_of_one_mail_and_text_comes_first():
    read = mail(html="<p>1 Fern</p>")
    assert read.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in read.iter_parts()] == ["text/plain", "text/html"]


def test_without_html_there_is_only_text():
    assert mail().get_content_type() == "text/plain"


ATTACK = "\r\nBcc: everybody@elsewhere.example\r\n\r\nbody"
HEADERS = {
    "From", "To", "Subject", "Date", "Auto-Submitted", "Message-ID", "In-Reply-To", "References",
    "Content-Type", "Content-Transfer-Encoding", "MIME-Version",
}  # fmt: skip


@given(subject=st.text(max_size=80), thread=st.text(max_size=40), attack=st.sampled_from(["", ATTACK]))
def test_no_value_whatever_adds_a_header_of_its_own(subject: str, thread: str, attack: str):
    read = mail(subject=subject + attack, thread=thread + attack, in_reply_to=attack + thread)
    assert set(read.keys()) <= HEADERS
    assert read.get_content().splitlines() == parcel().text.splitlines()


@pytest.mark.parametrize("id", ["", "a b", "a\nb", "<a>", "a..b", ":", "ü", "a@b@c"])
def test_an_id_that_no_mail_can_bear_is_refused_as_ours_and_left_out_as_anothers(id: str):
    with pytest.raises(ValueError, match="Message-ID"):
        letter(id=id)
    assert mail(thread=id, in_reply_to=id)["References"] is None


@given(
    text=st.text(alphabet=st.characters(exclude_characters="\0\r", exclude_categories=["Cs"]), max_size=200)
)
def test_any_text_arrives_as_it_was_written(text: str):
    read = mail(text=text).get_content().replace("\r\n", "\n")
    assert read.removesuffix("\n") == text.removesuffix("\n")


def test_a_subject_of_several_lines_becomes_one_with_its_words_apart():
    assert mail(subject="2 checks\r\nby\t08:20\n")["Subject"] == "2 checks by 08:20"


def test_half_a_pair_and_a_nul_do_not_stop_a_mail():
    assert mail(text="a\ud800b\0c", subject="x\ud800y\0z")["Subject"] == "x?yz"


def test_lines_on_the_wire_are_short_and_end_as_smtp_wants_them():
    content = letter(text="ü" * 5000 + "\nlast", subject="ü" * 500).content
    lines = content.split(b"\r\n")
    assert max(map(len, lines)) <= 998
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert content.isascii()


def test_an_address_beyond_ascii_is_said_to_need_a_server_that_knows_it():
    assert write(parcel(), SENDER, "möss@hollow-road.example", NOW).beyond_ascii
    assert not letter().beyond_ascii


def test_a_domain_beyond_ascii_is_written_in_ascii():
    written = write(parcel(), SENDER, "moss@bücher.example", NOW)
    assert (written.to_address, written.beyond_ascii) == ("moss@xn--bcher-kva.example", False)


@pytest.mark.parametrize(
    "text",
    ["", "moss", "@x.example", "moss@", "a@b@c.example", "a b@x.example", "a@x.example,b@x.example",
     "a@x.example\r\nDATA", "a@x.example\0", "x@y.example\r\nRCPT TO:<z@y.example>", "<a@x.example", "a@x.example>",
     "a\ud800@x.example", "a@" + "x" * 70 + ".example", "Name: <a@x.example>",
     "a@¸", "a@x.example，b.example"],
)  # fmt: skip
def test_what_is_not_one_address_is_refused(text: str):
    with pytest.raises(ValueError, match="not a mail address"):
        read_address(text)


def test_an_address_may_have_a_name_before_it():
    named = read_address('"Morning checks" <checks@school.example>')
    assert (named.display_name, named.addr_spec) == ("Morning checks", "checks@school.example")


@given(st.text(max_size=20), st.text(max_size=20))
def test_any_text_is_an_address_one_can_write_to_or_none(local: str, domain: str):
    try:
        written = write(parcel(), SENDER, f"{local}@{domain}", NOW)
    except ValueError:
        return
    assert written.to_address.count("@") == 1
    assert not set(written.to_address) & set("\r\n <>,")
