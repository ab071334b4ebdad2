"""The figures of several groups and of all of them together, as they may be shown inside or outside the district."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from service.core.measures.figures import BROKEN, Fault, Figure, Limits, Measure, figures
from service.core.measures.hiding import TOTAL, Table, hide
from service.core.measures.tally import DONE, Checked, days_with_a_fault, grouped, tally
from service.core.reading import Result

NOT_LOOKED = (Result.UNANSWERED, Result.NOT_DONE, Result.NOT_ASKED)
"""Expected, and nobody looked."""

Cells = Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class Group:
    """One group, or all (`name` TOTAL): children, checks by result, and figures. None: kept back."""

    name: str
    children: int | None
    results: Mapping[Result, int | None]
    figures: Mapping[Measure, Figure | None]


def report(
    checks: Sequence[Checked],
    faults: Sequence[Fault],
    key: Callable[[Checked | Fault], str],
    at_least: int = 0,
) -> tuple[Group, ...]:
    """The groups by name and all together at the end; numbers below `at_least` kept back, with whatever would give
    them away.

    A group of too few children is kept back whole. A share is shown where every number that it is made of is; a median
    where enough have ended.
    """
    held = grouped([c for c in checks if c.result is not None], key)
    names = tuple(sorted(held))
    tables = _Tables.of(held, names, at_least)
    broken = grouped_faults(faults, key)
    everything = [c for name in names for c in held[name]]
    of_all = tables.group(TOTAL, everything, figures(everything, faults))
    each = (tables.group(n, held[n], figures(held[n], broken.get(n, ()))) for n in names)
    return (*each, of_all)


def grouped_faults(
    faults: Sequence[Fault], key: Callable[[Checked | Fault], str]
) -> Mapping[str, tuple[Fault, ...]]:
    """The faults of each group."""
    found: dict[str, tuple[Fault, ...]] = {}
    for fault in faults:
        found[key(fault)] = (*found.get(key(fault), ()), fault)
    return found


CHECKED = {"working": (Result.WORKING,), "broken": BROKEN}
MISSED = {"missed": NOT_LOOKED}
FOUND = {"fixed": (Result.FIXED,), "fault": (Result.FAULT,)}
SILENT = {"unanswered": (Result.UNANSWERED,), "otherwise": (Result.NOT_DONE, Result.NOT_ASKED)}
"""Columns of the tables that may be shown outside: what was found; how often nobody looked, apart, so that the few of a
good school do not hide what was found; and what "broken" and "missed" consist of.
"""

SHARES: Mapping[Measure, Sequence[tuple[str, str]]] = {
    Measure.DONE: (("checked", "working"), ("checked", "broken"), ("missed", "missed")),
    Measure.WORKING_ON_ARRIVAL: (("checked", "working"), ("checked", "broken")),
    Measure.FAULT_FOUND: (("checked", "working"), ("checked", "broken")),
    Measure.FIXED_IN_CLASS: (("found", "fixed"), ("found", "fault")),
    Measure.UNANSWERED: (("checked", "working"), ("checked", "broken"), ("silent", "unanswered"), ("missed", "missed")),
    Measure.CHILDREN_WITH_FAULT: (("hit", "with"), ("hit", "without")),
    Measure.FAULTS: (("days", "days"),),
}
"""The numbers, by table and column, that a figure would give away."""

RESULTS = {
    Result.WORKING: ("checked", "working"),
    Result.FIXED: ("found", "fixed"),
    Result.FAULT: ("found", "fault"),
    Result.UNANSWERED: ("silent", "unanswered"),
}
"""The number that a result is, for those that are shown outside; the others are nearly always small."""


@dataclass(frozen=True)
class _Tables:
    """What may be shown, each number by table, group and column."""

    at_least: int
    cells: Mapping[str, Mapping[tuple[str, str], int | None]]

    @classmethod
    def of(cls, held: Mapping[str, Sequence[Checked]], names: tuple[str, ...], at_least: int) -> "_Tables":
        children = {(n, "children"): len({c.student for c in held[n]}) for n in names}
        days = {(n, "days"): days_with_a_fault(held[n]) for n in names}
        few = hide(names, ("children",), children, at_least)

        def table(columns: Collection[str], counts: Cells, withheld: Sequence[str]) -> Table:
            return hide(names, tuple(columns), counts, at_least, withheld)

        small = _hidden(few, names, "children")
        checked = table(CHECKED, _sums(held, CHECKED), small)
        missed = table(MISSED, _sums(held, MISSED), small)
        shown = {
            "children": few,
            "checked": checked,
            "missed": missed,
            "silent": table(SILENT, _sums(held, SILENT), _hidden(missed, names, "missed")),
            "found": table(FOUND, _sums(held, FOUND), _hidden(checked, names, "broken")),
            "hit": table(("with", "without"), _with_fault(held), small),
            "days": table(("days",), days, small),
        }
        return cls(at_least, {name: found.cells for name, found in shown.items()})

    def group(self, name: str, checks: Sequence[Checked], found: Sequence[Figure]) -> Group:
        """A group with what of it may be shown."""
        counts = tally(checks).results
        return Group(
            name,
            self.cells["children"][name, "children"],
            {r: counts.get(r, 0) if self._may_count(name, r) else None for r in Result},
            {f.measure: f if self._may_show(name, f) else None for f in found},
        )

    def _may_count(self, name: str, result: Result) -> bool:
        if not self.at_least:
            return True
        table, column = RESULTS.get(result, ("", ""))
        return bool(table) and self.cells[table][name, column] is not None

    def _may_show(self, name: str, figure: Figure) -> bool:
        if self.cells["children"][name, "children"] is None:
            return False
        if figure.limits is Limits.MEDIAN:
            return figure.count >= self.at_least
        return all(self.cells[table][name, column] is not None for table, column in SHARES[figure.measure])


def _hidden(table: Table, names: Sequence[str], column: str) -> list[str]:
    return [n for n in (*names, TOTAL) if table.cells[n, column] is None]


def _sums(held: Mapping[str, Sequence[Checked]], columns: Mapping[str, Sequence[Result]]) -> Cells:
    counts = {name: tally(checks).results for name, checks in held.items()}
    return {(n, c): sum(counts[n].get(r, 0) for r in results) for n in held for c, results in columns.items()}


def _with_fault(held: Mapping[str, Sequence[Checked]]) -> Cells:
    counts = {}
    for name, checks in held.items():
        seen = {c.student for c in checks if c.result in DONE}
        hit = {c.student for c in checks if c.result in BROKEN}
        counts[name, "with"], counts[name, "without"] = len(hit), len(seen - hit)
    return counts
