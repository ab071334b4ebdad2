"""What happens in the district of a seed, by chance: its plot, its people's answers, its lines."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from service.engine.postman import Errand
from tests.simulation.lines import Fate, Weather, fate
from tests.simulation.people import Answer, Message, answers
from tests.simulation.plot import Event, planned
from tests.simulation.town import Town

CALLED_OFF = ((25, "found"), (27, "yes"))
"""So many minutes after the caution, who reported an emergency says that it is over, lest it sound for days."""


@dataclass(frozen=True)
class Chances:
    """The dice of a town's seed decide."""

    town: Town

    def events(self) -> Sequence[Event]:
        return planned(self.town)

    def answers(self, message: Message, day: date, depth: int) -> Iterator[tuple[str, Answer]]:
        if message.purpose == "caution":
            for n, (wait, text) in enumerate(CALLED_OFF):
                yield f"over:{message.key}:{n}", Answer(timedelta(minutes=wait), text, "no")
        for n, answer in enumerate(answers(self.town.seed, message, day, depth)):
            yield f"answer:{message.key}:{n}", answer

    def fate(self, weather: list[Weather], at: datetime, errand: Errand, name: str) -> Fate:
        return fate(self.town.seed, weather, at, errand.channel, errand.person, name)
