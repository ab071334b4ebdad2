"""Any text at all: a reading, never an exception, and never good news without words for it.

A second of it by default; with BELLCHECK_FUZZ_EXAMPLES=1000000 it goes on for more than an hour.
"""

import os

from hypothesis import given, settings
from hypothesis import strategies as st

from service.core.district import Device, DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Result
from service.core.replies import read
from service.core.replies.tokens import shortened, tokens
from tests.core.replies_labelled import WORDS

EXAMPLES = int(os.environ.get("BELLCHECK_FUZZ_EXAMPLES", "120"))
GOOD = frozenset(
    word
    for phrase, means in WORDS.phrases.items()
    if {"good", "goodrest", "fixed", "ack", "general", "nothing"} & means.keys()
    for word in phrase
)
KNOWN = sorted(WORDS.known)
PIECES = st.one_of(
    st.sampled_from(KNOWN),
    st.sampled_from(["ok", "not", "but", "1", "2", "Ada", "Ben", "left", ",", ".", "?", "\n", "rest", "all", "bat"]),
    st.text(max_size=6),
)
TEXTS = st.one_of(st.text(max_size=300), st.lists(PIECES, max_size=24).map(" ".join))
DEVICES = st.lists(
    st.builds(Device, st.sampled_from(DeviceKind), st.sampled_from([Side.LEFT, Side.RIGHT, None])), max_size=3
)
ROUNDS = st.lists(DEVICES, max_size=4).map(
    lambda worn: tuple(AskedStudent(n, name, tuple(d)) for n, (name, d) in enumerate(zip(NAMES, worn, strict=False), 1))
)
NAMES = ("Ada", "Ben", "Cyd", "Dov")


def has_good_words(text: str) -> bool:
    """Whether a word heard in good news, or a slip that is read as one, is in the text."""
    words = {token.word for token in tokens(text)}
    words |= {word for token in words for word in shortened(token)} | {WORDS.repaired(word) for word in words}
    return not GOOD.isdisjoint(words)


@settings(max_examples=EXAMPLES, deadline=None)
@given(TEXTS, ROUNDS, st.sampled_from(Audience))
def test_any_text_is_read_and_good_news_has_words_for_it(
    text: str, students: tuple[AskedStudent, ...], audience: Audience
) -> None:
    reading = read(text, Asked(audience, students), WORDS)
    good = {n for n, outcome in reading.outcomes.items() if outcome.result in (Result.WORKING, Result.FIXED)}
    assert set(reading.outcomes) <= {student.number for student in students}
    assert not good or has_good_words(text)
