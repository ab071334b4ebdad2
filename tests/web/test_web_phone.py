"""The phone page without any script: what each button records, and that looking changes nothing."""

import gzip
import re
from datetime import date

import pytest
from sqlmodel import select
from web_district import Morning, at

from service.core.chains import Ended
from service.engine import commands, held
from service.engine.loading import load
from service.store import chases, rounds, statements
from service.store.tables import CheckRow, InboxRow, OutboxRow
from service.web.rendering import static

ROUND = "rd-hollow-road-2026-09-15-0805-l-teal"
TODAY = date(2026, 9, 15)


@pytest.fixture
def page(morning: Morning) -> str:
    """L. Teal's page of Finch (1), Lark (2) and Wren (3), a minute after it was asked."""
    morning.play_to("08:06")
    return morning.round_path(ROUND, "l-teal")


def check(morning: Morning, student: str, on: date = TODAY) -> CheckRow:
    """Today's first check of a student."""
    with morning.store.reading() as tx:
        return rounds.student_checks(tx, student, on, on)[0]


def fault_phase(morning: Morning, student: str) -> str | None:
    """Where the open fault chase of a student stands."""
    with morning.store.reading() as tx:
        ids = chases.open_faults_of(tx, student)
        row = chases.get(tx, ids[0]) if ids else None
        return row.phase if row else None


def test_the_page_says_where_by_when_and_who_hears_of_silence(phone, page):
    text = phone.look(page).text

    assert "Room 12 · before Period 1" in text
    assert "3 checks to answer by 08:15" in text
    assert "If nothing comes: the second checker is told at 08:15" in text
    assert "I checked all 3: working" in text


def test_the_page_names_nobody_and_holds_no_script(phone, page):
    text = phone.look(page).text

    assert "<script" not in text
    assert "Teal" not in text
    assert not re.search(r"\sstyle=|\son[a-z]+=", text)


def test_looking_by_get_and_head_changes_nothing(phone, morning, page):
    before = morning.entries()
    for path in (page, morning.standing_path("l-teal"), "/", "/board", "/health", "/ready", "/nowhere"):
        phone.client.get(path)
        phone.client.head(path)
    assert morning.entries() == before
    assert check(morning, "s-102").state == "asked"


def test_one_tap_on_all_is_recorded_as_one_tap_on_all(phone, morning, page):
    answer = phone.press(page, "all")

    assert "All 3 answered" in answer.text
    assert [check(morning, s).result for s in ("s-102", "s-104", "s-110")] == ["working"] * 3
    with morning.store.reading() as tx:
        (press,) = tx.exec(select(InboxRow)).all()
    assert press.body["reading"]["pointed"] == []


def test_one_tap_on_all_does_not_put_a_fault_right(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    phone.press(page, "all")

    assert check(morning, "s-104").result == "working"
    assert check(morning, "s-110").result == "fault"


def test_a_fault_is_recorded_with_code_and_side_and_its_first_remedy_is_shown(phone, morning, page):
    answer = phone.press(page, "3:f:CABLE:left")

    assert check(morning, "s-110").faults == [{"code": "CABLE", "side": "left"}]
    assert "Seat both plugs of the cable straight." in answer.text
    assert "Did that fix it?" in answer.text
    assert "The audiologist is told at 08:16, unless you say it is fixed." in answer.text
    assert answer.url.fragment == "s3"


def test_yes_it_is_fixed_ends_the_fault_and_nobody_is_alarmed(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    answer = phone.press(page, "3:fixed")
    morning.play_to("08:30")

    assert check(morning, "s-110").result == "fixed"
    assert "Fixed" in answer.text
    with morning.store.reading() as tx:
        alerted = tx.exec(select(OutboxRow).where(OutboxRow.person == "a-vane")).all()
    assert alerted == []


def test_no_it_is_not_tells_the_chain_at_once(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    assert fault_phase(morning, "s-110") == "trying first"
    answer = phone.press(page, "3:still")

    assert fault_phase(morning, "s-110") == "climbing"
    assert "The audiologist was told at 08:06." in answer.text


def test_away_is_recorded_and_shown(phone, morning, page):
    assert "Away. You said so at 08:06." in phone.press(page, "2:away").text
    assert check(morning, "s-104").result == "away"


@pytest.mark.parametrize("then", ["next", "second", "today"])
def test_could_not_check_never_counts_as_working(phone, morning, page, then):
    phone.press(page, f"2:not:{then}", **{"why-2": "too noisy"})

    assert check(morning, "s-104").result in (None, "not done")


def test_ask_me_at_the_next_bell_asks_again_then(phone, morning, page):
    phone.press(page, "2:not:next")
    found = check(morning, "s-104")
    with morning.store.reading() as tx:
        later = rounds.get(tx, found.round_id)

    assert found.state == "planned"
    assert later is not None
    assert later.due == at("08:15")


def test_a_reason_given_for_not_today_is_kept(phone, morning, page):
    phone.press(page, "2:not:today", **{"why-2": "no tool"})
    with morning.store.reading() as tx:
        (said,) = statements.of_check(tx, check(morning, "s-104").id)
    assert said.body["reason"] == "no tool"


def test_undo_takes_the_last_answer_back(phone, morning, page):
    phone.press(page, "2:away")
    answer = phone.press(page, "undo")

    assert check(morning, "s-104").state == "asked"
    assert "Taken back." in answer.text


def test_undo_is_offered_only_while_it_can_be_done(phone, morning, page):
    assert "Undo" not in phone.look(page).text
    phone.press(page, "2:away")
    assert "Undo" in phone.look(page).text
    morning.play_to("08:12")
    assert "Undo" not in phone.look(page).text


def test_the_same_press_twice_is_one_press(phone, morning, page):
    word = phone.word(page)
    phone.press(page, "2:away", word)
    before = morning.entries()
    again = phone.press(page, "2:away", word)

    assert again.status_code == 200
    assert morning.entries() == before


def test_two_buttons_of_one_loaded_page_are_two_presses(phone, morning, page):
    word = phone.word(page)
    phone.press(page, "1:working", word)
    phone.press(page, "2:working", word)

    assert [check(morning, s).result for s in ("s-102", "s-104")] == ["working"] * 2


@pytest.mark.parametrize(
    "do", ["", "9:working", "1:sing", "1:f:", "1:f:BAT:above", "2:not:never", "1", "end:perhaps", "x" * 500]
)
def test_a_form_that_no_button_sends_changes_nothing_and_says_so(phone, morning, page, do):
    before = morning.entries()
    answer = phone.press(page, do)

    assert answer.status_code == 422
    assert "Nothing was changed." in answer.text
    assert morning.entries() == before


def test_what_is_pressed_is_answered_on_the_page_and_not_by_a_message_as_well(phone, morning, page):
    with morning.store.reading() as tx:
        before = len(tx.exec(select(OutboxRow).where(OutboxRow.person == "l-teal")).all())
    phone.press(page, "all")
    with morning.store.reading() as tx:
        assert len(tx.exec(select(OutboxRow).where(OutboxRow.person == "l-teal")).all()) == before


def test_what_to_do_in_an_emergency_stands_on_the_page_before_anything_is_sent(phone, page):
    text = phone.look(page).text
    folded = text[text.index('id="emergency"') :]

    for words in (
        "Call 911 now",
        "Text 911: the school",
        "555-0142",
        "Nothing to eat or drink",
        "not make the child vomit",
    ):
        assert words in folded


def test_an_emergency_tells_everyone_and_ends_only_when_confirmed(phone, morning, page):
    answer = phone.press(page, "3:alarm")
    assert "Battery or magnet: Wren, since 08:06" in answer.text
    assert fault_phase(morning, "s-110") == "alarm"
    with morning.store.reading() as tx:
        told = {row.person for row in tx.exec(select(OutboxRow).where(OutboxRow.purpose == "alert"))}
    assert {"n-sorrel", "a-vane", "c-reed", "g-pike", "o-birch"} <= told

    assert "Is that so?" in phone.press(page, "end:found").text
    assert fault_phase(morning, "s-110") == "alarm"
    phone.press(page, "end:yes")
    assert fault_phase(morning, "s-110") is None


def test_an_emergency_while_the_service_is_held_still_says_what_to_do_and_that_nobody_else_is_told(
    phone, morning, page
):
    with morning.desk.moment() as m:
        held.hold(m, "restored from a backup", "c-reed")
    for place in (page, morning.standing_path("l-teal")):
        before = phone.look(place).text
        after = phone.press(place, "other:alarm" if place != page else "3:alarm").text
        for words in (before, after):
            assert "Call 911 now" in words
            assert "Text 911: the school" in words
            assert "Tell the office and the nurse yourself, now." in words
        assert "Battery or magnet: Wren, since 08:06" in after
    with morning.store.reading() as tx:
        assert [row.state for row in tx.exec(select(OutboxRow).where(OutboxRow.purpose == "alert"))] == []


def test_working_and_undo_do_not_call_an_emergency_back(phone, morning, page):
    phone.press(page, "3:alarm")
    phone.press(page, "undo")
    phone.press(page, "3:working")
    phone.press(page, "all")

    assert fault_phase(morning, "s-110") == "alarm"


def test_an_emergency_of_another_child_needs_no_name(phone, morning, page):
    phone.press(page, "other:alarm")
    with morning.store.reading() as tx:
        (id,) = chases.open_alarms(tx)
        row = chases.get(tx, id)
    assert row is not None
    assert row.student is None


def test_after_an_emergency_is_over_its_check_is_asked_by_one_chase_only(phone, morning):
    """Robin is the only student of the round, so a nameless emergency is taken to be Robin's."""
    morning.play_to("10:26")
    page = morning.round_path("rd-peel-lane-2026-09-15-0805-v-holt", "v-holt")
    phone.press(page, "other:alarm")
    phone.press(page, "end:found")
    phone.press(page, "end:yes")
    morning.play_to("11:40")
    with morning.store.reading() as tx:
        running = [c for c in chases.of_check(tx, check(morning, "s-107").id) if c.ended_at is None]
    assert len(running) == 1


def test_an_answer_before_the_bell_cancels_the_question(phone, morning):
    morning.play_to("07:30")
    page = morning.standing_path("l-teal")
    assert "Asked at 08:05. An answer now comes before that." in phone.look(page).text
    for student in ("s-102", "s-104", "s-110"):
        phone.press(page, f"{student}:working")
    morning.play_to("08:20")
    with morning.store.reading() as tx:
        prompts = tx.exec(select(OutboxRow).where(OutboxRow.person == "l-teal")).all()
    assert prompts == []
    assert check(morning, "s-110").result == "working"


def test_a_round_may_be_answered_on_its_own_page_before_it_is_asked(phone, morning):
    morning.play_to("07:50")
    page = morning.round_path(ROUND, "l-teal")

    assert "You are asked at 08:05. You can answer now" in phone.look(page).text
    assert "All 3 answered" in phone.press(page, "all").text


def test_a_fault_can_be_reported_at_any_time_of_the_day(phone, morning, page):
    phone.press(page, "all")
    morning.play_to("11:00")
    phone.press(morning.standing_path("l-teal"), "s-110:f:COIL:left")

    assert check(morning, "s-110").result == "fault"
    assert fault_phase(morning, "s-110") == "trying first"


def test_a_fault_on_a_day_without_a_check_of_the_student_starts_its_chain_all_the_same(phone, morning):
    """Robin has no check on Wednesdays."""
    morning.play_to("10:30", "2026-09-16")
    page = morning.standing_path("v-holt")
    assert "No check today." in phone.look(page).text
    phone.press(page, "s-107:f:BAT:left")

    found = check(morning, "s-107", date(2026, 9, 16))
    assert (found.routine, found.result) == ("reported", "fault")
    assert fault_phase(morning, "s-107") == "trying first"


def test_a_student_who_comes_back_is_asked_about_on_arrival(phone, morning, page):
    phone.press(page, "2:away")
    morning.play_to("09:40")
    answer = phone.press(morning.standing_path("l-teal"), "s-104:back")

    assert "Here after all" in answer.text
    assert check(morning, "s-104").state == "asked"


def test_a_student_away_by_notice_comes_back_and_is_asked_about(phone, morning):
    commands.give_notice(morning.desk, "away s-104", "c-reed")
    morning.play_to("09:40")
    phone.press(morning.standing_path("l-teal"), "s-104:back")

    assert check(morning, "s-104").state == "asked"


def test_a_guardian_sees_only_their_child_and_cannot_answer_for_school(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    theirs = morning.standing_path("g-pike")
    text = phone.look(theirs).text

    assert "Your child" in text
    assert "Wren" not in text
    assert "Finch" not in text
    assert "Something’s wrong" not in text
    assert phone.press(theirs, "s-110:working").status_code == 422


def test_a_guardians_working_is_noted_and_the_fault_stays(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    phone.press(page, "3:still")
    answer = phone.press(morning.standing_path("g-pike"), "s-110:fixed")

    assert "Noted as working. It is checked at school" in answer.text
    assert check(morning, "s-110").result == "fault"


def test_after_the_last_bell_the_page_says_so_and_keeps_a_late_answer(phone, morning, page):
    morning.play_to("15:10")
    assert "School is over for today" in phone.look(page).text
    answer = phone.press(page, "2:working")
    assert "A late answer is kept beside it: working." in answer.text
    with morning.store.reading() as tx:
        kept = statements.of_check(tx, check(morning, "s-104").id)

    assert check(morning, "s-104").result == "unanswered"
    assert [s.body["late"] for s in kept] == [True]


def test_on_the_next_day_the_link_says_kindly_that_it_is_over_and_shows_no_student(phone, morning, page):
    morning.clock.move_to(at("07:00", "2026-09-16"))
    answer = phone.look(page)

    assert answer.status_code == 410
    assert "Hollow Road School on Tuesday 15 September" in answer.text
    assert "Wren" not in answer.text
    assert phone.client.post(page, data={"word": "w", "do": "all"}).status_code == 410


def test_a_closed_school_has_a_page_that_says_there_is_nothing_to_do(phone, morning, page):
    commands.give_notice(morning.desk, "closed today at hollow-road", "c-reed")
    text = phone.look(page).text

    assert "No school today: closed by notice" in text
    assert "There is nothing to do." in text


def test_a_link_with_a_wrong_token_opens_nothing_and_helps(phone, page):
    answer = phone.look(page[:-4] + "AAAA")

    assert answer.status_code == 404
    assert "Open the link in your latest message" in answer.text


def test_one_student_is_not_found_on_the_page_of_another_round(phone, morning, page):
    other = morning.round_path("rd-hollow-road-2026-09-15-0810-d-fenn", "d-fenn")
    assert "Wren" not in phone.look(other).text


def test_the_six_sounds_stand_there_in_todays_order_with_silence_read_as_silence(phone, page):
    text = phone.look(page).text
    line = re.search(r'<p class="sounds">(.*?)</p>', text, re.S)

    assert line
    spoken = re.sub("<[^>]+>", " ", re.sub(r'<b aria-hidden="true">–</b>', "", line[1])).split()[1:]
    assert len(spoken) == 10
    assert set(spoken) == {"m", "oo", "ah", "ee", "sh", "s", "silence"}


def test_every_part_of_a_drawing_leads_to_what_can_be_seen_on_it(phone, page):
    text = phone.look(page).text
    targets = set(re.findall(r'<a href="#([^"]+)"', text))
    shown = re.findall(r'<use href="#([^"]+)"', text)

    assert targets
    assert targets <= set(re.findall(r'id="([^"]+)"', text))
    assert set(shown) <= set(re.findall(r'id="([^"]+)"', text))


def test_every_sentence_of_the_picker_is_of_a_device_the_student_has(phone, page):
    card = re.search(r'id="s2".*?</section>', phone.look(page).text, re.S)

    assert card
    assert "band is loose" in card[0]
    assert "adhesive" not in card[0], "the processor is worn on a band"
    assert "Wax in the earmould" not in card[0]
    assert "cable is loose" not in card[0]


def test_words_of_the_configuration_are_escaped(phone, morning, page, monkeypatch):
    with morning.desk.glance() as m:
        student = m.district.students["s-110"]
    object.__setattr__(student, "alias", "<script>alert(1)</script>")

    text = phone.look(page).text
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_the_page_weighs_less_than_thirty_kilobytes_with_all_it_needs(phone, page):
    sent = phone.client.get(page, headers={"accept-encoding": "gzip"})
    assert sent.headers["content-encoding"] == "gzip"
    weight = len(gzip.compress(sent.content)) + len(gzip.compress(static("look.css")))
    assert weight < 30_000


def test_nobody_can_press_faster_than_a_hand_does(phone, morning, page):
    for n in range(60):
        phone.press(page, "2:away", f"word-{n}")
    answer = phone.press(page, "1:working")

    assert "many presses" in answer.text
    assert check(morning, "s-102").state == "asked"


def test_a_fault_settled_on_the_page_ends_the_chase_as_put_right(phone, morning, page):
    phone.press(page, "3:f:CABLE:left")
    with morning.store.reading() as tx:
        (id,) = chases.open_faults_of(tx, "s-110")
    phone.press(page, "3:fixed")
    with morning.store.reading() as tx:
        row = chases.get(tx, id)
    assert row is not None
    end = load(row).end
    assert end is not None
    assert end.how is Ended.PUT_RIGHT
