"""What holds for every calendar, rotation and clock that can be made up."""

from datetime import UTC, date, datetime, time, timedelta

from days_made import MONDAY, YEAR, district, made_school, new_york, notice, routine, student
from hypothesis import assume, given
from hypothesis import strategies as st

from service.core.days import NoSchool, SchoolDay, cycle_day, instant, school_day, school_minutes, zone
from service.core.district import Bell, DayType, Rotation, Span, When
from service.core.notices import NoticeKind, read_notice
from service.core.routines import rounds, unplanned

ZONES = st.sampled_from(
    [
        "America/New_York",
        "America/St_Johns",
        "Europe/London",
        "Australia/Lord_Howe",
        "Pacific/Auckland",
        "America/Phoenix",
    ]
)
DATES = st.dates(date(2026, 1, 1), date(2027, 12, 31))
SCHOOL_DATES = st.dates(YEAR.first, YEAR.last)
TIMES = st.times().map(lambda t: t.replace(second=0, microsecond=0))


@st.composite
def periods(draw: st.DrawFn) -> tuple[Bell, ...]:
    minutes = sorted(draw(st.lists(st.integers(0, 1439), min_size=2, max_size=12, unique=True)))
    edges = [time(m // 60, m % 60) for m in minutes]
    return tuple(
        Bell(f"Period {n}", *pair) for n, pair in enumerate(zip(edges[::2], edges[1::2], strict=False))
    )


@st.composite
def closed_notices(draw: st.DrawFn):
    firsts = draw(st.lists(SCHOOL_DATES, max_size=6))
    return tuple(
        notice(NoticeKind.CLOSED, first, first + timedelta(days=draw(st.integers(0, 4))), id=f"nt-{n}")
        for n, first in enumerate(firsts)
    )


@st.composite
def turning_schools(draw: st.DrawFn):
    labels = draw(st.sampled_from([("A", "B"), ("1", "2", "3", "4", "5", "6"), ("red", "white", "blue")]))
    restarts = draw(st.dictionaries(SCHOOL_DATES, st.sampled_from(labels), max_size=3))
    closures = tuple(Span(d, d) for d in draw(st.lists(SCHOOL_DATES, max_size=10)))
    return made_school(rotation=Rotation(labels, YEAR.first, restarts), closures=closures)


@given(periods(), DATES, ZONES)
def test_bells_in_order_ring_in_order_and_keep_their_distance_on_ordinary_days(own, day, name):
    where = zone(name)
    start, end = (datetime.combine(d, time(), tzinfo=where) for d in (day, day + timedelta(days=1)))
    assume(start.utcoffset() == end.utcoffset())
    found = school_day(_open_school(own, name), day)
    assert isinstance(found, SchoolDay)
    assert [b.name for b in found.bells] == [b.name for b in own]
    for rung, bell in zip(found.bells, own, strict=True):
        assert rung.start.astimezone(where).time() == bell.start
        assert rung.end is not None
        assert rung.end - rung.start == _since_midnight(bell.end) - _since_midnight(bell.start)


@given(periods(), DATES, ZONES)
def test_bells_are_in_order_of_time_on_every_day_clock_changes_included(own, day, name):
    found = school_day(_open_school(own, name), day)
    assert isinstance(found, SchoolDay)
    starts = [b.start for b in found.bells]
    assert starts == sorted(starts)
    assert all(b.end is None or b.start <= b.end for b in found.bells)
    assert found.first == starts[0]
    assert all(b.start <= found.last for b in found.bells)


def _open_school(own, name):
    every_day = dict.fromkeys(range(1, 8), "regular")
    always = (Span(date(2026, 1, 1), date(2027, 12, 31)),)
    return made_school(
        zone=name, terms=always, week=every_day, day_types={"regular": DayType("regular", own)}
    )


def _since_midnight(at: time | None) -> timedelta:
    assert at is not None
    return timedelta(hours=at.hour, minutes=at.minute)


@given(DATES, TIMES, ZONES)
def test_an_instant_shows_its_wall_clock_time_unless_the_clock_skips_it(day, at, name):
    where = zone(name)
    found = instant(day, at, where)
    shown = found.astimezone(where).replace(tzinfo=None)
    if shown != datetime.combine(day, at):
        later = datetime.combine(day, at, tzinfo=where)
        assert later.replace(fold=0).utcoffset() < later.replace(fold=1).utcoffset(), "only in a gap"
    assert found.tzinfo is UTC


@given(turning_schools(), closed_notices(), SCHOOL_DATES)
def test_the_cycle_never_advances_on_a_day_without_school(school, notices, day):
    today, tomorrow = (school_day(school, day + timedelta(days=n), notices) for n in (0, 1))
    if isinstance(today, NoSchool):
        assert cycle_day(school, day, notices) is None
    elif isinstance(tomorrow, SchoolDay) and tomorrow.date not in school.rotation.restarts:
        labels = school.rotation.labels
        assert labels.index(tomorrow.cycle_day) == (labels.index(today.cycle_day) + 1) % len(labels)


@given(turning_schools(), closed_notices())
def test_over_a_whole_year_labels_follow_each_other_from_school_day_to_school_day(school, notices):
    year = (YEAR.first + timedelta(days=n) for n in range((YEAR.last - YEAR.first).days + 1))
    labels, restarts = school.rotation.labels, school.rotation.restarts
    expected, waiting = labels[0], None
    for day in year:
        waiting = restarts.get(day, waiting)
        found = cycle_day(school, day, notices)
        if found is None:
            continue
        expected, waiting = waiting or expected, None
        assert found == expected
        expected = labels[(labels.index(expected) + 1) % len(labels)]


@given(periods(), st.integers(1, 480), TIMES)
def test_under_a_delay_and_an_early_end_bells_stay_inside_the_day(own, minutes, ends):
    notices = (
        notice(NoticeKind.DELAY, delay=timedelta(minutes=minutes)),
        notice(NoticeKind.EARLY_END, ends=ends),
    )
    school = made_school(day_types={"regular": DayType("regular", own)})
    planned, found = school_day(school, MONDAY), school_day(school, MONDAY, notices)
    assert isinstance(planned, SchoolDay)
    if isinstance(found, NoSchool):
        return
    assert planned.first <= found.first < found.last <= planned.last
    for rung in found.bells:
        assert found.first <= rung.start <= (rung.end or rung.start) <= found.last


@given(st.integers(0, 1500), st.integers(0, 1500), st.integers(0, 1500))
def test_school_minutes_add_up(a, b, c):
    day = school_day(made_school(), MONDAY)
    start, middle, end = (new_york("00:00") + timedelta(minutes=m) for m in sorted((a, b, c)))
    assert school_minutes(day, start, end) == school_minutes(day, start, middle) + school_minutes(
        day, middle, end
    )


WHENS = st.one_of(
    st.builds(When, at=TIMES),
    st.builds(
        When,
        bell=st.sampled_from(["Homeroom", "Period 1", "Period 6", "Period 9"]),
        edge=st.sampled_from(["start", "end"]),
        offset=st.integers(-90, 90).map(lambda m: timedelta(minutes=m)),
    ),
)
ADULTS = st.sampled_from(["l-teal", "a-moss", "n-slate"])


@st.composite
def pupils(draw: st.DrawFn):
    count = draw(st.integers(1, 8))
    return [
        student(
            f"s{n}",
            *(
                routine(
                    f"r{k}",
                    when=draw(WHENS),
                    checker=draw(ADULTS),
                    kind=draw(st.sampled_from(["daily", "full"])),
                )
                for k in range(draw(st.integers(1, 3)))
            ),
            room=draw(st.sampled_from(["9", "12"])),
            alias=draw(st.sampled_from(["Wren", "Lark", "Ash"])),
        )
        for n in range(count)
    ]


@given(pupils(), st.randoms())
def test_planning_twice_is_planning_once_whatever_the_order_of_the_students(own, random):
    mixed = list(own)
    random.shuffle(mixed)
    day = school_day(made_school(), MONDAY)
    assert rounds(district(*own), day) == rounds(district(*own), day) == rounds(district(*mixed), day)


@given(pupils())
def test_every_routine_is_either_asked_once_or_listed_with_a_reason(own):
    whole, day = district(*own), school_day(made_school(), MONDAY)
    asked = [(c.student, c.routine) for r in rounds(whole, day) for c in r.checks]
    listed = [(u.student, u.routine) for u in unplanned(whole, day)]
    assert sorted(asked + listed) == sorted((s.id, r.id) for s in own for r in s.routines)


@given(pupils())
def test_keys_are_never_given_twice_and_numbers_run_from_one(own):
    found = rounds(district(*own), school_day(made_school(), MONDAY))
    keys = [r.id for r in found] + [c.id for r in found for c in r.checks]
    assert len(keys) == len(set(keys))
    for planned in found:
        assert [c.number for c in planned.checks] == list(range(1, len(planned.checks) + 1))
        assert len({c.student for c in planned.checks}) == len(planned.checks)


@given(pupils(), st.integers(0, 7))
def test_the_others_keep_their_order_when_a_student_becomes_away(own, which):
    absent = own[which % len(own)].id
    notices = (notice(NoticeKind.AWAY, student=absent),)
    day = school_day(made_school(), MONDAY)
    before = {r.id: [c.id for c in r.checks if c.student != absent] for r in rounds(district(*own), day)}
    after = {r.id: [c.id for c in r.checks] for r in rounds(district(*own), day, notices)}
    assert after == {key: checks for key, checks in before.items() if checks}


SAID = """closed delay early end away back swap for at until from on .. 2 h 11:30 1:99 l-teal a-moss s0
tomorrow friday 2026-12-01 2026-13-40 0-0-0 all hollow-road"""
WORDS = st.sampled_from(SAID.split())


@given(st.one_of(st.text(max_size=80), st.lists(WORDS, max_size=7).map(" ".join)))
def test_any_text_is_a_notice_or_an_answer_that_says_what_would_be_right(text):
    found = read_notice(text, district(student("s0")), "c-green", new_york("07:00"), MONDAY)
    if hasattr(found, "wrong"):
        assert found.wrong
        assert found.right
    else:
        assert found.first <= found.last
