"""The chase machine under random chains, days, clocks and events: what holds in every state, for ever."""

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from service.core.chains import (
    TABLE,
    Accepted,
    Again,
    Answered,
    Away,
    Cannot,
    Chase,
    Confirmed,
    DayOver,
    Effect,
    Ended,
    Event,
    Failed,
    Found,
    Mine,
    Moved,
    NotHelped,
    OutOfPlace,
    Phase,
    Posted,
    Purpose,
    Report,
    SaidWorking,
    Scene,
    Settled,
    Standing,
    Subject,
    TakenBack,
    Tell,
    Time,
    Turn,
    Undone,
    Wait,
    Why,
    begin_alarm,
    begin_fault,
    begin_silence,
    step,
    wake,
)
from service.core.district import Chain, Limit, Settings, Severity

PEOPLE = ("l", "r", "c", "a", "g")
FIRST = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)
LAST = FIRST + timedelta(hours=7)
BELLS = {
    ("Period 1", "start"): FIRST + timedelta(minutes=20),
    ("Period 2", "end"): FIRST + timedelta(hours=2),
}

people = st.sampled_from(PEOPLE)
limits = st.one_of(
    st.integers(5, 40).map(lambda n: Limit(timedelta(minutes=n))),
    st.just(Limit()),
    st.sampled_from([Limit(bell="Period 1"), Limit(bell="Period 2", edge="end"), Limit(bell="Period 9")]),
)
standings = st.one_of(
    st.just(Standing()),
    st.sampled_from([Standing("away", deputies=("c",)), Standing("no_channel"), Standing("away")]),
    st.just(Standing(hours=((FIRST, FIRST + timedelta(hours=3)),))),
)
events: st.SearchStrategy[Event] = st.one_of(
    people.map(Posted),
    people.map(Accepted),
    people.map(Failed),
    st.builds(Mine, people, st.none() | st.integers(1, 200)),
    st.builds(Wait, people, st.none() | st.integers(1, 60)),
    people.map(Cannot),
    people.map(Away),
    people.map(NotHelped),
    people.map(SaidWorking),
    people.map(Again),
    people.map(Undone),
    people.map(TakenBack),
    people.map(Answered),
    st.builds(Found, people, st.sampled_from([Ended.FOUND, Ended.MEDICAL_HELP])),
    st.builds(Confirmed, people, st.booleans()),
    st.builds(Settled, st.sampled_from([Ended.ANSWERED, Ended.PUT_RIGHT, Ended.LOANER, Ended.AWAY]), people),
    st.integers(-30, 120).map(lambda n: Moved(timedelta(minutes=n))),
    st.just(DayOver()),
    st.just(Time()),
)


def turn(number: int, names: tuple[str, ...], limit: Limit, any_hour: bool, prompts: bool) -> Turn:
    purpose = Purpose.PROMPT if prompts and number == 0 else Purpose.ALERT
    return Turn(f"step {number}", names, limit, (), any_hour, purpose)


class ChaseStates(RuleBasedStateMachine):
    """One chase from its beginning through anything that can happen to it."""

    chase: Chase
    scene: Scene

    @initialize(
        kind=st.sampled_from(["silence", "fault", "trying", "alarm"]),
        steps=st.lists(
            st.tuples(st.lists(people, max_size=2, unique=True), limits, st.booleans()),
            min_size=1,
            max_size=5,
        ),
        known=st.fixed_dictionaries(dict.fromkeys(PEOPLE, standings)),
        carries_on=st.booleans(),
        reminders=st.integers(0, 3),
        minutes=st.integers(0, 430),
    )
    def begin(
        self,
        kind: str,
        steps: list[tuple[list[str], Limit, bool]],
        known: Mapping[str, Standing],
        carries_on: bool,
        reminders: int,
        minutes: int,
    ) -> None:
        turns = tuple(
            turn(n, tuple(p), lim, any_hour, kind == "silence") for n, (p, lim, any_hour) in enumerate(steps)
        )
        self.scene = Scene(FIRST, LAST, FIRST + timedelta(days=1), BELLS, known, Settings())
        self.now = FIRST + timedelta(minutes=minutes)
        self.told: set[tuple[str, int, Purpose, int]] = set()
        self.alerted: set[str] = set()
        chain = Chain("chain", (), reminders, carries_on=carries_on)
        began = self._begin(kind, chain, turns)
        self.chase = began[0]
        self._judge(began[1])

    def _begin(self, kind: str, chain: Chain, turns: tuple[Turn, ...]) -> tuple[Chase, tuple[Effect, ...]]:
        subject = Subject("ch", "s", date(2026, 10, 5), "ck", "s1", "rd", ("c",))
        if kind == "silence":
            return begin_silence(subject, chain, turns, self.now, self.now, self.scene)
        if kind == "alarm":
            report = Report(Severity.EMERGENCY, ("SWALLOWED",), "l", closers=("g",))
            return begin_alarm(subject, chain, turns, report, self.now, self.scene)
        report = Report(Severity.SAME_DAY, ("CABLE",), "l", ("r",))
        wait = timedelta(minutes=10 if kind == "trying" else 0)
        return begin_fault(subject, chain, turns, report, wait, ("g",), self.now, self.scene)

    @rule(event=events, seconds=st.integers(0, 1800))
    def something_happens(self, event: Event, seconds: int) -> None:
        self.now += timedelta(seconds=seconds)
        self._step(event)

    @precondition(lambda self: self.chase.current is not None)
    @rule(
        make=st.sampled_from([Posted, Accepted, Failed, Cannot, Away, NotHelped, SaidWorking, Again, Undone]),
        minutes=st.none() | st.integers(1, 90),
        seconds=st.integers(0, 600),
    )
    def whose_turn_it_is_does_something(
        self, make: Callable[[str], Event], minutes: int | None, seconds: int
    ) -> None:
        self.now += timedelta(seconds=seconds)
        told = self.chase.current
        assert told is not None
        self._step(make(told.person) if minutes is None else Mine(told.person, minutes))

    @precondition(lambda self: wake(self.chase, self.scene) is not None)
    @rule(late=st.sampled_from([0, 0, 0, 30, 3600]))
    def the_wake_instant_comes(self, late: int) -> None:
        due = wake(self.chase, self.scene)
        assert due is not None
        self.now = max(self.now, due) + timedelta(seconds=late)
        self._step(Time())
        self._sleeps_now()

    @rule()
    def everybody_told_accepts(self) -> None:
        for told in self.chase.told:
            self._step(Posted(told.person))
            self._step(Accepted(told.person))

    def _sleeps_now(self) -> None:
        """After its wake instant a chase never asks to be woken at once again: no busy loop."""
        again = wake(self.chase, self.scene)
        assert again is None or again > self.now, (self.chase.phase, again, self.now)

    def _step(self, event: Event) -> None:
        before = self.chase
        try:
            after, effects = step(before, event, self.now, self.scene)
        except OutOfPlace:
            assert (before.phase, type(event)) not in TABLE
            return
        leads_to = TABLE[before.phase, type(event)][1]
        assert after.phase is before.phase or after.phase in leads_to, (before.phase, event, after.phase)
        self.chase = after
        if isinstance(event, Settled | DayOver) and after.end is not None:
            assert not [e for e in effects if isinstance(e, Tell)]
        self._judge(effects)

    def _judge(self, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            if isinstance(effect, Tell):
                self._judge_telling(effect)

    def _judge_telling(self, tell: Tell) -> None:
        key = (tell.person, tell.step, tell.purpose, tell.generation)
        repeats = tell.purpose is Purpose.CHAIN_END
        assert key not in self.told or repeats, key
        self.told.add(key)
        if tell.purpose in (Purpose.PROMPT, Purpose.ALERT) and tell.generation == 1:
            assert tell.person not in self.alerted, tell.person
            self.alerted.add(tell.person)
        assert tell.purpose in (Purpose.CHAIN_END, Purpose.REMINDER) or tell.person in self.chase.involved

    @invariant()
    def a_turn_is_never_due_before_the_one_that_runs(self) -> None:
        held = self.chase
        if held.phase is Phase.CLIMBING and held.next_due is not None and held.step_due is not None:
            assert held.next_due >= held.step_due

    @invariant()
    def an_ended_chase_sleeps_for_ever(self) -> None:
        if self.chase.phase is Phase.OVER:
            assert self.chase.end is not None
            assert wake(self.chase, self.scene) is None

    @invariant()
    def in_hand_means_that_somebody_promised_a_time(self) -> None:
        if self.chase.phase is Phase.IN_HAND:
            assert self.chase.in_hand is not None

    @invariant()
    def only_silence_ends_with_the_day(self) -> None:
        end = self.chase.end
        if end is not None and end.how in (Ended.UNANSWERED, Ended.NOT_ASKED):
            assert self.chase.why is Why.SILENCE


TestChaseStates = ChaseStates.TestCase
TestChaseStates.settings = settings(
    max_examples=200, stateful_step_count=30, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
