"""The table of transitions as a Mermaid state diagram, for the guide."""

from collections import defaultdict

from service.core.chains.machine import TABLE
from service.core.chains.values import Began, Phase

FIRST = (Phase.TRYING, Phase.CLIMBING, Phase.ALARM, Phase.HOLDING)
"""The phases in which a chase may begin."""


def diagram() -> str:
    """Every change of phase the table lists, one arrow for each pair of phases, with the events that make it."""
    arrows: defaultdict[tuple[Phase, Phase], list[str]] = defaultdict(list)
    for (before, event), (_, leads_to) in TABLE.items():
        for after in leads_to:
            if after is not before and event is not Began:
                arrows[before, after].append(event.__name__)
    lines = ["stateDiagram-v2"]
    lines += [f"    {phase.name.lower()}: {phase.value}" for phase in Phase]
    lines += [f"    [*] --> {phase.name.lower()}" for phase in FIRST]
    lines += [
        f"    {before.name.lower()} --> {after.name.lower()}: {', '.join(sorted(events))}"
        for (before, after), events in sorted(arrows.items())
    ]
    lines.append(f"    {Phase.OVER.name.lower()} --> [*]")
    return "\n".join(lines)
