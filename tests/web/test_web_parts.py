"""The small parts of the web room, each by itself: buttons as values, cookies, pace, the picker, sentences."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from service.core.devices import catalogue
from service.core.district import Device, DeviceKind, Form, Severity, Side
from service.core.forms import shape_of
from service.core.reading import Fault, NotDone, Outcome, Result, Then
from service.engine.pickers import of_the_child, pickers
from service.web import presses, sentences
from service.web.pace import Pace
from service.web.presses import NotAPress, Press
from service.web.session import LASTS, Sessions
from service.wording.letters import Said

NOW = datetime(2026, 9, 15, 13, 0, tzinfo=UTC)
BOTH_IMPLANTS = (
    Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT),
    Device(DeviceKind.COCHLEAR_IMPLANT, Side.RIGHT),
)
WORN = [kind for kind in DeviceKind if kind is not DeviceKind.REMOTE_MIC]
MICROPHONE = st.just(Device(DeviceKind.REMOTE_MIC))
DEVICE = st.builds(Device, st.sampled_from(WORN), st.sampled_from(Side)) | MICROPHONE
DEVICES = st.lists(DEVICE, min_size=1, max_size=4)


def test_a_button_is_read_as_what_it_says():
    form = {"word": "w", "do": "2:not:next", "why-2": "too noisy"}
    later = Outcome(Result.NOT_DONE, reason=NotDone.TOO_NOISY, then=Then.NEXT_BELL)

    assert presses.read(form) == (Press("not", "2", later), "w")
    assert presses.read({"word": "w", "do": "all"})[0] == Press("all")
    fault = Outcome(Result.FAULT, (Fault("BAT", Side.LEFT),))
    assert presses.read({"word": "w", "do": "s-110:f:BAT:left"})[0] == Press("fault", "s-110", fault)


@given(st.dictionaries(st.sampled_from(["word", "do", "why-1"]), st.text(max_size=80)))
def test_whatever_a_form_holds_it_is_a_press_or_refused(form):
    try:
        press, word = presses.read(form)
    except NotAPress:
        return
    assert press.kind
    assert presses.WORD.fullmatch(word)


def test_a_cookie_is_good_until_its_time_is_over():
    now = [NOW]
    sessions = Sessions(b"key", lambda: now[0])
    cookie = sessions.issue("word")

    assert sessions.is_valid(cookie)
    now[0] += LASTS - timedelta(seconds=1)
    assert sessions.is_valid(cookie)
    now[0] += timedelta(seconds=1)
    assert not sessions.is_valid(cookie)


@given(st.text(max_size=60))
def test_no_other_text_is_a_cookie(text):
    assert not Sessions(b"key", lambda: NOW).is_valid(text)


def test_a_cookie_with_a_later_end_written_in_is_not_good():
    sessions = Sessions(b"key", lambda: NOW)
    expires, word, signature = sessions.issue("word").split(".")
    assert not sessions.is_valid(f"{int(expires) + 1}.{word}.{signature}")


def test_the_mark_of_a_form_belongs_to_one_cookie():
    sessions = Sessions(b"key", lambda: NOW)
    one, other = sessions.issue("one"), sessions.issue("other")

    assert sessions.is_form_token(one, sessions.form_token(one))
    assert not sessions.is_form_token(other, sessions.form_token(one))


def test_pace_counts_each_name_by_itself_and_forgets_with_time():
    now = [0.0]
    pace = Pace(2, 60.0, lambda: now[0])

    assert [pace.allows("a") for _ in range(3)] == [True, True, False]
    assert pace.allows("b")
    now[0] = 61.0
    assert pace.allows("a")


def test_the_picker_shows_at_most_six_sentences_first():
    for picker in pickers(catalogue(), BOTH_IMPLANTS):
        assert 2 <= len(picker.first) <= 6
        assert picker.first[0].code == "BAT"


@given(DEVICES)
def test_everything_that_can_be_seen_on_a_device_can_be_picked_once(devices):
    codes = catalogue()
    for picker in pickers(codes, devices):
        shown = [s.words for s in (*picker.first, *(s for p in picker.parts for s in p.seen))]
        child = {s.words for s in of_the_child(codes, devices)}
        one = next(device for device in devices if shape_of(device) == picker.shape)
        fitting = [c for c in codes.values() if c.severity is not Severity.EMERGENCY]
        assert len(shown) == len(set(shown))
        assert {words for c in fitting for words in c.seen_on(one)} <= {*shown, *child}


def test_two_forms_of_one_kind_are_picked_from_apart():
    unit = Device(DeviceKind.COCHLEAR_IMPLANT, Side.LEFT, Form.SINGLE_UNIT)

    left, right = pickers(catalogue(), [unit, BOTH_IMPLANTS[1]])

    assert [left.key, right.key] == ["cochlear-implant-single-unit", "cochlear-implant-cable-and-coil"]
    assert {part.id for part in right.parts} - {part.id for part in left.parts} == {"hook", "cable"}


def test_one_device_needs_no_side_and_two_are_asked_which():
    (two,) = pickers(catalogue(), BOTH_IMPLANTS)
    (one,) = pickers(catalogue(), BOTH_IMPLANTS[:1])

    assert {s.sides for s in two.first} == {(Side.LEFT, Side.RIGHT)}
    assert {s.sides for s in one.first} == {(Side.LEFT,)}


def test_an_emergency_is_not_one_sentence_among_others():
    assert "SWALLOWED" not in {s.code for s in of_the_child(catalogue(), BOTH_IMPLANTS)}


def test_ages_are_read_at_a_glance():
    assert [sentences.minutes(n) for n in (0, 1, 59, 60, 125)] == [
        "just now",
        "1 min",
        "59 min",
        "1 h 00 min",
        "2 h 05 min",
    ]


def test_no_sentence_shouts():
    for words in (*sentences.SAID.values(), *sentences.SEVERITY.values(), *sentences.MARKS.values()):
        assert "!" not in words


def test_whatever_comes_of_a_press_has_a_sentence_on_the_page():
    assert not {said.value for said in Said} - sentences.SAID.keys()
