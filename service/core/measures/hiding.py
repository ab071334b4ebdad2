"""Small numbers kept from leaving the district, and the other numbers from which they could be worked out.

A table with its totals is a set of equations; where only one number of a line is hidden, subtraction finds it. So
further numbers are hidden until none below the threshold can be worked out exactly (Gusfield 1988, SIAM J Comput
17:552-571: in a table with totals a number is fixed unless it lies on a cycle of hidden ones). How far a hidden
number can be narrowed down is not bounded beyond a line's sum, and two tables that overlap are not compared.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

TOTAL = "total"
"""The name of the margins; no row or column may bear it."""

AT_LEAST = 10
"""Numbers below are hidden, where the district does not say otherwise (usual in US school statistics)."""

Cell = tuple[str, str]


@dataclass(frozen=True)
class Table:
    """Counts by row and column with their totals; None stands for what is hidden."""

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: Mapping[Cell, int | None]


def hide(
    rows: Sequence[str],
    columns: Sequence[str],
    counts: Mapping[Cell, int],
    at_least: int = AT_LEAST,
    withheld: Collection[str] = (),
) -> Table:
    """The table of these counts (a count that is not given is 0) with totals, safe to hand on.

    Hidden are all numbers below `at_least`, noughts too (nought of a few says something about each of the few), all of
    the rows `withheld` for another reason, and as many others, the smallest first, as it takes.
    """
    whole = _with_totals(rows, columns, counts)
    lines = _lines(whole)
    exposed = sorted(cell for cell, count in whole.items() if count < at_least or cell[0] in withheld)
    hidden = set(exposed)
    while more := _bare_lines(whole, lines, hidden, at_least) or _bare_cells(whole, exposed, hidden):
        hidden |= more
    cells = {cell: None if cell in hidden else count for cell, count in whole.items()}
    return Table((*rows, TOTAL), (*columns, TOTAL), cells)


def _with_totals(rows: Sequence[str], columns: Sequence[str], counts: Mapping[Cell, int]) -> dict[Cell, int]:
    inner = {(r, c): counts.get((r, c), 0) for r in rows for c in columns}
    by_row = {(r, TOTAL): sum(inner[r, c] for c in columns) for r in rows}
    by_column = {(TOTAL, c): sum(inner[r, c] for r in rows) for c in columns}
    return {**inner, **by_row, **by_column, (TOTAL, TOTAL): sum(inner.values())}


def _lines(whole: Mapping[Cell, int]) -> list[list[Cell]]:
    """Every row and column with its total at its end."""
    found: dict[tuple[int, str], list[Cell]] = {}
    for cell in whole:
        for side in (0, 1):
            found.setdefault((side, cell[side]), []).append(cell)
    return list(found.values())


def _bare_lines(
    whole: Mapping[Cell, int], lines: Iterable[list[Cell]], hidden: set[Cell], at_least: int
) -> set[Cell]:
    """One more number of each line of which one alone is hidden, or whose shown total leaves the hidden ones less
    than the threshold among them.
    """
    found = set()
    for line in lines:
        held = [cell for cell in line if cell in hidden]
        little = line[-1] not in hidden and sum(whole[cell] for cell in held) < at_least
        if held and (len(held) == 1 or little):
            found |= _smallest(whole, [cell for cell in line if cell not in hidden])
    return found


def _bare_cells(whole: Mapping[Cell, int], exposed: Iterable[Cell], hidden: set[Cell]) -> set[Cell]:
    """One more number beside the first of those below the threshold that can be worked out."""
    for cell in exposed:
        if _can_be_worked_out(whole, hidden, cell):
            shown = [c for c in whole if c not in hidden]
            beside = [c for c in shown if c[0] == cell[0] or c[1] == cell[1]]
            if more := _smallest(whole, beside) or _smallest(whole, shown):
                return more
    return set()


def _smallest(whole: Mapping[Cell, int], cells: Sequence[Cell]) -> set[Cell]:
    """The smallest number, a total only where nothing else is left; nothing of none."""
    return {min(cells, key=lambda cell: (TOTAL in cell, whole[cell], cell))} if cells else set()


def _can_be_worked_out(whole: Mapping[Cell, int], hidden: set[Cell], cell: Cell) -> bool:
    """Whether no other table of whole numbers from 0 up shows the same numbers and another one here.

    Written with its totals negative every line of a table adds up to nothing, so numbers move along closed walks,
    up in one line and down in the next, as far as none crosses nought.
    """
    row, column = ("row", cell[0]), ("column", cell[1])
    return not (
        (_may(whole, cell, up=True) and _reaches(whole, hidden, cell, column, row))
        or (_may(whole, cell, up=False) and _reaches(whole, hidden, cell, row, column))
    )


def _may(whole: Mapping[Cell, int], cell: Cell, up: bool) -> bool:
    """Whether a number can move; margins are counted negative, the sum of all is not."""
    margin = (cell[0] == TOTAL) != (cell[1] == TOTAL)
    return whole[cell] > 0 or up != margin


Line = tuple[str, str]


def _reaches(whole: Mapping[Cell, int], hidden: set[Cell], but: Cell, start: Line, end: Line) -> bool:
    seen, ahead = {start}, [start]
    while ahead:
        side, name = line = ahead.pop()
        if line == end:
            return True
        for cell in hidden - {but}:
            along = cell[0] if side == "row" else cell[1]
            onward = ("column", cell[1]) if side == "row" else ("row", cell[0])
            if along == name and onward not in seen and _may(whole, cell, up=side == "row"):
                seen.add(onward)
                ahead.append(onward)
    return False
