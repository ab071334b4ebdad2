"""The journal replayed from nothing: what each kind of entry implies."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from service.core.chains import Ended, Phase, Why
from service.core.replay import (
    ENDED,
    FOLDS,
    NEW_KINDS,
    OLD_WITHOUT,
    Known,
    Rows,
    State,
    Told,
    check_of_silence,
    replay,
    without_words,
)

AT = datetime(2026, 10, 5, 13, 5, tzinfo=UTC)
CHECK, ROUND, CHASE = "ck-s1-morning-2026-10-05", "rd-1", "ch-silence-s1-morning-2026-10-05-1"
FAULT_CHASE = "ch-fault-s1-1"


class Stream:
    """Entries one after the other, a minute apart, numbered from 1."""

    def __init__(self) -> None:
        self.entries: list[Told] = []

    def add(
        self, kind: str, actor: str | None = None, words: dict[str, str] | None = None, **body: Any
    ) -> "Stream":
        n = len(self.entries) + 1
        self.entries.append(Told(n, minute(n), kind, ("cause",), actor, body, words or {}))
        return self

    def state(self) -> State:
        return replay(self.entries)


def minute(n: int) -> datetime:
    return AT + timedelta(minutes=n)


def one(rows: Rows) -> tuple[int, dict[str, Any]]:
    ((id, known),) = rows.items()
    assert id in {CHECK, ROUND, CHASE, FAULT_CHASE, "msg-1", "nt-1", "l"}
    return known.n, known.values


def planned(**changes: Any) -> dict[str, Any]:
    """A round as an entry names it: one student, planned."""
    place = {"check": CHECK, "number": 2, "routine": "morning"}
    return {
        "id": ROUND,
        "due": "2026-10-05T09:05:00-05:00",
        "checker": "l",
        "state": "planned",
        "students": [place],
        **changes,
    }


def chase(state: str, **changes: Any) -> dict[str, Any]:
    body = {"id": CHASE, "state": state, "why": "silence", "severity": None, "step": 0, "students": ["s1"]}
    return {**body, **changes}


def test_nothing_implies_nothing() -> None:
    assert replay(()) == State()


def test_an_entry_of_a_kind_that_changes_no_row_is_passed_over() -> None:
    assert Stream().add("roster asked", person="l").state() == State()


def test_a_plan_implies_its_rounds_and_their_checks() -> None:
    state = Stream().add("plan", rounds=[planned()]).state()

    assert one(state.rounds) == (1, {"due": AT + timedelta(hours=1), "checker": "l", "state": "planned"})
    assert state.rounds[ROUND].values["due"].tzinfo is UTC
    assert one(state.checks) == (
        1, {"routine": "morning", "round_id": ROUND, "number": 2, "state": "planned"}
    )  # fmt: skip
    assert (set(state.rounds), set(state.checks)) == ({ROUND}, {CHECK})
    assert not state.is_old


def test_a_later_plan_leaves_the_place_and_state_of_a_check_that_was_there() -> None:
    later = planned(id="rd-2", students=[{"check": CHECK, "number": 9, "routine": "midday"}])
    state = Stream().add("plan", rounds=[planned()]).add("plan", rounds=[later]).state()

    assert one(state.checks) == (
        2, {"routine": "midday", "round_id": ROUND, "number": 2, "state": "planned"}
    )  # fmt: skip


def test_a_plan_that_puts_checks_into_a_round_moves_them_and_plans_those_that_are_new() -> None:
    places = {CHECK: ("rd-2", 1), "ck-new": ("rd-2", 2)}
    state = Stream().add("plan", rounds=[planned()]).add("plan", rounds=[], places=places).state()

    assert state.checks[CHECK] == Known(
        2, {"routine": "morning", "round_id": "rd-2", "number": 1, "state": "planned"}
    )
    assert state.checks["ck-new"] == Known(2, {"state": "planned", "round_id": "rd-2", "number": 2})


def test_a_check_that_was_asked_is_not_planned_anew_by_being_moved() -> None:
    asked = Stream().add("plan", rounds=[planned()]).add("chase", **chase("climbing"))

    assert (
        one(asked.add("replan", rounds={}, places={CHECK: ("rd-2", 3)}).state().checks)[1]["state"] == "asked"
    )


def test_an_earlier_plan_names_no_state_and_none_is_known_from_it() -> None:
    old = planned()
    del old["state"]
    state = Stream().add("plan", rounds=[old]).state()

    assert state.is_old
    assert one(state.rounds)[1].keys() == {"due", "checker"}
    assert one(state.checks)[1] == {"routine": "morning"}


def test_one_round_of_the_earlier_form_makes_the_stream_an_old_one() -> None:
    old = planned(id="rd-0", students=[])
    del old["state"]

    assert Stream().add("plan", rounds=[planned(), old]).add("plan", rounds=[planned()]).state().is_old


def test_a_replan_implies_the_states_of_rounds_and_where_checks_are_now() -> None:
    state = (
        Stream()
        .add("plan", rounds=[planned()])
        .add("replan", rounds={ROUND: "dropped"}, places={CHECK: ("rd-2", 3)})
        .state()
    )

    assert one(state.rounds)[0] == 2
    assert one(state.rounds)[1]["state"] == "dropped"
    assert (state.checks[CHECK].values["round_id"], state.checks[CHECK].values["number"]) == ("rd-2", 3)


def test_a_round_asked_was_asked_at_the_entrys_instant() -> None:
    state = Stream().add("asked", id=ROUND).state()

    assert one(state.rounds) == (1, {"state": "asked", "asked_at": minute(1)})


def test_a_round_put_off_is_due_later() -> None:
    state = Stream().add("put off", id=ROUND, due="2026-10-05T08:20:00-05:00").state()

    assert one(state.rounds) == (1, {"due": datetime(2026, 10, 5, 13, 20, tzinfo=UTC)})


def test_a_silence_chase_begins_when_its_check_is_asked() -> None:
    state = Stream().add("chase", **chase("climbing")).add("chase", **chase("in hand", step=1)).state()

    assert state.chases[CHASE] == Known(
        2,
        {
            "why": "silence", "severity": None, "step": 1, "phase": "in hand", "end": None, "ended_at": None,
            "student": "s1",
        },
    )  # fmt: skip
    assert state.checks[CHECK] == Known(1, {"state": "asked"})


def test_a_fault_chase_says_nothing_of_its_check() -> None:
    fault = chase("climbing", why="fault", severity="urgent", id=FAULT_CHASE, students=[])
    state = Stream().add("chase", **fault).state()

    assert state.checks == {}
    assert (one(state.chases)[1]["severity"], one(state.chases)[1]["student"]) == ("urgent", None)


@pytest.mark.parametrize("how", Ended)
def test_a_chase_that_ended_is_over_in_the_way_it_says_since_the_entrys_instant(how: Ended) -> None:
    values = one(Stream().add("chase", **chase(how.value)).state().chases)[1]

    assert (values["phase"], values["end"], values["ended_at"]) == (Phase.OVER.value, how.value, minute(1))


def test_a_chase_that_was_taken_up_again_has_no_end() -> None:
    state = Stream().add("chase", **chase("answered")).add("chase", **chase("climbing")).state()

    values = one(state.chases)[1]
    assert (values["phase"], values["end"], values["ended_at"]) == ("climbing", None, None)


def test_the_words_for_an_end_are_none_for_a_phase() -> None:
    assert not ENDED & {phase.value for phase in Phase}


def test_the_check_of_a_silence_is_told_from_the_id_of_its_chase() -> None:
    assert check_of_silence(f"ch-{Why.SILENCE.value}-s1-morning-2026-10-05-12") == CHECK


def test_a_result_implies_how_the_check_stands_and_by_whom() -> None:
    body = {"id": CHECK, "student": "s1", "result": "fault", "faults": ["CABLE left"], "by": "l"}
    bare = Stream().add("check", **body, state="answered").state()
    other = Stream().add("check", **body, state="answered", stands_by="r").state()

    assert one(bare.checks) == (
        1,
        {"student": "s1", "result": "fault", "faults": ["CABLE left"], "state": "answered", "by": "l"},
    )
    assert one(other.checks)[1]["by"] == "r"
    assert not bare.is_old


def test_a_late_answer_changes_nothing_of_its_check_but_whose_it_is() -> None:
    body = {
        "id": CHECK,
        "student": "s1",
        "result": "fault",
        "faults": ["CABLE"],
        "by": "l",
        "state": "closed",
    }

    assert one(Stream().add("check", **body, late=True).state().checks) == (1, {"student": "s1"})


@pytest.mark.parametrize(("result", "implied"), [("working", {"state": "closed"}), (None, {})])
def test_a_result_of_the_earlier_form_closes_its_check_and_says_no_more(
    result: str | None, implied: dict[str, str]
) -> None:
    now = {"id": CHECK, "student": "s1", "result": "fault", "faults": [], "by": "l", "state": "answered"}
    old = {"id": CHECK, "student": "s1", "result": result, "faults": [], "by": "r"}
    state = Stream().add("check", **now).add("check", **old).state()

    assert one(state.checks) == (2, {"student": "s1", "result": result, "faults": [], **implied})
    assert state.is_old


@pytest.mark.parametrize(("result", "implied"), [("working", {"state": "closed"}), (None, {})])
def test_a_result_of_the_earlier_form_may_be_the_first_that_is_known_of_its_check(
    result: str | None, implied: dict[str, str]
) -> None:
    state = Stream().add("check", id=CHECK, student="s1", result=result, faults=[], by="r").state()

    assert one(state.checks) == (1, {"student": "s1", "result": result, "faults": [], **implied})


def test_what_was_said_is_kept_in_order_with_who_and_when() -> None:
    body: dict[str, Any] = {"id": CHECK, "said": {"result": "working"}}
    state = Stream().add("said", "l", inbox="in-1", **body).add("said", "r", inbox="in-2", **body).state()

    assert state.statements == {
        CHECK: [
            Known(n, {
                "person": who, "inbox_id": f"in-{n}", "at": minute(n), "said": body["said"], "taken back": None
            })
            for n, who in ((1, "l"), (2, "r"))
        ]
    }  # fmt: skip


def test_what_was_taken_back_is_what_that_message_said_and_not_yet_taken_back() -> None:
    stream = (
        Stream()
        .add("said", "l", id=CHECK, inbox="in-1", said={})
        .add("said", "l", id=CHECK, inbox="in-2", said={})
    )
    stream.add("taken back", id=CHECK, inbox="in-1").add("taken back", id=CHECK, inbox="in-1")
    stream.add("taken back", id="ck-other", inbox="in-1")

    first, second = stream.state().statements[CHECK]
    assert (first.n, first.values["taken back"]) == (3, minute(3))
    assert (second.n, second.values["taken back"]) == (2, None)


MESSAGE = {"id": "msg-1", "key": "k", "to": "l", "purpose": "prompt"}


def test_a_message_put_out_has_its_key_addressee_purpose_and_cause() -> None:
    state = Stream().add("put out", **MESSAGE, state="waiting").state()

    assert one(state.messages) == (
        1,
        {
            "key": "k", "person": "l", "purpose": "prompt", "state": "waiting", "cause": ("cause",),
            "created_at": minute(1),
        },
    )  # fmt: skip
    assert not state.is_old


def test_a_message_was_accepted_when_its_entry_says_so() -> None:
    state = Stream().add("message", **MESSAGE, state="accepted", outcome="accepted").state()
    refused = Stream().add("message", **MESSAGE, state="failed", outcome="refused").state()

    assert one(state.messages)[1] == {
        "key": "k", "person": "l", "purpose": "prompt", "state": "accepted", "accepted_at": minute(1)
    }  # fmt: skip
    assert "accepted_at" not in one(refused.messages)[1]


def test_a_message_of_the_earlier_form_names_no_state() -> None:
    state = Stream().add("message", **MESSAGE).state()

    assert state.is_old
    assert "state" not in one(state.messages)[1]


def test_a_message_withheld_is_dropped_and_what_never_was_a_message_is_none() -> None:
    state = Stream().add("withheld", id="msg-1").add("withheld", id="tr-1").state()

    assert state.messages == {"msg-1": Known(1, {"state": "dropped"})}


def test_what_was_read_or_put_aside_is_known_with_its_words_where_they_are_known() -> None:
    state = (
        Stream()
        .add("reading", inbox="in-1", person="l", words={"words": "1 ok"})
        .add("aside", inbox="in-2", words={"words": "hello"})
        .add("aside", inbox="in-3", words={"from": "l"})
        .state()
    )

    assert state.inbox == {
        "in-1": Known(1, {"state": "read", "person": "l"}),
        "in-2": Known(2, {"state": "aside"}),
        "in-3": Known(3, {"state": "aside"}),
    }
    assert state.words == {"in-1": "1 ok", "in-2": "hello"}


def test_a_notice_stands_as_it_was_given_without_its_words() -> None:
    says = {"kind": "closed", "first": "2026-10-05", "schools": [], "text": "closed", "person": None}
    state = Stream().add("notice", "c", id="nt-1", says=says).state()

    assert one(state.notices) == (
        1,
        {"says": {"kind": "closed", "first": "2026-10-05"}, "by": "c", "withdrawn_at": None},
    )


def test_an_earlier_notice_says_it_under_another_name() -> None:
    state = Stream().add("notice", "c", id="nt-1", text={"kind": "closed"}).state()

    assert one(state.notices)[1]["says"] == {"kind": "closed"}


def test_a_notice_withdrawn_keeps_what_it_said() -> None:
    state = (
        Stream()
        .add("notice", "c", id="nt-1", says={"kind": "closed"})
        .add("notice", "d", id="nt-1", withdrawn=True)
    )

    assert one(state.state().notices) == (
        2, {"says": {"kind": "closed"}, "by": "c", "withdrawn_at": minute(2)}
    )  # fmt: skip


def test_a_notices_words_are_what_it_says_of_itself_least() -> None:
    assert without_words({"kind": "away", "text": "l away", "person": "l", "delay": None, "schools": ()}) == {
        "kind": "away", "person": "l"
    }  # fmt: skip


def test_a_configuration_is_known_by_its_number() -> None:
    state = Stream().add("configuration", "c", n=7, digest="d").add("configuration", "c", digest="e").state()

    assert state.versions == {"7": Known(1, {"digest": "d", "by": "c"})}
    assert state.is_old
    assert not Stream().add("configuration", "c", n=7, digest="d").state().is_old


def test_doors_have_the_epoch_they_were_given_last() -> None:
    state = Stream().add("doors", id="l", epoch=1).add("doors", id="l", epoch=2).state()

    assert one(state.addressees) == (2, {"epoch": 2})


def test_a_hold_stands_until_it_is_released() -> None:
    held = Stream().add("hold", "c", id="s1", why="a dispute").add("hold", "c", id="s2", why="a request")

    assert held.state().holds["s1"] == Known(1, {"why": "a dispute", "by": "c", "at": minute(1)})
    held.add("hold", "c", id="s1", released=True).add("hold", "c", id="s9", released=True)
    assert set(held.state().holds) == {"s2"}


def test_what_was_forgotten_is_counted_by_stream() -> None:
    state = Stream().add("forgotten", values={"a": 2}).add("forgotten", values={"a": 1, "b": 4}).state()

    assert state.forgotten == {"a": 3, "b": 4}


def test_the_present_form_begins_with_the_first_entry_that_only_it_has() -> None:
    stream = Stream().add("doors", id="l", epoch=1).add("asked", id=ROUND).add("asked", id="rd-2")

    assert stream.state().new_from == minute(2)
    assert Stream().add("doors", id="l", epoch=1).state().new_from is None
    assert set(FOLDS) >= NEW_KINDS | OLD_WITHOUT.keys()
