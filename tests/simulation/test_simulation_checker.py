"""Defects that people make are planted into the service: the checker sees each, and says which promise it breaks."""

from collections.abc import Callable
from datetime import timedelta
from itertools import count
from typing import Any

import pytest

from service.engine import chaser, gathering, hearing, notices, running, summaries
from service.engine.desk import Moment
from service.store import inbox, outbox
from tests.simulation.runs import play
from tests.simulation.shrink import shrunk

SEEDS = (33, 18, 246, 6)
SMALL = (9, 15, 27, 33, 39, 48, 84)
Patch = Callable[[pytest.MonkeyPatch], None]


def no_results_at_the_days_end(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(summaries, "_end_day", lambda *_: None)


def silence_goes_on_late(patch: pytest.MonkeyPatch) -> None:
    wake = chaser.wake
    late = timedelta(minutes=9)
    patch.setattr(chaser, "wake", lambda chase, scene: (at := wake(chase, scene)) and at + late)


def a_key_by_chance(patch: pytest.MonkeyPatch) -> None:
    numbers, key = count(), gathering._key
    patch.setattr(gathering, "_key", lambda rows: f"{key(rows)}#{next(numbers)}")


def sent_again_after_it_was_taken(patch: pytest.MonkeyPatch) -> None:
    finish = outbox.finish

    def forgets(tx: Any, finished: Any, owner: str, at: Any) -> int:
        done = finish(tx, finished, owner, at)
        for one in finished:
            row = outbox.lock(tx, [one.id])[one.id]
            if one.state == "accepted" and row.attempts < 2:
                row.state, row.next_at = "waiting", at + timedelta(seconds=30)
        return done

    patch.setattr(outbox, "finish", forgets)


def a_closed_school_is_asked(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(notices, "_take_effect", lambda *_: None)


def the_end_is_kept_quiet(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(chaser.trays, "lay_news", lambda *_: None)


def words_are_acknowledged_and_lost(patch: pytest.MonkeyPatch) -> None:
    unread = inbox.unread
    patch.setattr(inbox, "unread", lambda tx, limit: [r for r in unread(tx, limit) if r.id[-1] not in "0123"])


def an_exception_is_overheard(patch: pytest.MonkeyPatch) -> None:
    read = hearing.replies.read

    def hopeful(text: str, asked: Any, words: Any) -> Any:
        return read("ok" if "but" in text or "except" in text else text, asked, words)

    patch.setattr(hearing.replies, "read", hopeful)


def silence_counts_at_once_after_a_restart(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(running, "hold_silence", lambda *_: None)


def a_change_without_a_cause(patch: pytest.MonkeyPatch) -> None:
    note = Moment.note

    def forgets(m: Moment, stream: str, kind: str, id: str, cause: Any = (), *rest: Any, **more: Any) -> None:
        note(m, stream, kind, id, () if kind == "check" else cause, *rest, **more)

    patch.setattr(Moment, "note", forgets)


PLANTED: tuple[tuple[Patch, str], ...] = (
    (no_results_at_the_days_end, "1"),
    (silence_goes_on_late, "2"),
    (a_key_by_chance, "3"),
    (sent_again_after_it_was_taken, "3"),
    (a_closed_school_is_asked, "4"),
    (the_end_is_kept_quiet, "4"),
    (words_are_acknowledged_and_lost, "5"),
    (an_exception_is_overheard, "6"),
    (silence_counts_at_once_after_a_restart, "7"),
    (a_change_without_a_cause, "8"),
)


@pytest.mark.parametrize(("plant", "promise"), PLANTED, ids=lambda p: getattr(p, "__name__", None))
def test_a_planted_defect_is_seen(plant: Patch, promise: str, monkeypatch: pytest.MonkeyPatch) -> None:
    plant(monkeypatch)
    wrong = []
    for seed in SEEDS:
        wrong.append(play(seed, days=1).wrong)
        if f"{promise}:" in wrong[-1]:
            return
    raise AssertionError(wrong)


def test_a_failing_story_is_made_short_and_told_in_plain_words(monkeypatch: pytest.MonkeyPatch) -> None:
    an_exception_is_overheard(monkeypatch)
    run = next(r for seed in SMALL if (r := play(seed, days=1)).wrong)
    story = shrunk(run, lambda only, without: play(run.seed, 1, only=only, without=without))

    assert len(story.only) <= 3 < len(run.happened)
    assert "writes “" in str(story)
    assert play(run.seed, 1, only=story.only, without=story.without).wrong == story.run.wrong
