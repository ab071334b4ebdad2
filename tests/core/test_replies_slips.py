"""Over a hundred thousand slips, of every labelled reply: meaning may become a question, never better news."""

import random

import pytest

from service.core.replies import read
from tests.core.replies_labelled import EVERY, WORDS, asked_of, cases, reads_better
from tests.core.reply_slips import slip

PARTS = 8
PER_CASE = 46
# One slip of these is, letter for letter, another whole reply with a better meaning; nobody could tell.
COLLIDE = {
    "R ok", "L ok", "left ok", "HA ok", "0 ok", "lol", "hmm", "2 link", "they say they are ok", "gsu ok",
    "back working",    "1 ok 2 no 3 ok",
}  # fmt: skip
# Replies of which a slip in some thousands still reads better: 25 of 124,660 at most. No other may join them.
RESIDUE = {
    "ok with me\n\n--\nM. Orrin\nRoom 6", "Ollie gone home w tummy ache other 2 fine",
    "everybody fine, only lark has no mic link", "still working on it", "working on it", "D ok G non",
    "all ok once ive changed the batteries", "todo bien, o eso dicen ellos", "He is working in the library",
    "kit no whistling anymore, ok", "CI was dead, charged battery put in, working",
    "took the left one out and wont put it back in", "fixed it, fingers crossed", "her new one is fine",
    "Vada n the rest fine, Bo L tube popped off", "Remy👍 Otto👍", "tao both flat, uma no hook, rest ok",
    "Kid says its fine", "re-paired the mic and Kit hears it now",
    "hit his head at recess and cant hear now", "found it in his hood lol. on and working",
}  # fmt: skip
MOST_BETTER = 25


@pytest.mark.parametrize("part", range(PARTS))
def test_no_slip_makes_a_reply_better_news_than_it_was(part: int) -> None:
    rng = random.Random(20260901 + part)
    every = [case for path in EVERY for case in cases(path)][part::PARTS]
    better, count = [], 0
    for case in every:
        if case["text"] in COLLIDE:
            continue
        asked = asked_of(case)
        for _ in range(PER_CASE):
            text = slip(case["text"], rng)
            count += 1
            if reads_better(case, read(text, asked, WORDS)):
                better.append((case["text"], text))
    assert count * PARTS >= 105_000  # 115,000 and more with the shared sample
    assert [(reply, text) for reply, text in better if reply not in RESIDUE] == []
    assert len(better) <= MOST_BETTER
