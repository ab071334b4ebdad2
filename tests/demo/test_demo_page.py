"""The demo's page as somebody sees it whose browser runs no scripts, over real HTTP."""

import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from demo_town import Visitor, running

INSTANT = timedelta(seconds=1)


@pytest.fixture
def made(tmp_path):
    with running(tmp_path) as town:
        yield town


@pytest.fixture
def visitor(made):
    return Visitor(made)


def asked(visitor):
    """Go on to the first prompt; shelves are looked at before it, at the first bell."""
    visitor.press("next")
    visitor.press("next")
    assert visitor.hour == "08:05"


def test_the_clock_stands_before_the_first_bell_until_somebody_begins(made, visitor):
    before = made.clock.now()
    time.sleep(0.2)

    assert made.clock.now() == before
    assert visitor.hour == "07:58"
    assert ">Begin</button>" in visitor.page


def test_begun_the_clock_runs_at_sixty_times_and_can_be_paused(made, visitor):
    visitor.press("go")
    began = made.clock.now()
    time.sleep(0.5)
    visitor.press("pause")

    assert 20 <= (made.clock.now() - began).total_seconds() < 300
    held = made.clock.now()
    time.sleep(0.1)
    assert made.clock.now() - held < INSTANT
    assert "The clock stands." in visitor.page


def test_five_people_have_phones_beside_the_board(visitor):
    for name in ("L. Teal", "D. Fenn", "J. Aske", "C. Reed", "A. Vane"):
        assert f">{name}</h2>" in visitor.page
    assert "Hollow Road School" in visitor.page


def test_the_next_thing_brings_the_first_prompt_and_an_answer_is_recorded(visitor):
    asked(visitor)
    assert "3 checks by 08:15" in visitor.phone("l-teal")

    visitor.say("l-teal", "ok")

    assert "Recorded: 1, 2 and 3 working" in visitor.phone("l-teal")
    assert visitor.phone("l-teal").startswith("08:05 Recorded")


def test_undo_on_a_standing_clock_takes_back_the_last_answer_and_no_other(visitor):
    asked(visitor)
    for words in ("1 2 ok, 3 left battery", "3 fixed", "undo"):
        visitor.say("l-teal", words)

    assert "1 of 3 not answered" not in visitor.page
    assert "2 of 3 not answered" not in visitor.page
    assert "Wren" in visitor.page.partition('id="today"')[2], "the fault stands again on the board"


def test_the_link_of_a_prompt_opens_the_real_page(made, visitor):
    asked(visitor)
    link = made.pockets.of("l-teal")[0].link

    assert link.startswith(f"{made.base_url}/r/")
    assert "3 checks to answer by 08:15" in visitor.client.get(link).text


def test_a_silent_room_reaches_the_front_office_by_mail(made, visitor):
    for _ in range(30):
        visitor.press("next")
        if any(note.by_mail for note in made.pockets.of("o-birch")):
            break

    mail = made.pockets.of("o-birch")[0]
    assert "silent" in mail.headline
    assert "O. Birch" in visitor.page


def test_looking_changes_nothing(made, visitor):
    asked(visitor)
    before = made.clock.now()
    for path in ("/try", "/try/part", "/try/try.css", "/try/try.js"):
        assert visitor.client.get(path).status_code == 200
        assert visitor.client.head(path).status_code == 200

    assert made.clock.now() - before < INSTANT
    assert len(made.pockets.of("l-teal")) == 1


def test_words_are_shown_as_words_and_never_as_markup(visitor):
    visitor.say("c-reed", "<script>alert(1)</script>")

    assert "<script>alert" not in visitor.page
    assert "&lt;script&gt;alert(1)" in visitor.page


@pytest.mark.parametrize("path", ["/try/clock", "/try/say"])
def test_a_form_that_was_shown_elsewhere_is_not_taken(made, visitor, path):
    form = {"token": "0" * 64, "do": "go", "person": "l-teal", "words": "ok"}

    assert visitor.client.post(path, data=form).status_code == 403
    assert not made.hand.begun


def test_nobody_answers_for_somebody_without_a_phone(visitor):
    form = {"token": visitor.token, "person": "n-sorrel", "words": "ok"}

    assert visitor.client.post("/try/say", data=form).status_code == 404


def test_the_clock_waits_while_somebody_types(made, visitor):
    visitor.press("go")
    visitor.press("hold")
    held = made.clock.now()
    time.sleep(0.1)
    assert made.clock.now() - held < INSTANT

    visitor.press("release")
    time.sleep(0.1)
    assert made.clock.now() - held > INSTANT


def test_faster_and_slower_stay_between_bounds(made, visitor):
    for _ in range(6):
        visitor.press("faster")
    assert made.hand.speed == 120
    for _ in range(6):
        visitor.press("slower")
    assert made.hand.speed == 10


def test_a_phone_believes_only_what_is_signed(made, visitor):
    address = made.stage.address("l-teal", made.service.settings.named)

    assert visitor.client.post(address, json={"headline": "hello"}).status_code == 401
    assert made.pockets.of("l-teal") == ()


def test_the_page_carries_the_same_policy_as_the_others(visitor):
    policy = visitor.client.get("/try").headers["content-security-policy"]

    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
