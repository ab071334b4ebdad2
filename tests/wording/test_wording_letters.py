"""What people read: the first line any eye may see, few lines below it, then the link."""

import re
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from letters_made import (
    CHECKER,
    CLINIC,
    CODES,
    COORDINATOR,
    GUARDIAN,
    NEXT,
    OPEN,
    READERS,
    ROOM,
    SCHOOL,
    SHARED,
    caution,
    every_letter,
    faulty,
    silent,
    working,
)

from service.core.district import Role, Severity
from service.core.reading import Result
from service.languages import offered
from service.wording.compose import LINK, by_link, compose, fill
from service.wording.letters import (
    About,
    Alert,
    Answer,
    Ask,
    Caution,
    Event,
    Help,
    Item,
    Letter,
    News,
    NoCheck,
    Note,
    Promise,
    Prompt,
    Question,
    Reader,
    Said,
    Second,
)

WREN, MOSS = working(1, "Wren"), faulty(2, "Moss", "CABLE")
ALL = [letter for to in READERS for letter in every_letter(to, (WREN, MOSS))]
ASKS_FOR_WORDS = '(Answer|Responder|Répondez) (for|por|pour|"|«)'
SHORT = [letter for letter in ALL if not isinstance(letter, Caution | Answer)]
"""The caution, and an answer with its remedy, say what has to be said."""
TO_GUARDIANS = [
    letter
    for letter in every_letter(GUARDIAN, (WREN, MOSS))
    if isinstance(letter, Alert | Promise | News | NoCheck | Answer | Question | Caution)
]
"""What a guardian can be sent: never a round, and no word about other people's messages."""
LOCK_WORDS = re.compile(r"[A-Za-z0-9 :,']+")
DEVICE_WORDS = (
    "hearing",
    "aid",
    "processor",
    "implant",
    "microphone",
    "bone",
    "cable",
    "coil",
    "left",
    "right",
)


def below(letter: Letter) -> list[str]:
    """The lines between the first line and the link."""
    return compose(letter).text.split("\n")[1:-1]


def named(letter: Letter) -> str:
    return f"{type(letter).__name__}-{letter.to.role.value}"


def alert(to: Reader = COORDINATOR, severity: Severity = Severity.SAME_DAY, **more: str) -> Alert:
    facts = {"by": "08:26", "number": "000", **more}
    return Alert(to, severity, (MOSS,), ROOM, SCHOOL, "08:06", Role.CHECKER, next=NEXT, **facts)  # type: ignore[arg-type]


class TestEveryLetter:
    @pytest.mark.parametrize("letter", ALL, ids=named)
    def test_is_whole_sentences_and_one_link_at_the_end(self, letter: Letter) -> None:
        text = compose(letter).text
        assert text.endswith("\n" + LINK)
        assert text.count(LINK) == 1
        assert not re.search(r"!|\bNone\b|\{\{|\}\}|  | [.,;:]|\n\n|Role\.|tuple|<|>", text), text

    @pytest.mark.parametrize("language", sorted(offered()))
    def test_names_no_words_to_answer_with_where_a_channel_takes_no_answers(self, language: str) -> None:
        for letter in (each for each in SHORT if not isinstance(each, Help | Question)):
            text = by_link(compose(letter, language).text, language)
            assert not re.search(ASKS_FOR_WORDS, text), text
            assert "words}" not in fill(text, "https://checks.example/r/1")

    @pytest.mark.parametrize("letter", ALL, ids=named)
    def test_has_a_first_line_of_one_glance(self, letter: Letter) -> None:
        written = compose(letter)
        assert written.subject == written.lock_line
        assert LOCK_WORDS.fullmatch(written.lock_line)
        assert len(written.lock_line) <= 60

    @pytest.mark.parametrize("letter", ALL, ids=named)
    def test_says_nothing_of_a_device_in_the_first_line(self, letter: Letter) -> None:
        words = re.findall(r"[a-z]+", compose(letter).lock_line.lower())
        assert not set(words) & {*DEVICE_WORDS, *(code.lower() for code in CODES)}

    @pytest.mark.parametrize("letter", SHORT, ids=named)
    def test_keeps_to_four_lines_below_the_first(self, letter: Letter) -> None:
        assert len(below(letter)) <= 4

    @pytest.mark.parametrize("letter", TO_GUARDIANS, ids=named)
    def test_gives_a_guardian_no_alias_number_room_or_school(self, letter: Letter) -> None:
        assert not re.search(r"Wren|Moss|Room|Hollow|\b[12] (?!fault|still)", compose(letter).text)


@settings(max_examples=60, deadline=None)
@given(
    aliases=st.lists(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=6, max_size=9), min_size=2, max_size=5),
    code=st.sampled_from(sorted(CODES)),
    to=st.sampled_from(READERS),
)
def test_no_child_room_school_or_code_ever_stands_in_the_first_line(
    aliases: list[str], code: str, to: Reader
) -> None:
    items = tuple(faulty(i, alias, code) for i, alias in enumerate(aliases, 1))
    for letter in every_letter(to, items):
        line = compose(letter).lock_line
        assert not any(word in line for word in (*aliases, code, ROOM, SCHOOL))


@pytest.mark.parametrize("letter", every_letter(SHARED, (WREN, MOSS)), ids=named)
def test_a_shared_channel_gets_the_first_line_and_the_link_only(letter: Letter) -> None:
    if isinstance(letter, Caution):
        assert compose(letter).text == compose(replace(letter, to=CHECKER)).text
    else:
        assert compose(letter).text == f"{compose(letter).lock_line}\n{LINK}"


@given(st.text(max_size=60))
@example("{link}")
@example("Wren\u2028{{ to }}\r\n\x85")
def test_whatever_an_alias_holds_it_stays_on_its_line_and_cannot_pass_for_the_link(alias: str) -> None:
    letter = Prompt(CHECKER, "08:20", (Item(1, alias, "left processor"),), ROOM)
    plain = compose(Prompt(CHECKER, "08:20", (Item(1, "Wren", "left processor"),), ROOM))
    written = compose(letter)
    assert written.text.count(LINK) == 1
    assert len(written.text.split("\n")) == len(plain.text.split("\n"))
    assert written.lock_line == plain.lock_line


class TestAPrompt:
    def test_says_how_many_by_when_where_and_who(self) -> None:
        items = (Item(1, "Wren", "left processor"), Item(2, "Moss", "both hearing aids"))
        written = compose(Prompt(CHECKER, "08:20", items, ROOM, "Period 1"))
        assert fill(written.text, LINK).split("\n") == [
            "2 checks by 08:20",
            "Room 12, before Period 1.",
            "1 Wren, left processor; 2 Moss, both hearing aids",
            'Answer "ok" when all work, or by number ("1 ok, 2 cable"), or use the page.',
            LINK,
        ]

    def test_opens_with_a_fault_that_is_still_open(self) -> None:
        assert "Still open: 2 cable (left) since Monday." in below(
            Prompt(CHECKER, "08:20", (WREN, MOSS), ROOM)
        )

    def test_says_when_it_comes_late(self) -> None:
        line = below(Prompt(CHECKER, "08:20", (WREN,), ROOM, late_since="08:05"))[0]
        assert line == "Room 12. Sent late: the service was down from 08:05."

    def test_names_at_most_six_of_a_long_round(self) -> None:
        items = tuple(Item(n, f"Bird{n}") for n in range(1, 10))
        assert below(Prompt(CHECKER, "08:20", items, ROOM))[1].endswith("6 Bird6; and 3 more")


class TestASilence:
    def test_names_the_children_to_those_who_can_do_the_check(self) -> None:
        text = compose(Second(CHECKER, (silent(WREN, MOSS),), "08:20", NEXT, with_child=True)).text
        assert "1 Wren" in text
        assert "Next: the coordinator at 08:31." in text

    def test_gives_others_place_and_count_only(self) -> None:
        letter = Second(COORDINATOR, (silent(WREN, MOSS),), "08:20", NEXT)
        assert below(letter)[0] == "Hollow Road, Room 12: 2 checks silent since 08:05."
        assert "Wren" not in compose(letter).text

    def test_thirty_rooms_are_said_by_school_since_the_first(self) -> None:
        rounds = tuple(silent(WREN, place=f"Room {n}", since=f"08:{n:02}") for n in range(5, 35))
        written = compose(Second(COORDINATOR, rounds, "08:20"))
        assert written.lock_line == "30 checks silent, to take in hand by 08:20"
        assert "Hollow Road: 30 checks silent since 08:05." in written.text

    def test_many_schools_end_in_one_line_for_the_rest(self) -> None:
        rounds = tuple(silent(WREN, school=f"School {n}") for n in range(8))
        assert "6 other schools: 6 checks silent since 08:05." in compose(Second(COORDINATOR, rounds)).text


class TestAFault:
    def test_says_where_who_what_since_when_and_who_is_next(self) -> None:
        assert fill(compose(alert()).text, LINK).split("\n") == [
            "1 fault to take in hand by 08:26",
            "Hollow Road, Room 12. 2 Moss, left processor: CABLE, transmitting cable loose, worn or cutting out.",
            "Reported at 08:06 by the checker.",
            'Next: the coordinator at 08:31. Answer "mine 30" to take it in hand, '
            '"working" or "loaner" when that is so.',
            LINK,
        ]

    def test_is_marked_urgent_only_when_it_is(self) -> None:
        assert compose(alert(severity=Severity.URGENT)).lock_line.startswith("Urgent: ")
        assert "Urgent" not in compose(alert()).text

    def test_tells_a_guardian_of_your_child(self) -> None:
        text = compose(alert(GUARDIAN)).text
        assert "Your child, left processor: transmitting cable loose" in text
        assert "CABLE" not in text

    def test_reminds_an_outside_contact_what_it_may_be_used_for(self) -> None:
        assert "please do not pass it on" in compose(alert(CLINIC)).text
        assert "please do not pass it on" not in compose(alert()).text

    @pytest.mark.parametrize(
        ("role", "severity", "named_there"),
        [
            (Role.NURSE, Severity.EMERGENCY, True),
            (Role.OFFICE, Severity.EMERGENCY, True),
            (Role.CLINIC, Severity.EMERGENCY, False),
            (Role.COORDINATOR, Severity.EMERGENCY, False),
            (Role.NURSE, Severity.URGENT, False),
        ],
    )
    def test_names_the_child_in_an_emergency_to_nurse_and_office_only(
        self, role: Role, severity: Severity, named_there: bool
    ) -> None:
        written = compose(alert(Reader(role), severity, child="Moss Invented"))
        assert ("Moss Invented" in written.text) is named_there
        assert "Invented" not in written.lock_line

    def test_asks_in_an_emergency_whether_the_number_was_called(self) -> None:
        assert "Make sure that 000 has been called." in compose(alert(severity=Severity.EMERGENCY)).text


class TestTheEmergencyCaution:
    def test_begins_with_what_to_do_now_and_the_district_s_number(self) -> None:
        assert compose(caution()).lock_line == "Call 000 now"
        assert compose(caution()).text.startswith("Call 000 now\nWithout a voice call: write to 000")

    def test_holds_every_step_and_every_warning_of_the_code(self) -> None:
        text = compose(caution()).text
        assert all(line in text for line in (*CODES["SWALLOWED"].remedy, *CODES["SWALLOWED"].never))

    def test_names_the_poison_line_where_the_district_has_one(self) -> None:
        assert "Poison line: 1-000-0." in compose(caution()).text
        assert "Poison line" not in compose(replace(caution(), poison="")).text


class TestAnAnswer:
    def test_says_in_one_line_what_was_recorded_and_what_is_open(self) -> None:
        letter = Answer(CHECKER, (WREN, replace(MOSS, remedy=(), never=(), cautions=()), working(3, "Teal")))
        assert compose(letter).text == (
            f"Recorded: 1 and 3 working; 2 cable, left. Nothing is left to answer.\n{LINK}"
        )

    def test_keeps_the_order_of_the_numbers(self) -> None:
        letter = Answer(CHECKER, (working(3, "Teal"), replace(MOSS, remedy=(), never=(), cautions=()), WREN))
        assert compose(letter).text.startswith("Recorded: 1 and 3 working; 2 cable, left.")

    def test_keeps_what_was_recorded_off_the_first_line(self) -> None:
        assert compose(Answer(CHECKER, (MOSS,), (WREN,))).lock_line == "1 fault recorded, 1 not answered yet"

    def test_brings_the_first_remedy_what_not_to_do_and_asks_whether_it_helped(self) -> None:
        lines = compose(Answer(CHECKER, (MOSS,), try_until="08:16")).text.split("\n")
        assert lines[1:4] == [f"- {step}" for step in CODES["CABLE"].remedy]
        assert lines[4] == " ".join(CODES["CABLE"].never)
        assert lines[-2] == (
            'Did that help? Answer "2 fixed" or "2 no". If you do not answer, the next person is told '
            "at 08:16."
        )

    def test_says_which_remedy_is_for_whom_where_there_are_two(self) -> None:
        lines = compose(Answer(CHECKER, (MOSS, faulty(3, "Teal", "BAT")))).text.split("\n")
        assert {"2 cable:", "3 bat:"} <= set(lines)

    def test_keeps_the_cause_of_what_was_fixed(self) -> None:
        fixed = replace(MOSS, result=Result.FIXED, remedy=(), never=(), cautions=())
        assert compose(Answer(CHECKER, (fixed,))).text.startswith("Recorded: 2 fixed (cable, left).")

    @pytest.mark.parametrize("said", Said)
    def test_has_one_sentence_for_each_thing_it_may_have_to_say(self, said: Said) -> None:
        lines = compose(Answer(CHECKER, notes=(Note(said, "08:30", Role.SECOND),))).text.split("\n")
        assert len(lines) == 2
        assert lines[0].endswith(".")

    def test_says_what_each_note_means(self) -> None:
        texts = {compose(Answer(CHECKER, notes=(Note(said, "08:30", Role.SECOND),))).text for said in Said}
        assert len(texts) == len(Said)

    def test_cannot_take_an_emergency_back(self) -> None:
        text = compose(Answer(CHECKER, notes=(Note(Said.NOT_CALLED_BACK),))).text
        assert text.startswith('Not called back: an emergency stays until you answer "found"')


class TestAQuestion:
    def test_differs_for_each_thing_to_ask(self) -> None:
        texts = {compose(Question(CHECKER, (Ask(about, (MOSS,), rounds=OPEN),))).text for about in About}
        assert len(texts) == len(About)

    def test_says_what_was_clear_first(self) -> None:
        letter = Question(CHECKER, (Ask(About.NOT_OK, (MOSS,)),), recorded=(WREN,), open=(MOSS,))
        assert below(letter) == [
            "Recorded: 1 working. Not answered yet: 2.",
            '2 Moss: what is wrong? A word will do ("battery", "no light", "sore").',
        ]

    def test_asks_the_bare_ok_whether_the_known_fault_is_put_right(self) -> None:
        letter = Question(CHECKER, (Ask(About.STILL_A_FAULT, (MOSS,), Role.SECOND),))
        assert below(letter) == [
            "2 Moss was reported with CABLE by the second checker. Is that put right? "
            'Answer "2 fixed" or "2 no".'
        ]


class TestNews:
    def test_tells_in_the_first_line_that_nothing_is_to_be_done(self) -> None:
        written = compose(News(COORDINATOR, Event.FIXED, (MOSS,), ROOM, "08:08", Role.CHECKER))
        assert written.lock_line == "Settled at 08:08, nothing to do"
        assert "Put right, said by the checker." in written.text

    def test_never_calls_a_guardian_s_word_settled(self) -> None:
        written = compose(News(COORDINATOR, Event.SAID_WORKING, (MOSS,), ROOM, "08:20", Role.GUARDIAN))
        assert written.lock_line == "Said to be settled at 08:20, a check follows"

    def test_says_that_a_fault_stays_open_behind_a_loaner(self) -> None:
        written = compose(News(COORDINATOR, Event.LOANER, (MOSS,), ROOM, "08:20", Role.AUDIOLOGIST))
        assert "the fault itself stays open" in written.text


def test_help_fits_who_asks() -> None:
    assert '"ok" when all work' in compose(Help(CHECKER)).text
    assert "mine 30" in compose(Help(COORDINATOR, checker=False)).text


@pytest.mark.parametrize("checker", [True, False])
@pytest.mark.parametrize("language", sorted(offered()))
def test_help_fits_a_phone_whatever_the_round(checker: bool, language: str) -> None:
    """320 characters: two text messages of 160, by common practice; no source."""
    items = tuple(working(n, f"Goldcrest{n}") for n in range(1, 31))
    like = ('"1 ok"', '"15 left battery"', '"15 fixed"', '"30 away"') if checker else ('"30 working"', '"30 loaner"')
    assert len(compose(Help(CHECKER, items, checker, like), language).text) <= 320


def test_a_language_without_templates_reads_english() -> None:
    letter = Prompt(CHECKER, "08:20", (WREN,), ROOM)
    assert compose(letter, "xx") == compose(letter, "../en") == compose(letter, "en-GB") == compose(letter)


def test_the_link_is_put_in_or_its_line_left_out() -> None:
    text = compose(Prompt(SHARED, "08:20", (WREN,), ROOM)).text
    assert fill(text, "https://x.example/r/1") == "1 check by 08:20\nhttps://x.example/r/1"
    assert fill(text, None) == "1 check by 08:20"
