"""Before a term each checker is asked, once, whom they check."""

from service.engine import commands, roster
from service.engine.clock import SteppedClock
from service.engine.desk import Desk
from service.store import outbox
from tests.engine.engine_district import district
from tests.engine.engine_morning import at

CHECKER = "school000-room0"


def _begin(desk: Desk, day: str, **settings: str) -> None:
    assert isinstance(desk.clock, SteppedClock)
    commands.configure(desk, _documents(**settings), "C")
    desk.clock.move_to(at("08:00", day))


def _documents(**settings: str) -> dict[str, dict[str, dict[str, object]]]:
    documents = district(**settings)
    for school in documents["schools"].values():
        school["terms"] = [{"Autumn": "2026-08-24 to 2026-12-18"}, {"Spring": "2027-01-05 to 2027-05-28"}]
    return documents


def test_a_checker_is_asked_once_in_the_days_before_a_term(desk: Desk) -> None:
    _begin(desk, "2026-12-30", **{"confirm before": "7 days"})

    first, again = roster.ask_all(desk), roster.ask_all(desk)

    assert (first, again) == (1, 0)
    with desk.glance() as m:
        sent = outbox.last_to(m.tx, CHECKER)
        assert sent is not None
        assert sent.subject == "Please confirm whom you check from Tuesday 05 January"
        assert "1 Tree00, room 0: left processor" in sent.text


def test_nobody_is_asked_earlier_or_where_the_district_does_not_want_it(desk: Desk) -> None:
    _begin(desk, "2026-12-20", **{"confirm before": "7 days"})
    assert roster.ask_all(desk) == 0

    _begin(desk, "2026-12-30")
    assert roster.ask_all(desk) == 0


def test_a_correction_is_kept_for_the_coordinator_and_may_be_given_anew(desk: Desk) -> None:
    _begin(desk, "2026-12-30", **{"confirm before": "7 days"})
    roster.ask_all(desk)
    with desk.glance() as m:
        (asked,) = roster.asked_of(m, CHECKER)
        assert (asked.right, len(asked.charges)) == (None, 3)

    assert roster.answer(desk, CHECKER, asked.key, False, "  one moved to room 14 ")

    with desk.glance() as m:
        (told,) = roster.asked_of(m)
        assert (told.right, told.words) == (False, "one moved to room 14")
    assert roster.answer(desk, CHECKER, asked.key, True)
    with desk.glance() as m:
        assert roster.asked_of(m)[0].right is True


def test_nobody_answers_for_somebody_else(desk: Desk) -> None:
    _begin(desk, "2026-12-30", **{"confirm before": "7 days"})
    roster.ask_all(desk)
    with desk.glance() as m:
        key = roster.asked_of(m, CHECKER)[0].key

    assert not roster.answer(desk, "A", key, True)
    assert not roster.answer(desk, CHECKER, key.replace("2027", "2028"), True)
