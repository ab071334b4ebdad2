"""Own words: what people type above, below and between quotations, and how little hostile text costs.

The forms are those of mail programs as their users send them (`tests/published/test_mail_words.py` has the sourced
ones); those here are from memory.
"""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.core.mail import own_words

PROMPT = "2 checks by 08:20\nHollow Road, room 12.\n\n1 Ada, left processor; 2 Ben, processors\n\nAnswer \"ok\""
QUOTED = "\n".join(f"> {line}" for line in PROMPT.split("\n"))
HEAD = "On Mon, 5 Oct 2026 at 08:05, Checks <checks@school.example> wrote:"


def own(text: str) -> str:
    return own_words(text)[0]


def test_words_above_and_words_below_a_quotation_are_both_heard() -> None:
    assert own(f"ok\n\n{HEAD}\n{QUOTED}") == "ok"
    assert own(f"{HEAD}\n{QUOTED}\n\n2 flat battery") == "2 flat battery"
    assert own(f"ok\n\n{HEAD}\n{QUOTED}\n\nexcept Ben") == "ok\n\n\nexcept Ben"


def test_below_ten_quoted_prompts_an_answer_is_still_found() -> None:
    text = "\n".join([f"{HEAD}\n{QUOTED}\n>"] * 10) + "\n2 cable left"
    assert own_words(text) == ("2 cable left", False)


def test_an_answer_between_two_quotations_is_doubtful_since_what_it_points_at_is_lost() -> None:
    between = f"{HEAD}\n> 1 Ada\n\nok\n\n> 2 Ben\n> 3 Cam"
    assert own_words(between) == ("ok", True)
    assert own_words(f"{HEAD}\n> 1 Ada\n> 2 Ben\n\nok\n>\n>\n") == ("ok", False)


@pytest.mark.parametrize(
    "tail",
    [
        "From: Checks <checks@school.example>\nSent: Monday, 5 October 2026 08:05\nTo: L. Teal\nSubject: 2 checks",
        "*From:* Checks <checks@school.example>\n*Sent:* Monday\n*To:* L. Teal",
        "Von: Checks\nGesendet: Montag, 5. Oktober 2026\nAn: L. Teal",
        "De : Checks\nEnvoyé : lundi 5 octobre 2026\nÀ : L. Teal",
        "De: Checks\nEnviado el: lunes, 5 de octubre de 2026\nPara: L. Teal",
        "Van: Checks\nVerzonden: maandag 5 oktober 2026\nAan: L. Teal",
        "Da: Checks\nInviato: lunedì 5 ottobre 2026\nA: L. Teal",
        "Date: Mon, 5 Oct 2026 08:05:00 -0500\nSubject: 2 checks\nFrom: checks@school.example",
        "-----Original Message-----\nFrom: Checks",
        "Begin forwarded message:\n\nFrom: Checks",
        "________________________________\nFrom: Checks",
    ],
)
def test_what_follows_the_head_of_another_mail_is_not_the_writers(tail: str) -> None:
    assert own(f"2 cable\n\n{tail}\n\n{PROMPT}") == "2 cable"


@pytest.mark.parametrize(
    "head",
    [
        "Am Mo., 5. Okt. 2026 um 08:05 Uhr schrieb Checks <checks@school.example>:",
        "Le lun. 5 oct. 2026 à 08:05, Checks <checks@school.example> a écrit :",
        "El lun, 5 oct 2026 a las 8:05, Checks (<checks@school.example>) escribió:",
        "Il giorno lun 5 ott 2026 alle ore 08:05 Checks <checks@school.example> ha scritto:",
        "Op ma 5 okt 2026 om 08:05 schreef Checks <checks@school.example>:",
        "Em seg., 5 de out. de 2026 às 08:05, Checks <checks@school.example> escreveu:",
        "пн, 5 окт. 2026 г. в 08:05, Checks <checks@school.example>:",
        "2026年10月5日(月) 8:05 Checks <checks@school.example>:",
        "On Mon, 5 Oct 2026 at 08:05, Checks for Hollow Road\n<checks@school.example> wrote:",
    ],
)
def test_who_wrote_what_is_quoted_is_no_word_of_the_writers(head: str) -> None:
    assert own(f"2 cable\n\n{head}\n\n{QUOTED}") == "2 cable"


@pytest.mark.parametrize(
    "banner",
    [
        "CAUTION: This email originated from outside of the organization. Do not click links.",
        "CAUTION: This email originated from outside of the organization. Do not\n"
        "click links or open attachments unless you recognize the sender and know\nthe content is safe.",
        "[EXTERNAL]",
        "External Email - Use caution with links",
        "You don't often get email from l.teal@school.example. Learn why this is important",
    ],
)
def test_a_banner_of_the_mail_server_is_passed_over(banner: str) -> None:
    assert own(f"{banner}\n\n2 cable").endswith("2 cable")
    assert "click" not in own(f"{banner}\n\n2 cable")


FOOTERS = ("Sent from my iPhone", "Get Outlook for iOS", "Enviado desde mi iPhone", "-- \nL. Teal")


@pytest.mark.parametrize("footer", FOOTERS)
def test_a_footer_is_no_word_of_the_writers(footer: str) -> None:
    assert own(f"2 cable\n\n{footer}") == "2 cable"


def test_no_break_of_lines_or_invisible_sign_hides_a_quotation() -> None:
    assert own(f"\ufeffok\r\n\r\n{HEAD}\r\n{QUOTED.replace(chr(10), chr(13) + chr(10))}") == "ok"
    assert own(f"ok\r\r{HEAD}\r> 1 Ada") == "ok"


@given(st.text(max_size=400), st.sampled_from(["", QUOTED, f"{HEAD}\n{QUOTED}"]))
def test_any_text_gives_words_that_stand_in_it(text: str, more: str) -> None:
    words, _ = own_words(f"{text}\n{more}")
    whole = f"{text}\n{more}"
    assert all(line.strip("* \u200b\ufeff\u2060") in whole.translate({0xFEFF: None, 0x200B: None, 0x2060: None})
               for line in words.split("\n"))


HOSTILE = (
    "On ", " on … at ", "From: x\n", "On 1 wrote\n", "\nAda Bell\n", "CAUTION link\n", "a1 wrote ", "\n", "> x\nok\n",
)  # fmt: skip


@pytest.mark.parametrize("piece", HOSTILE)
def test_twenty_kilobytes_of_anything_are_read_in_time(piece: str) -> None:
    """Measured elsewhere: libraries need seconds for 21 KB of the first two, and for 5,000 lines of the third."""
    text = (piece * 21_000)[:21_000] + "> x"
    best = min(_seconds(text) for _ in range(5))
    assert best < 0.2  # some milliseconds on a quiet core; the margin is for a busy one


def _seconds(text: str) -> float:
    start = time.perf_counter()
    own_words(text)
    return time.perf_counter() - start
