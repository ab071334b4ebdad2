"""What leaves the district: no small number, and none that subtraction brings back.

The attacker of these tests knows the threshold's rule, every number shown, and that counts are whole and not
negative; SciPy's linear programming tells how far a hidden number could still range.
"""

from collections.abc import Mapping

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from service.core.measures.hiding import TOTAL, Table, hide

COLUMNS = ("working", "fixed", "fault")
SCHOOLS = ("hollow-road", "oxbow-green", "peel-lane", "tansy-mill")


def counts(*rows: tuple[int, ...]) -> dict[tuple[str, str], int]:
    return {(s, c): n for s, row in zip(SCHOOLS, rows, strict=False) for c, n in zip(COLUMNS, row, strict=False)}


def ranges(table: Table) -> Mapping[tuple[str, str], tuple[float, float]]:
    """How small and how large each hidden number could be, for all that the table shows."""
    hidden = [cell for cell, shown in table.cells.items() if shown is None]
    places = {cell: n for n, cell in enumerate(hidden)}
    left, right = [], []
    for side in (0, 1):
        for name in dict.fromkeys(cell[side] for cell in table.cells):
            equation, known = np.zeros(len(hidden)), 0
            for cell, shown in table.cells.items():
                if cell[side] == name:
                    sign = -1 if cell[1 - side] == TOTAL else 1
                    if shown is None:
                        equation[places[cell]] = sign
                    else:
                        known += sign * shown
            left.append(equation)
            right.append(-known)
    found = {}
    for cell, place in places.items():
        aim = np.zeros(len(hidden))
        aim[place] = 1
        least = linprog(aim, A_eq=left, b_eq=right, bounds=(0, None))
        most = linprog(-aim, A_eq=left, b_eq=right, bounds=(0, None))
        found[cell] = (least.fun, np.inf if most.status == 3 else -most.fun)
    return found


def test_a_table_without_small_numbers_is_shown_whole() -> None:
    table = hide(SCHOOLS[:2], COLUMNS, counts((30, 12, 11), (40, 10, 15)))
    assert None not in table.cells.values()
    assert table.cells[TOTAL, TOTAL] == 118
    assert table.cells["hollow-road", TOTAL] == 53


def test_a_small_number_takes_the_next_smallest_of_its_row_and_column_with_it() -> None:
    table = hide(SCHOOLS[:3], COLUMNS, counts((30, 12, 3), (40, 25, 15), (50, 26, 31)))
    assert {cell for cell, shown in table.cells.items() if shown is None} == {
        ("hollow-road", "fault"), ("hollow-road", "fixed"), ("oxbow-green", "fault"), ("oxbow-green", "fixed"),
    }  # fmt: skip


def test_noughts_are_hidden_too_and_not_by_other_noughts_alone() -> None:
    """Two hidden noughts that add up to a shown nought would be no secret."""
    table = hide(SCHOOLS[:3], COLUMNS, counts((30, 0, 0), (40, 25, 15), (50, 26, 31)))
    assert table.cells["hollow-road", "working"] is None
    found = ranges(table)
    assert all(most > least for least, most in found.values())


def test_two_small_numbers_whose_sum_would_show_are_not_each_others_cover() -> None:
    """2 and 3 with their sum 5 in sight: anybody knows that both are below ten."""
    table = hide(SCHOOLS[:2], COLUMNS, counts((30, 2, 3), (50, 26, 31)))
    assert table.cells["hollow-road", "working"] is None


def test_a_number_held_fast_by_others_across_the_table_is_let_loose() -> None:
    """Each line hides two numbers and more than ten, and yet all equations together leave one value for some."""
    table = hide(SCHOOLS[:3], COLUMNS, counts((12, 0, 0), (20, 10, 0), (20, 0, 0)))
    assert all(most - least > 0.5 for least, most in ranges(table).values())


def test_a_district_too_small_to_speak_of_shows_nothing() -> None:
    table = hide(SCHOOLS[:2], COLUMNS[:1], counts((3,), (4,)))
    assert set(table.cells.values()) == {None}


def test_the_threshold_is_the_districts() -> None:
    held = counts((30, 12, 7), (40, 25, 15))
    assert None not in hide(SCHOOLS[:2], COLUMNS, held, at_least=5).cells.values()
    assert None in hide(SCHOOLS[:2], COLUMNS, held, at_least=10).cells.values()


numbers = st.one_of(st.integers(0, 4), st.integers(8, 12), st.integers(0, 60))
tables = st.tuples(st.integers(1, 4), st.integers(1, 3)).flatmap(
    lambda size: st.lists(
        st.lists(numbers, min_size=size[1], max_size=size[1]).map(tuple), min_size=size[0], max_size=size[0]
    )
)


@settings(max_examples=60, deadline=None)
@given(tables)
def test_no_number_below_ten_is_shown_or_can_be_worked_out(rows: list[tuple[int, ...]]) -> None:
    held = counts(*rows)
    table = hide(SCHOOLS[: len(rows)], COLUMNS[: len(rows[0])], held)
    assert all(shown is None or shown >= 10 for shown in table.cells.values())
    truth = hide(SCHOOLS[: len(rows)], COLUMNS[: len(rows[0])], held, at_least=0).cells
    for cell, (least, most) in ranges(table).items():
        if truth[cell] is not None and truth[cell] < 10:
            assert most - least > 0.5, (cell, truth[cell])
