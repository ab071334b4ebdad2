"""The demo in a real browser: phones, clock and board keep up without a reload."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from demo_town import running

pytestmark = pytest.mark.browser


@pytest.fixture(params=[320, 1440])
def page(request, browser, tmp_path):
    with running(tmp_path) as made:
        context = browser.new_context(viewport={"width": request.param, "height": 900})
        opened = context.new_page()
        opened.troubles = []
        opened.on("pageerror", lambda error: opened.troubles.append(str(error)))
        opened.on("console", lambda line: opened.troubles.append(line.text) if line.type == "error" else None)
        opened.goto(f"{made.base_url}/try")
        opened.made = made
        yield opened
        context.close()


def test_a_morning_is_watched_and_answered_without_a_reload(page):
    page.evaluate("window.sameDocument = true")
    page.click("button[value=go]")
    page.wait_for_selector("#notes-l-teal .note", timeout=30_000)

    page.type("#w-l-teal", "ok", delay=200)
    page.locator("#pace", has_text="while you type").wait_for(timeout=10_000)
    page.press("#w-l-teal", "Enter")
    page.wait_for_selector("#notes-l-teal .p-answer", timeout=10_000)
    page.locator("#today", has_text="3 of ").wait_for(timeout=10_000)

    assert page.made.hand.moving, "the clock goes on when the answer is sent"
    assert page.evaluate("window.sameDocument") is True
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.troubles == []


def test_the_coordinator_takes_a_silent_room_in_hand_on_the_board_beside_the_phones(page):
    for _ in range(8):
        with page.expect_response(lambda answer: "/try/clock" in answer.url):
            page.click("button[value=next]")
        if any(note.purpose == "second" for note in page.made.pockets.of("c-reed")):
            break
    page.wait_for_selector("#notes-c-reed .note", timeout=10_000)

    page.select_option("#today select[name=actor]", "c-reed")
    page.locator("#today .do button", has_text="Mine").first.click()
    page.locator("#today", has_text="In hand with").first.wait_for(timeout=10_000)

    assert page.url.endswith("/try"), "the phones stay in sight"
    assert page.troubles == []
