"""Groups side by side: whole inside the district, and outside it nothing that a small number could be read from."""

from collections.abc import Sequence
from datetime import date, timedelta

from service.core.measures.figures import Fault, Figure, Measure
from service.core.measures.hiding import TOTAL
from service.core.measures.report import Group, report
from service.core.measures.survival import Spell
from service.core.measures.tally import Checked
from service.core.reading import Result

MONDAY = date(2026, 10, 5)


def checks(school: str, children: int, days: int, faults: int = 0) -> list[Checked]:
    """So many children checked on so many days; the first `faults` of all checks found something wrong."""
    found = []
    for child in range(children):
        for day in range(days):
            result = Result.FAULT if len(found) < faults else Result.WORKING
            found.append(Checked(f"{school}-{child}", school, MONDAY + timedelta(days=day), result, 2))
    return found


HELD = [
    *checks("hollow-road", 30, 10, faults=40),
    *checks("oxbow-green", 25, 10, faults=30),
    *checks("peel-lane", 20, 10, faults=25),
    *checks("tansy-mill", 3, 10, faults=12),
]


def school(one: Checked | Fault) -> str:
    return one.school


def silent(school: str) -> Checked:
    return Checked(f"{school}-0", school, MONDAY, Result.UNANSWERED, 2)


def by_name(at_least: int, faults: Sequence[Fault] = (), more: Sequence[Checked] = ()) -> dict[str, Group]:
    return {group.name: group for group in report([*HELD, *more], faults, school, at_least)}


def test_inside_every_school_has_its_figures_and_all_together_come_last() -> None:
    groups = report(HELD, [], school)
    assert [g.name for g in groups] == ["hollow-road", "oxbow-green", "peel-lane", "tansy-mill", TOTAL]
    assert [g.children for g in groups] == [30, 25, 20, 3, 78]
    assert all(figure is not None for g in groups for figure in g.figures.values())
    found = groups[-1].figures[Measure.FAULT_FOUND]
    assert found is not None
    assert (found.count, found.of) == (107, 780)


def test_outside_a_school_of_three_children_is_kept_back_whole_and_so_is_another_beside_it() -> None:
    groups = by_name(10)
    hidden = [name for name, g in groups.items() if g.children is None]
    assert hidden == ["peel-lane", "tansy-mill"]
    for name in hidden:
        assert set(groups[name].figures.values()) == {None}
        assert set(groups[name].results.values()) == {None}
    assert groups["hollow-road"].children == 30


def test_outside_rare_results_do_not_take_the_common_figures_with_them() -> None:
    """Two unanswered checks of a school hide how many they were, and not how often devices worked."""
    groups = by_name(10, more=[*[silent("hollow-road")] * 2, *[silent("oxbow-green")] * 40])
    road = groups["hollow-road"]
    assert road.figures[Measure.UNANSWERED] is None
    assert road.figures[Measure.DONE] is None
    assert road.results[Result.UNANSWERED] is None
    assert road.figures[Measure.WORKING_ON_ARRIVAL] is not None
    assert road.results[Result.WORKING] == 260
    assert groups["oxbow-green"].figures[Measure.DONE] is None, "or subtraction from the district's would tell"


def test_what_was_found_wrong_is_shown_where_how_it_was_mended_is_not() -> None:
    """Nobody fixed anything in class: nought is kept back, the number of faults is not."""
    road = by_name(10)["hollow-road"]
    assert road.figures[Measure.FIXED_IN_CLASS] is None
    shown = road.figures[Measure.FAULT_FOUND]
    assert shown is not None
    assert shown.count == 40


def test_a_median_of_few_faults_is_kept_back() -> None:
    few = [Fault(f"hollow-road-{n}", "hollow-road", Spell(5), Spell(60)) for n in range(6)]
    many = [Fault(f"oxbow-green-{n}", "oxbow-green", Spell(5), Spell(60)) for n in range(12)]
    groups = by_name(10, [*few, *many])
    assert groups["hollow-road"].figures[Measure.TO_WORKING] is None
    shown = groups["oxbow-green"].figures[Measure.TO_WORKING]
    assert isinstance(shown, Figure)
    assert (shown.count, shown.estimate.value) == (12, 60)


def test_checks_of_a_day_not_over_and_a_time_without_checks_are_no_trouble() -> None:
    still = [Checked("st-1", "hollow-road", MONDAY, None, 2)]
    (total,) = report(still, [], school)
    assert (total.name, total.children) == (TOTAL, 0)
    assert all(figure is not None and figure.of == 0 for figure in total.figures.values())
