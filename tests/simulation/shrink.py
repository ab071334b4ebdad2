"""Makes a failing story short: leaves out what happened, piece by piece, then children and schools, as long as the
same promise stays broken; and tells what is left in plain words.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from tests.simulation.runs import Run
from tests.simulation.seen import Happening
from tests.simulation.town import made

Replay = Callable[[frozenset[str], frozenset[str]], Run]
"""Plays again with only these happenings, and without these children and schools."""


@dataclass
class Story:
    """A failing run, as short as it could be made."""

    run: Run
    only: frozenset[str]
    without: frozenset[str]
    tries: int

    def __str__(self) -> str:
        kept = [h for h in self.run.happened if not h.name or h.name in self.only]
        town = made(self.run.seed, without=self.without)
        children = ", ".join(f"{s} ({v['alias']})" for s, v in town.students.items())
        return in_words(self.run, kept, children)


def in_words(run: Run, happened: Sequence[Happening], children: str) -> str:
    """What happened, what is wrong with it, and what the journal says."""
    return "\n".join(
        [
            f"{run.label}: {len(happened)} things happen to {children}",
            *(f"  {h.at:%a %Y-%m-%d %H:%M:%S} UTC  {h.words}" for h in happened),
            "what is wrong:",
            *(f"  {line}" for line in run.wrong.splitlines()),
            "what the journal says of it:",
            *(f"  {line}" for line in run.trail),
        ]
    )


@dataclass
class Shrinking:
    """One search for a shorter story, at most `seconds` long."""

    replay: Replay
    run: Run
    seconds: float
    tries: int = 0
    only: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()
    _since: float = field(default_factory=time.monotonic)

    def story(self) -> Story:
        self.only = frozenset(h.name for h in self.run.happened if h.name)
        self._leave_out_children()
        self._leave_out_happenings()
        self._leave_out_children()
        return Story(self.run, self.only, self.without, self.tries)

    def _leave_out_happenings(self) -> None:
        """Delta debugging: halves first, then ever smaller pieces."""
        size = max(1, len(self.only) // 2)
        while size and not self._is_late():
            names = [h.name for h in self.run.happened if h.name in self.only]
            pieces = [names[n : n + size] for n in range(0, len(names), size)]
            shorter = [p for p in reversed(pieces) if self._fails(self.only - set(p), self.without)]
            if not shorter or size > 1:
                size = size // 2 if size > 1 or not shorter else 0

    def _leave_out_children(self) -> None:
        town = made(self.run.seed, without=self.without)
        for name in (*town.schools, *town.students):
            self._fails(self.only, self.without | {name})

    def _fails(self, only: frozenset[str], without: frozenset[str]) -> bool:
        """Whether the same promise is broken with less; then that is the story from now on."""
        if self._is_late():
            return False
        self.tries += 1
        tried = self.replay(only, without)
        if label(tried) != label(self.run):
            return False
        self.run, self.without = tried, without
        self.only = only & {h.name for h in tried.happened}
        return True

    def _is_late(self) -> bool:
        return time.monotonic() - self._since > self.seconds


def label(run: Run) -> str:
    """Which promise was broken."""
    return run.wrong.partition(":")[0]


def shrunk(run: Run, replay: Replay, seconds: float = 120) -> Story:
    """The shortest story found that breaks the same promise as `run`."""
    return Shrinking(replay, run, seconds).story()


def told(stories: Sequence[Story]) -> str:
    return "\n\n".join(map(str, stories))
