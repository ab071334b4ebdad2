"""How readings compare with what was expected, by category and by language."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from typing import Any

from service.core.replies import default_words, read
from service.core.replies.page import as_json
from service.core.replies.tokens import tokens
from service.verbs.reply_cases import Case
from service.verbs.speaking import CannotRun

_GOOD = ("working", "fixed")
_LANGUAGES = ("en", "es", "fr")


@dataclass
class Score:
    """Counts over some cases; `agreed` of `undoubtful` ones, `needless` questions on those that are `clear`."""

    cases: int = 0
    undoubtful: int = 0
    agreed: int = 0
    false_good: int = 0
    missed_emergencies: int = 0
    clear: int = 0
    needless: int = 0

    @property
    def share(self) -> str:
        """The share read as expected, in percent."""
        return f"{100 * self.agreed / self.undoubtful:.1f} %" if self.undoubtful else "-"


@dataclass
class Tally:
    """Scores by category, by language and in total; what was read dangerously or otherwise, case by case."""

    HEADS = ("what", "cases", "undoubtful", "agreed", "share", "false good", "missed emergencies", "needless questions")

    total: Score = field(default_factory=Score)
    categories: dict[str, Score] = field(default_factory=lambda: defaultdict(Score))
    languages: dict[str, Score] = field(default_factory=lambda: defaultdict(Score))
    dangers: list[str] = field(default_factory=list)
    otherwise: list[str] = field(default_factory=list)

    def rows(self) -> Iterator[tuple[object, ...]]:
        """The lines of the table under `HEADS`."""
        named = [*sorted(self.categories.items()), *sorted(self.languages.items()), ("all", self.total)]
        for name, s in named:
            needless = f"{s.needless} of {s.clear}"
            yield name, s.cases, s.undoubtful, s.agreed, s.share, s.false_good, s.missed_emergencies, needless

    def as_values(self) -> dict[str, object]:
        """The same for JSON."""
        return {
            "total": asdict(self.total),
            "categories": {name: asdict(score) for name, score in sorted(self.categories.items())},
            "languages": {name: asdict(score) for name, score in sorted(self.languages.items())},
            "dangers": self.dangers,
            "otherwise": self.otherwise,
        }


def tally(cases: Iterable[Case]) -> Tally:
    """Read every case and compare. Raises `CannotRun` where a case does not say what is expected."""
    found = Tally()
    for case in cases:
        if case.expect is None:
            raise CannotRun(f"{case.place}: case {case.id} has no `expect`, so it cannot be scored")
        got = as_json(read(case.text, case.asked, default_words()), case.id)
        scores = (found.total, found.categories[case.category], found.languages[language_of(case)])
        _judge(case, case.expect, got, scores, found)
    return found


def _judge(
    case: Case, expect: Mapping[str, Any], got: Mapping[str, Any], scores: Iterable[Score], found: Tally
) -> None:
    better = is_better(expect, got)
    missed = bool(expect.get("emergency")) and not got["emergency"]
    agreed = comparable(got) == comparable(expect)
    if better:
        found.dangers.append(f"{case.id}: read as better news than it is")
    if missed:
        found.dangers.append(f"{case.id}: an emergency was missed")
    if not (agreed or case.doubtful):
        found.otherwise.append(case.id)
    for score in scores:
        score.cases += 1
        score.false_good += better
        score.missed_emergencies += missed
        if not case.doubtful:
            score.undoubtful += 1
            score.agreed += agreed
            score.clear += not expect["ask"]
            score.needless += bool(got["ask"]) and not expect["ask"]


def is_better(expect: Mapping[str, Any], got: Mapping[str, Any]) -> bool:
    """Whether `got` has a student working or fixed whom `expect` has not, or working for fixed."""
    for number, outcome in got["outcomes"].items():
        wanted = expect["outcomes"].get(number, {}).get("result")
        if outcome["result"] in _GOOD and wanted not in _GOOD:
            return True
        if outcome["result"] == "working" and wanted == "fixed":
            return True
    return False


def comparable(form: Mapping[str, Any]) -> tuple[object, ...]:
    """A reading's written form without what does not count: the order of faults and of sounds."""
    outcomes = {
        number: (
            o["result"],
            sorted((f["code"], f["side"] or "") for f in o["faults"]),
            sorted(o.get("missed_sounds", [])),
        )
        for number, o in form["outcomes"].items()
    }
    return outcomes, form["command"], form["minutes"], form["ask"], bool(form.get("emergency"))


def language_of(case: Case) -> str:
    """The language a case is typed in, by the words that only one list has; "mixed" where two have some."""
    words = {token.word for token in tokens(case.text)}
    heard = [language for language, own in _own_words().items() if words & own]
    return heard[0] if len(heard) == 1 else "mixed" if heard else "en"


@lru_cache(maxsize=1)
def _own_words() -> dict[str, frozenset[str]]:
    known = {language: default_words((language,)).known for language in _LANGUAGES}
    found = {}
    for language, own in known.items():
        others = frozenset[str]().union(*(words for other, words in known.items() if other != language))
        found[language] = frozenset(word for word in own - others if len(word) > 1)
    return found
