"""Which transitions of the chase's table a simulation took, seen by wrapping the one way in which a chase steps."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from service.core.chains import TABLE, Chase, Event, Scene, beginnings
from service.engine import chaser

Transition = tuple[str, str, str]
"""Phase, event, phase."""


def wanted() -> set[Transition]:
    """Every transition of the table: each phase a row may lead to, and for a row without any that it stays."""
    return {
        (phase.value, event.__name__, after.value)
        for (phase, event), (_, leads_to) in TABLE.items()
        for after in (leads_to or (phase,))
    }


@dataclass
class Taken:
    """How often each transition was taken."""

    times: Counter[Transition] = field(default_factory=Counter)

    @contextmanager
    def watched(self) -> Iterator[None]:
        """Count while this lasts."""
        step = chaser.step

        def counted(chase: Chase, event: Event, now: datetime, scene: Scene) -> Any:
            after, effects = step(chase, event, now, scene)
            self.times[chase.phase.value, type(event).__name__, after.phase.value] += 1
            return after, effects

        held = chaser.step, beginnings.step
        chaser.step = beginnings.step = counted
        try:
            yield
        finally:
            chaser.step, beginnings.step = held

    def missing(self) -> list[Transition]:
        return sorted(wanted() - set(self.times))

    def table(self) -> str:
        """All wanted transitions with how often each was taken, and others that a row leaves where they were."""
        return "\n".join(f"{self.times[t]:9,}  {t[0]} · {t[1]} → {t[2]}" for t in sorted(wanted() | set(self.times)))
