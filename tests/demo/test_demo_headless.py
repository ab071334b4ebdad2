"""The scripted day through the real channels, and ways of breaking it that its judges must see."""

import re
from collections import Counter
from datetime import date

import pytest

from service.channels import webhook
from service.channels.signature import headers_for
from service.core.reading import Outcome, Result
from service.demo import DONE, PROBLEMS, try_out
from service.demo.morning import script
from service.demo.stage import DAY, read_stage
from service.engine import commands, deciding, summaries
from service.rehearsal import rehearse
from service.store import outbox

pytestmark = pytest.mark.slow


class Played:
    """One headless run: its exit code, what it printed, and what it said was wrong."""

    def __init__(self):
        self.said, self.wrong = [], []
        self.code = try_out(headless=True, say=self.said.append, wrong=self.wrong.append)

    @property
    def timeline(self):
        return "\n".join(self.said)


@pytest.fixture(scope="module")
def played():
    return Played()


def test_the_scripted_day_keeps_every_promise(played):
    assert played.wrong == []
    assert played.code == DONE


def test_the_timeline_tells_what_the_guide_promises_of_a_morning(played):
    told = re.sub(r"  +", " ", played.timeline)

    for piece in (
        "→ l-teal prompt: 3 checks by 08:15",
        "SAYS d-fenn: “1 câble gauche, 2 ok”",
        "→ a-vane alert: 1 fault to take in hand",
        "NOTICE text closed, school tansy-mill",
        "check s-109: no check",
        "→ c-reed alert: 2 checks silent",
        "check s-103: fixed",
    ):
        assert piece in told


def test_messages_came_both_by_webhook_and_by_mail(played):
    webhooks, mails = map(int, re.search(r"(\d+) messages .* and (\d+) by mail", played.said[-1]).groups())

    assert webhooks >= 15
    assert mails >= 3


def test_the_fast_day_through_real_channels_ends_as_the_rehearsed_day_without_any(played):
    rehearsed = rehearse(read_stage().documents, DAY, script())[-1]["results"]
    end = next(line for line in played.timeline.splitlines() if re.search(r"\bend\b", line))

    assert Counter({r: int(n) for n, r in re.findall(r"(\d+) ([a-z ]+?)(?:,|;)", end)}) == Counter(rehearsed)


def test_the_day_is_an_ordinary_monday():
    assert date(2026, 11, 23) == DAY
    assert DAY.isoweekday() == 1


def broken(monkeypatch, place, name, wrapper):
    """Plant a defect: `wrapper` is given what stands there, and gives what stands there instead."""
    monkeypatch.setattr(place, name, wrapper(getattr(place, name)))
    return Played()


def test_an_acknowledged_reply_that_was_not_stored_is_seen(monkeypatch):
    def forgetful(receive_all):
        def received(desk, got):
            stored = iter(receive_all(desk, [each for each in got if each.text != "mine 20"]))
            return [("in-000000000000", True) if each.text == "mine 20" else next(stored) for each in got]

        return received

    played = broken(monkeypatch, commands, "receive_all", forgetful)

    assert played.code == PROBLEMS
    assert any(line.startswith("5 nothing that was said is lost") for line in played.wrong)


def test_a_childs_name_on_a_locked_screen_is_seen(monkeypatch):
    def talkative(put):
        def said(tx, messages):
            for values, _ in messages.values():
                if values["purpose"] == "prompt":
                    values["text"] = f"Finch, Lark and Wren: {values['text']}"
            return put(tx, messages)

        return said

    played = broken(monkeypatch, outbox, "put", talkative)

    assert played.code == PROBLEMS
    assert any(line.startswith("10 no alias in a first line") for line in played.wrong)


def test_news_that_never_leave_are_seen(monkeypatch):
    def hushed(put):
        def said(tx, messages):
            return put(tx, {key: m for key, m in messages.items() if m[0]["purpose"] != "news"})

        return said

    played = broken(monkeypatch, outbox, "put", hushed)

    assert played.code == PROBLEMS
    assert any(line.startswith("4 who was alerted hears the end") for line in played.wrong)


def test_a_fault_recorded_as_working_is_seen(monkeypatch):
    def rosy(decide):
        def decided(m, check, outcome, *rest):
            better = Outcome(Result.WORKING) if outcome.result is Result.FAULT else outcome
            return decide(m, check, better, *rest)

        return decided

    played = broken(monkeypatch, deciding, "decide", rosy)

    assert played.code == PROBLEMS
    assert any(line.startswith("6 good news only as it was said") for line in played.wrong)


def test_a_message_sent_twice_is_seen(monkeypatch):
    def twice(deliver):
        async def delivered(self, parcel):
            await deliver(self, parcel)
            return await deliver(self, parcel)

        return delivered

    played = broken(monkeypatch, webhook.WebhookChannel, "deliver", twice)

    assert played.code == PROBLEMS
    assert any(re.search(r"got msg-\w+ 2 times", line) for line in played.wrong)


def test_a_wrong_signature_is_seen(monkeypatch):
    other = "whsec_" + "b3RoZXIgc2VjcmV0IG9mIHRoZSBzYW1lIGxlbmd0aA=="

    played = broken(
        monkeypatch, webhook, "headers_for", lambda _: lambda _, *rest: headers_for([other], *rest)
    )

    assert played.code == PROBLEMS
    assert "refused by a receiver: no signature matches this body" in played.wrong


def test_a_day_whose_end_is_never_taken_is_seen(monkeypatch):
    played = broken(monkeypatch, summaries, "_ended", lambda _: lambda *_: 0)

    assert played.code == PROBLEMS
    assert any(line.startswith("1 every planned check ends its day") for line in played.wrong)
    assert any("did not come to an end" in line for line in played.wrong)
