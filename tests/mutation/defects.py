"""Faults that people make, each as one small change: where it goes, what stands there, what would stand there."""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Defect:
    """`old` stands exactly once in `file`; with `new` in its place the service is wrong in the way of `name`.

    `near` are the tests of just that, as pytest names them, where they are not the file's own: they are tried first.
    """

    name: str
    file: str
    old: str
    new: str
    near: tuple[str, ...] = ()

    def planted(self, text: str) -> str:
        """The file with the defect in it. Raises ValueError where `old` does not stand there exactly once."""
        if text.count(self.old) != 1:
            raise ValueError(f"{self.file}: {self.name!r} fits {text.count(self.old)} places, and should fit one")
        return text.replace(self.old, self.new)


DEFECTS = (
    Defect(
        "a limit that ends at this very instant is left for later",
        "service/core/chains/climb.py",
        "if instant is None or instant > now:",
        "if instant is None or instant >= now:",
    ),
    Defect(
        "a contact who is away is told all the same",
        "service/engine/scenes.py",
        "if absent or left:",
        "if left:",
    ),
    Defect(
        "whoever has left the district is told all the same",
        "service/engine/scenes.py",
        "if absent or left:",
        "if absent:",
    ),
    Defect(
        "the limit of a bell holds although the bell comes at once",
        "service/core/chains/climb.py",
        "if bell is None or bell < due + scene.settings.until_at_least:",
        "if bell is None:",
    ),
    Defect(
        "a person is told again by the next step of the same chase",
        "service/core/chains/climb.py",
        "    if any(t.person == person for t in chase.told):\n",
        "    if False:\n",
    ),
    Defect(
        "whoever was told does not hear the end",
        "service/core/chains/ending.py",
        "if person != by and not quiet and _knows(chase, person):",
        "if False and not quiet and _knows(chase, person):",
    ),
    Defect(
        "what waits in the trays of an ended chase is sent all the same",
        "service/core/chains/ending.py",
        '        effects.append(Withdraw(person, "settled"))\n',
        "",
    ),
    Defect(
        "a third promise holds the climb as well",
        "service/core/chains/promises.py",
        "holds = said <= 2",
        "holds = said <= 3",
    ),
    Defect(
        "a promise holds past the last bell",
        "service/core/chains/promises.py",
        "    if not chase.carries_on:\n        until = min(until, max(now, scene.last))\n",
        "",
    ),
    Defect(
        "an emergency ends without being confirmed",
        "service/core/chains/alarm.py",
        "    if not event.yes:\n        return replace(chase, pending=None), ()\n",
        "",
    ),
    Defect(
        "anybody may say that the child was found",
        "service/core/chains/alarm.py",
        "if event.person != chase.reporter and event.person not in chase.closers:",
        "if False:",
    ),
    Defect(
        "who has answered an emergency is told again",
        "service/core/chains/alarm.py",
        "if t.person not in chase.answered",
        "if t.person not in ()",
    ),
    Defect(
        "silence is held against somebody whom nothing reached",
        "service/core/chains/overnight.py",
        "how = Ended.UNANSWERED if asked else Ended.NOT_ASKED",
        "how = Ended.UNANSWERED",
    ),
    Defect(
        "after downtime limits run on from the past",
        "service/core/chains/climb.py",
        "if caught_up and chase.phase is Phase.CLIMBING:",
        "if False:",
    ),
    Defect(
        "a fault held over night is forgotten in the morning",
        "service/core/chains/overnight.py",
        "resume_at=scene.next_first - scene.settings.overnight_lead,",
        "resume_at=None,",
    ),
    Defect(
        "the last contact is told again without end",
        "service/core/chains/overnight.py",
        "more = generation <= scene.settings.last_again_times\n    chase = replace(chase, generation=generation",
        "more = True\n    chase = replace(chase, generation=generation",
    ),
    Defect(
        "what fell due is caught up latest first",
        "service/core/chains/climb.py",
        'instant, what = min(due_now(chase, scene), default=(None, ""))',
        'instant, what = max(due_now(chase, scene), default=(None, ""))',
    ),
    Defect(
        "a lease that has run out is never taken up again",
        "service/store/outbox.py",
        "taken = take(tx, forsaken, owner, lease_until, limit, space)",
        "taken: list[OutboxRow] = []",
    ),
    Defect(
        "a lease is over as soon as it is given",
        "service/engine/postman.py",
        "LEASE = timedelta(seconds=60)",
        "LEASE = timedelta(seconds=0)",
    ),
    Defect(
        "news overtakes the alert it speaks of",
        "service/store/outbox.py",
        "    return ~ahead.correlate(OutboxRow).exists()",
        "    return ~ahead.correlate(OutboxRow).exists() | ahead.correlate(OutboxRow).exists()",
    ),
    Defect(
        "a repeated message is taken for a new one",
        "service/store/inbox.py",
        "        _make_storable(row)\n",
        "        _make_storable(row)\n"
        '        row.id = row.external_id = f"{row.external_id} {id(row)}"\n',
    ),
    Defect(
        "silence is stepped while an answer lies unread",
        "service/engine/chaser.py",
        "return (until is not None and m.now < until) or inbox.has_unread(m.tx)",
        "return until is not None and m.now < until",
    ),
    Defect(
        "there is no grace after a restart",
        "service/engine/waker.py",
        "        running.hold_silence(desk, now, grace)\n",
        "",
    ),
    Defect(
        "wall-clock arithmetic: a bell is so many hours after midnight",
        "service/core/days.py",
        "    return datetime.combine(day, at.replace(fold=0), tzinfo=zone).astimezone(UTC)",
        "    midnight = datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)\n"
        "    return midnight + timedelta(hours=at.hour, minutes=at.minute)",
    ),
    Defect(
        "a claim is not committed before its messages are sent",
        "service/engine/postman.py",
        "    with desk.moment(now) as m:\n        state = held(m.tx)",
        "    with desk.glance() as m:\n        state = held(m.tx)",
    ),
    Defect(
        "a message is marked as sent when it is claimed",
        "service/store/outbox.py",
        'values(state="claimed", owner=owner',
        'values(state="accepted", owner=owner',
    ),
    Defect(
        "a late finisher writes over whoever has the message now",
        "service/engine/postman.py",
        '    return (row.state, row.owner, row.attempts) == ("claimed", m.desk.owner, errand.attempt)',
        '    return row.state == "claimed"',
    ),
    Defect(
        "a message's id is another one each time it is made",
        "service/engine/posting.py",
        'return "msg-" + hashlib.sha256(key.encode()).hexdigest()[:12]',
        'return "msg-" + hashlib.sha256(f"{key}{datetime.now()}".encode()).hexdigest()[:12]',
        near=(
            "tests/rehearsal/test_rules_c17_c21.py::test_c17_the_same_day_played_twice_is_the_same_to_the_byte",
        ),
    ),
    Defect(
        "nobody looks again before sending",
        "service/engine/postman.py",
        '        return "settled"\n    if purpose is Purpose.NEWS',
        "        return None\n    if purpose is Purpose.NEWS",
        near=(
            "tests/engine/test_engine_day.py::test_a_claimed_message_that_is_settled_while_it_waits_for_a_lane_does_not_leave",
        ),
    ),
    Defect(
        "a dead address is tried again and again at once",
        "service/engine/postman.py",
        "wait = timedelta() if report.for_good else max(step, report.after or step)",
        "wait = timedelta()",
        near=("tests/engine/test_engine_lanes.py::test_a_refusal_is_tried_again_later_and_one_for_good_is_not",),
    ),
    Defect(
        "what is waiting for somebody about an ended chase is not withdrawn",
        "service/engine/trays.py",
        "    for row in tray.waiting_about(m.tx, effect.person, chase.id):",
        "    for row in []:",
        near=("tests/rehearsal/test_rules_c05_c08.py::test_c5_what_is_settled_while_it_waits_is_not_sent",),
    ),
    Defect(
        "urgent alerts are gathered like others",
        "service/engine/trays.py",
        "return {AT_ONCE: timedelta(), LONG: settings.news_wait}.get(urgency, settings.gather)",
        "return {LONG: settings.news_wait}.get(urgency, settings.gather)",
        near=("tests/rehearsal/test_rules_c05_c08.py::test_c5_an_urgent_alert_does_not_wait",),
    ),
    Defect(
        "an unproven sender may lower an alarm",
        "service/engine/hearing.py",
        "        reading = only_raising(reading)",
        "        pass",
        near=(
            "tests/rehearsal/test_rules_c17_c21.py::test_c21_an_unproven_sender_can_settle_and_delay_nothing",
        ),
    ),
    Defect(
        "a reply to yesterday's prompt is taken for today",
        "service/engine/hearing.py",
        "    if earlier.is_over(m, context) and not reading.emergency:",
        "    if False:",
        near=(
            "tests/engine/test_engine_earlier.py::TestTheChecker::test_it_settles_nothing_that_was_reported_again_today",
        ),
    ),
    Defect(
        "a blanket ok settles a fault that somebody else reported",
        "service/engine/deciding.py",
        "    if broken and not pointed:",
        "    if False:",
        near=(
            "tests/rehearsal/test_rules_c05_c08.py::test_c8_a_bare_ok_from_another_person_never_settles_a_fault",
        ),
    ),
    Defect(
        "undo reaches back for ever",
        "service/engine/undoing.py",
        "    if m.now - last.received_at > m.district.settings.undo_within:",
        "    if False:",
        near=("tests/rehearsal/test_rules_c09_c12.py::test_c9_an_undo_that_comes_later_changes_nothing",),
    ),
    Defect(
        "checks that nobody answered stay open when the day ends",
        "service/engine/summaries.py",
        "    for check in rounds.open_checks(m.tx, school, on):",
        "    for check in []:",
        near=(
            "tests/rehearsal/test_rules_c13_c16.py::test_c16_what_would_rest_past_the_last_bell_is_not_asked_and_ends_with_its_day",
        ),
    ),
    Defect(
        "a snow day leaves the chases of what was asked running",
        "service/engine/planner.py",
        "        if row.why == Why.SILENCE.value:\n            chaser.apply(m, row, Settled(Ended.NO_CHECK, by)",
        "        if False:\n            chaser.apply(m, row, Settled(Ended.NO_CHECK, by)",
    ),
    Defect(
        "a delay does not move the limits of what was asked",
        "service/engine/planner.py",
        "            chaser.apply(m, chase, Moved(by), cause)",
        "            pass",
        near=(
            "tests/rehearsal/test_rules_c09_c12.py::test_c10_what_is_asked_keeps_its_chase_with_its_limits_from_the_new_due_time",
        ),
    ),
    Defect(
        "a prompt that can no longer matter is sent after all",
        "service/engine/prompter.py",
        "    if late and (_is_over(",
        "    if False and (_is_over(",
        near=(
            "tests/rehearsal/test_rules_c13_c16.py::test_c13_a_prompt_whose_chain_would_be_over_is_not_sent_but_told_in_one_summary",
            "tests/rehearsal/test_rules_c17_c21.py::test_c20_a_prompt_is_pointless_once_a_later_round_asks_the_same",
        ),
    ),
    Defect(
        "an entry of the journal is sealed without the one before it",
        "service/store/journal.py",
        '"seal": self._seal(spelled_after(head[1], row))',
        '"seal": self._seal(spelled_after("", row))',
    ),
    Defect(
        "a link opens the round of anybody",
        "service/engine/doors.py",
        "    parts = (kind.value, id, person, str(epoch))",
        "    parts = (kind.value, id, str(epoch))",
        near=(
            "tests/web/test_web_doors.py::test_every_part_of_what_a_token_opens_changes_it",
            "tests/web/test_web_doors.py::test_a_round_opens_for_its_own_person_only",
        ),
    ),
    Defect(
        "a signature of any age counts",
        "service/channels/signature.py",
        "    if away > tolerance.total_seconds():",
        "    if False:",
    ),
    Defect(
        "the first of several signatures alone is looked at",
        "service/channels/signature.py",
        "    parts = given.split()[:_SIGNATURES_READ]",
        "    parts = given.split()[:1]",
    ),
    Defect(
        "a late answer rewrites the day that is over",
        "service/engine/results.py",
        "    if standing.result is None and check.result in UNSAID:",
        "    if False:",
        near=("tests/engine/test_engine_undoing.py::test_a_late_answer_taken_back_leaves_the_day_unanswered",),
    ),
    Defect(
        "a negated word is taken as good news",
        "service/core/replies/doubts.py",
        'if segment.says("notok") or segment.nots:',
        'if segment.says("notok"):',
    ),
    Defect(
        "a hedged word is taken as good news",
        "service/core/replies/doubts.py",
        'if segment.has("hedge") or (segment.has("past") and not segment.says("fixed")):',
        'if segment.has("past") and not segment.says("fixed"):',
    ),
)
