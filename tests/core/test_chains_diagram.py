"""The diagram of the chase that the guide shows, drawn from the table of transitions."""

from pathlib import Path

from service.core.chains import TABLE, Phase
from service.core.chains.diagram import FIRST, diagram


def test_every_phase_is_there_by_its_words_and_a_chase_begins_and_ends_where_it_may() -> None:
    drawn = diagram().splitlines()

    for phase in Phase:
        assert f"    {phase.name.lower()}: {phase.value}" in drawn
        assert (f"    [*] --> {phase.name.lower()}" in drawn) == (phase in FIRST)
    assert drawn[-1] == "    over --> [*]"


def test_an_arrow_names_the_events_that_make_it_in_order_and_a_beginning_is_none() -> None:
    drawn = diagram().splitlines()

    assert "    trying --> climbing: NotHelped, Time" in drawn
    assert "    climbing --> over: DayOver, Settled, TakenBack" in drawn
    assert not any("Began" in line for line in drawn)


def test_the_diagram_has_every_transition_of_the_table_once() -> None:
    drawn = diagram().splitlines()

    assert drawn[0] == "stateDiagram-v2"
    arrows = [line for line in drawn if "-->" in line and "[*]" not in line]
    pairs = {(b, a) for (b, _), (_, to) in TABLE.items() for a in to if a is not b}
    assert len(arrows) == len(pairs) == len(set(arrows))


def test_the_guide_shows_the_diagram_of_the_table() -> None:
    guide = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = guide.partition("<!-- chase diagram -->")[2].partition("<!-- /chase diagram -->")[0]

    assert shown.strip() == f"```mermaid\n{diagram()}\n```"
