"""Weekdays in the configuration: `mon-fri`, `mon, wed`, or a line for each; stored day by day."""

from dataclasses import dataclass

from service.setup.kinds import NOTHING, Kind, Many, Path, Reading, Text
from service.setup.tree import Node, Table, Word
from service.setup.values import WEEKDAYS, read_weekdays


@dataclass(frozen=True)
class WeekdayList:
    """Some weekdays; stored from Monday on, each once."""

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form: `["mon", "wed"]`."""
        runs = Many(Text(read_weekdays)).read(node, path, to)
        found = {day for run in runs for day in run} if isinstance(runs, list) else set()
        return [WEEKDAYS[day - 1] for day in sorted(found)]


@dataclass(frozen=True)
class ByWeekday:
    """A value for each weekday named; `mon-fri` stands for five."""

    value: Kind

    def read(self, node: Node, path: Path, to: Reading) -> object:
        """The stored form, from Monday on; a weekday that comes twice is reported."""
        to.places[path] = (node.file, node.line)
        if isinstance(node, Word) and node.plain and not node.text:
            return {}
        if not isinstance(node, Table):
            return to.refuse(node, f"{path[-1]} names no weekdays", "write lines as mon-fri: and the value")
        found: dict[int, object] = {}
        for word, value in node.pairs:
            self._run(word, value, path, to, found)
        return {WEEKDAYS[day - 1]: found[day] for day in sorted(found)}

    def _run(self, word: Word, node: Node, path: Path, to: Reading, found: dict[int, object]) -> None:
        run = Text(read_weekdays).read(word, (*path, word.text), to)
        stored = self.value.read(node, (*path, word.text), to)
        if stored is NOTHING or not isinstance(run, tuple):
            return
        for day in run:
            if day in found:
                to.refuse(word, f"{WEEKDAYS[day - 1]} is written twice", "let each weekday stand once")
                return
            found[day] = stored
            to.places[(*path, WEEKDAYS[day - 1])] = (word.file, word.line)
