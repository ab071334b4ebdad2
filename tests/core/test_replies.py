"""Replies are read by habit, and never as better news than they are."""

import json
import os
import random
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.core.district import Device, DeviceKind, FaultText, Side
from service.core.reading import Aside, Asked, AskedStudent, Audience, Command, Fault, Reading, Result
from service.core.replies import default_words, read
from service.core.replies.page import as_json

Case = dict[str, Any]

HERE = Path(__file__).parent
SHARED = Path(os.environ.get("BELLCHECK_SHARED", HERE.parents[2] / "shared"))
SAMPLE = SHARED / "data" / "replies.jsonl"
WORDS = default_words()
GOOD = {"working", "fixed"}
AID_LEFT, AID_RIGHT = Device(DeviceKind.HEARING_AID, Side.LEFT), Device(DeviceKind.HEARING_AID, Side.RIGHT)
IMPLANT_LEFT = Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT)
ADA = AskedStudent(1, "Ada", (AID_LEFT, AID_RIGHT))
BEN = AskedStudent(2, "Ben", (IMPLANT_LEFT,))
CYD = AskedStudent(3, "Cyd", (AID_LEFT, Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT)))
ROUND = Asked(Audience.CHECKER, (ADA, BEN, CYD))
ALONE = Asked(Audience.CHECKER, (AskedStudent(1, "Ned", (AID_RIGHT,)),))
ALERT = Asked(Audience.CONTACT, (AskedStudent(1, "Ned", (AID_RIGHT,)),))


def heard(text: str, asked: Asked = ROUND) -> Reading:
    return read(text, asked, WORDS)


def results(reading: Reading) -> dict[int, str]:
    return {number: outcome.result.value for number, outcome in reading.outcomes.items()}


def good_news(reading: Reading) -> set[int]:
    return {number for number, result in results(reading).items() if result in GOOD}


# -- labelled replies -----------------------------------------------------------------------------------


def cases(path: Path) -> list[Case]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def asked_of(case: Case) -> Asked:
    students = tuple(
        AskedStudent(
            s["number"],
            s["alias"],
            tuple(Device(DeviceKind(d["kind"]), Side(d["side"]) if d["side"] else None) for d in s["devices"]),
        )
        for s in case["students"]
    )
    return Asked(Audience(case["audience"]), students)


def comparable(expect: Case) -> tuple[object, ...]:
    outcomes = {
        number: (
            o["result"],
            sorted((f["code"], f["side"] or "") for f in o["faults"]),
            sorted(o.get("missed_sounds", [])),
        )
        for number, o in expect["outcomes"].items()
    }
    return outcomes, expect["command"], expect["minutes"], expect["ask"], bool(expect.get("emergency"))


def better_than(expect: Case, got: Case) -> bool:
    """Whether `got` has a student working or fixed whom `expect` has not, or working for fixed."""
    for number, outcome in got["outcomes"].items():
        wanted = expect["outcomes"].get(number, {}).get("result")
        if outcome["result"] in GOOD and wanted not in GOOD:
            return True
        if outcome["result"] == "working" and wanted == "fixed":
            return True
    return False


def check_score(path: Path) -> None:
    all_cases = cases(path)
    total: Counter[str] = Counter()
    agreed: Counter[str] = Counter()
    missed, false_good, emergencies, needless, clear = [], [], [], [], 0
    for case in all_cases:
        got, expect = as_json(heard(case["text"], asked_of(case)), case["id"]), case["expect"]
        if better_than(expect, got):
            false_good.append(case["text"])
        if expect.get("emergency") and not got["emergency"]:
            emergencies.append(case["text"])
        if case.get("doubtful"):
            continue
        total[case["category"]] += 1
        if comparable(got) == comparable(expect):
            agreed[case["category"]] += 1
        else:
            missed.append((case["id"], case["text"]))
        clear += not expect["ask"]
        if got["ask"] and not expect["ask"]:
            needless.append(case["text"])
    assert false_good == []
    assert emergencies == []
    assert len(missed) <= 0.03 * sum(total.values()), missed
    assert len(needless) <= 0.02 * clear, needless


@pytest.mark.skipif(not SAMPLE.exists(), reason=f"labelled sample not found: {SAMPLE}")
def test_the_labelled_sample_is_read_as_labelled_with_no_false_good_news() -> None:
    check_score(SAMPLE)


def test_our_own_labelled_replies_are_read_as_labelled_with_no_false_good_news() -> None:
    check_score(HERE / "replies_own.jsonl")


# -- the asymmetric rule ---------------------------------------------------------------------------------

PLAIN_GOOD = [
    "ok", "all ok", "all good", "Everyone fine", "All working", "all 3 ok", "1 2 3 ok", "Ada ok Ben ok Cyd ok",
    "they are all working", "todo bien", "tout va bien", "👍", "ok, everyone is good",
]  # fmt: skip
TURNED = {
    "negation before": ("not {}", "not really {}", "never {}", "no es cierto, {}"),
    "negation after": ("{} not", "{} - not", "{}. not"),
    "hedge": ("I think {}", "maybe {}", "{} I guess", "{} probably", "hopefully {}", "{}, as far as I know", "{} ish"),
    "question": ("{}?", "is it {}?", "{} or not", "{}? not sure"),
    "exception": ("{} except 2", "{} but 2", "{} apart from Ben", "all except Ben {}", "{}, just not Ben"),
    "fault": ("{} but 2 bat", "{}. Ben cable", "{}, 2 dead", "{} 2 whistling", "{} and 2 is broken"),
    "later": ("{} later", "{} after assembly", "{} tomorrow", "will be {} soon", "{} when I check"),
    "past": ("{} yesterday", "it was {} yesterday", "{} last week"),
    "wish for time": ("{} give me 5", "{} hang on", "{} wait 10"),
}


@pytest.mark.parametrize("text", PLAIN_GOOD)
def test_plain_good_words_settle_the_whole_round(text: str) -> None:
    reading = heard(text)
    assert results(reading) == {1: "working", 2: "working", 3: "working"}
    assert not reading.ask


@pytest.mark.parametrize("kind", TURNED)
@pytest.mark.parametrize("text", PLAIN_GOOD)
def test_words_that_could_turn_good_news_stop_it_being_plain_good_news(text: str, kind: str) -> None:
    for turn in TURNED[kind]:
        reading = heard(turn.format(text))
        assert reading.ask or 2 not in good_news(reading), turn.format(text)
        assert good_news(reading) != {1, 2, 3}, turn.format(text)


@given(st.sampled_from(PLAIN_GOOD), st.text(alphabet="qxzjvk", min_size=3, max_size=8))
def test_an_unknown_word_before_a_bare_good_word_is_asked_about(good: str, odd: str) -> None:
    assert good_news(heard(f"{odd} {good.split(',', maxsplit=1)[0]}")) in (set(), {2, 3}, {3})


# -- any text --------------------------------------------------------------------------------------------

_VOCABULARY = """
    ok all good not 1 2 3 9 L R bat cable Ada Ben rest except but away later ? . , ! no wait 10 min fixed was
    missed s sh undo help mine swallowed battery the and left right both other > -- On wrote: 👍 ✅
    n't isn't all-ok 5/6 1-3 8:05 todo bien sauf pas
"""
_PIECES = st.sampled_from(_VOCABULARY.split())


@given(st.one_of(st.text(max_size=300), st.lists(_PIECES, max_size=25).map(" ".join)))
@example("\ud800 ok")
@example("1-9999 ok")
@settings(max_examples=600, deadline=None)
def test_any_text_gives_a_reading_about_students_who_were_asked_about(text: str) -> None:
    for asked in (ROUND, ALONE, ALERT, Asked(Audience.CHECKER, ())):
        reading = heard(text, asked)
        numbers = {student.number for student in asked.students}
        assert set(reading.outcomes) <= numbers
        assert reading.pointed <= numbers
        assert all(o.faults or o.result is not Result.FAULT for o in reading.outcomes.values())


@given(st.text(alphabet="bcdfghjklmnpqrstvwxyz ", max_size=60).filter(lambda t: not set(t.split()) & WORDS.known))
@settings(max_examples=300, deadline=None)
def test_letters_that_are_no_words_are_never_good_news(text: str) -> None:
    assert not good_news(heard(text))


# -- typing errors ---------------------------------------------------------------------------------------

_ROWS = ("qwertyuiop", "asdfghjkl", "zxcvbnm")
_NEAR = {c: row[max(0, i - 1) : i] + row[i + 1 : i + 2] for row in _ROWS for i, c in enumerate(row)}
_MARKS = ("😊", "\u200b", "\u200f", "\u200e", "\u2060", " ")
_PER_CASE = 45
# Two slips of these make, letter for letter, another whole reply that is good news; nobody could tell.
_COLLIDE = {"lol", "HA ok", "R ok", "L ok", "left ok", "2 link", "hmm"}


def mutant(text: str, rng: random.Random) -> str:
    """`text` with one slip of a thumb, a phone or a mail program."""
    spots = [i for i, c in enumerate(text) if c.isalpha()]
    kind = rng.randrange(9)
    if kind < 4 and spots:
        i = rng.choice(spots)
        swap = text[i + 1 : i + 2] + text[i] if text[i + 1 : i + 2].isalpha() else text[i : i + 2]
        after = text[i + 1 : i + 2]
        changed = (_slip(text[i], rng) + after, text[i] * 2 + after, after, swap)
        return text[:i] + changed[kind] + text[i + 2 :]
    if kind == 4:
        return text.upper()
    if kind == 5:
        return text.replace(" ", "")
    if kind == 6:
        return text.replace("'", "\u2019").replace("-", "\u2014").replace('"', "\u201c")
    i = rng.randrange(len(text) + 1)
    return text[:i] + rng.choice(_MARKS) + text[i:]


def _slip(letter: str, rng: random.Random) -> str:
    return rng.choice(_NEAR.get(letter.lower()) or letter)


def mutants() -> Iterator[tuple[Case, str, Asked]]:
    rng = random.Random(20260901)
    labelled = cases(HERE / "replies_own.jsonl") + (cases(SAMPLE) if SAMPLE.exists() else [])
    for case in labelled:
        if case["text"] not in _COLLIDE:
            asked = asked_of(case)
            for _ in range(_PER_CASE):
                yield case, mutant(case["text"], rng), asked


def test_no_typing_error_makes_a_reply_better_news_than_it_was() -> None:
    count = 0
    better = []
    for case, text, asked in mutants():
        count += 1
        if better_than(case["expect"], as_json(heard(text, asked), case["id"])):
            better.append((case["text"], text))
    assert count >= 20_000
    assert better == []


# -- time ------------------------------------------------------------------------------------------------


_PIECES_OF_WEIGHT = ["on ", "ok ", "1L bat ", "no ", "?", "Ben ", "1-40 ", "x", "> ", "s sh missed ", "On M wrote: \n"]


@pytest.mark.parametrize("piece", _PIECES_OF_WEIGHT)
def test_two_kilobytes_of_anything_are_read_in_a_few_milliseconds(piece: str) -> None:
    text = (piece * 2048)[:2048]
    best = min(_seconds(text) for _ in range(7))
    assert best < 0.02  # 5 ms is the goal on a quiet core; the margin is for a busy one


def _seconds(text: str) -> float:
    start = time.perf_counter()
    heard(text)
    return time.perf_counter() - start


def test_a_long_reply_that_is_cut_off_is_never_plain_good_news() -> None:
    assert not good_news(heard("all ok " + "and so on " * 400 + "except 2"))


# -- what is said beside outcomes -------------------------------------------------------------------------


def test_a_blanket_ok_points_at_nobody_and_a_number_points_at_its_student() -> None:
    assert heard("all ok").pointed == frozenset()
    assert heard("2 ok").pointed == {2}
    assert heard("Ben ok").pointed == {2}


def test_a_contact_who_says_working_points_at_the_one_student_of_the_alert() -> None:
    reading = heard("working", ALERT)
    assert reading.command is Command.WORKING
    assert reading.pointed == {1}


def test_a_bare_ok_for_one_student_points_at_nobody() -> None:
    assert heard("ok", ALONE).pointed == frozenset()
    assert heard("Ned ok", ALONE).pointed == {1}


@pytest.mark.parametrize(
    ("text", "aside", "pointed"),
    [("yes", Aside.YES, set()), ("no", Aside.NO, set()), ("2 no", Aside.NO, {2}), ("found", Aside.FOUND, set()),
     ("with medical help", Aside.MEDICAL_HELP, set())],
)  # fmt: skip
def test_words_that_only_answer_a_question_are_asides_and_settle_nothing(
    text: str, aside: Aside, pointed: set[int]
) -> None:
    reading = heard(text)
    assert (reading.aside, reading.pointed, reading.ask) == (aside, pointed, True)
    assert not reading.outcomes


def test_a_reading_says_which_words_led_to_each_part() -> None:
    because = " / ".join(heard("1 L bat, 2 ok").because)
    assert "1 BAT" in because
    assert "bat" in because
    assert "2 working" in because


def test_a_district_can_add_its_own_words_for_a_fault() -> None:
    words = default_words(extra={"BAT": FaultText("BAT", words=("pila boton", "juice box"))})
    reading = read("2 juice box", ROUND, words)
    assert reading.outcomes[2].faults == (Fault("BAT", Side.LEFT),)


def test_a_district_can_add_a_code_of_its_own() -> None:
    words = default_words(extra={"GLITTER": FaultText("GLITTER", words=("covered in glitter",))})
    assert read("2 covered in glitter", ROUND, words).outcomes[2].faults == (Fault("GLITTER", Side.LEFT),)


def test_an_unknown_language_is_refused_by_name() -> None:
    with pytest.raises(FileNotFoundError, match="xx"):
        default_words(("en", "xx"))


def test_an_emergency_with_nobody_named_still_raises_the_alarm() -> None:
    reading = heard("somebody may have swallowed a battery")
    assert reading.emergency
    assert not reading.outcomes


@pytest.mark.parametrize(
    "text", ["BenSwallowedAMagnet", "ben swalowed it", "battery up his nose", "se trago la pila", "avalé une pile"]
)
def test_a_cell_or_magnet_in_a_child_is_an_emergency_however_it_is_typed(text: str) -> None:
    assert heard(text).emergency


def test_the_written_form_lists_sounds_only_with_a_sound_fault() -> None:
    written = as_json(heard("1 missed s, 2 bat"), "a")
    assert written["outcomes"] == {
        "1": {"result": "fault", "faults": [{"code": "SOUND", "side": None}], "missed_sounds": ["s"]},
        "2": {"result": "fault", "faults": [{"code": "BAT", "side": "left"}]},
    }
