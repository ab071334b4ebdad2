"""What the adults of the demo year type: plain words about the children they are asked about, in their own time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from service.core.chains import Purpose, Why
from service.core.district import Role
from service.core.reading import Result
from service.demo.year.nature import Nature
from service.demo.year.places import AUDIOLOGISTS, VISITING, office

WORDS = {
    "BAT": "{side} battery", "CABLE": "{side} cable", "COIL": "{side} coil", "MOULD": "{side} mould",
    "WHISTLE": "{side} whistles", "HOME": "left at home", "REFUSED": "refused",
}  # fmt: skip
"""What adults type for a fault."""

REMEDY_MINUTES = 3
"""So long after a fault was reported the first remedy has helped, where it helps."""

CONTACT_MINUTES = 5
CONTACT = {Purpose.ALERT.value: "mine 60", Purpose.QUESTION.value: "loaner"}
"""What the audiologist says of a fault: first that she has it, and, asked again, that she has lent a device."""

ROLES = {Role.CHECKER.value: "checker", Role.SECOND.value: "second", Role.OFFICE.value: "office"}
"""Who of those told of a silence answers, and how that is called in `habits`."""


@dataclass(frozen=True)
class Asked:
    """A message that wants an answer: to whom, what for, about which children of which school."""

    id: str
    person: str
    role: str
    purpose: str
    why: str
    school: str
    children: tuple[str, ...]


@dataclass(frozen=True)
class Saying:
    """Words that come so many `minutes` after the message `re`; `about` are the children they are about."""

    minutes: int
    person: str
    re: str
    about: tuple[str, ...]
    words: str = ""


@dataclass(frozen=True)
class Standing:
    """A fault that was reported and not put right: its code, the words for it, since when."""

    code: str
    words: str
    since: date


@dataclass(frozen=True)
class Heard:
    """What somebody says of one child: the result, the words for it (none where all is well), the fault's code, and
    whether the first remedy then puts it right.
    """

    result: Result
    words: str = ""
    code: str | None = None
    fixed: bool = False


@dataclass
class People:
    """The adults of a year. `standing` are the faults that were reported and not put right, by child; `right` who
    was put right today.
    """

    nature: Nature
    standing: dict[str, Standing] = field(default_factory=dict)
    right: set[str] = field(default_factory=set)

    def begin(self) -> None:
        """A new morning."""
        self.right.clear()

    def hears(self, asked: Asked, day: date) -> Saying | None:
        """What a message will be answered with; None: nothing."""
        if asked.why == Why.FAULT and asked.person in AUDIOLOGISTS and asked.purpose in CONTACT:
            return Saying(CONTACT_MINUTES, asked.person, asked.id, (), CONTACT[asked.purpose])
        role = "visiting" if asked.person in VISITING else ROLES.get(asked.role)
        if asked.why == Why.FAULT or asked.purpose not in (Purpose.PROMPT, Purpose.ALERT) or role is None:
            return None
        minutes = self.nature.answers(asked.person, role, asked.school, day)
        return None if minutes is None else Saying(minutes, asked.person, asked.id, asked.children)

    def answer(self, said: Saying, day: date) -> tuple[str, tuple[Saying, ...]]:
        """What is typed once it is typed, and what will follow on it: the first remedy helped."""
        if said.words:
            return said.words, ()
        heard = self.hear(said.person, said.about, day)
        more = tuple(
            Saying(REMEDY_MINUTES, said.person, said.re, (), f"{self._alias(child)} fixed")
            for child, one in heard.items()
            if one.fixed
        )
        return self._typed(said.person, heard), more

    def hear(self, person: str, about: Sequence[str], day: date) -> dict[str, Heard]:
        """What somebody says of each child once they have looked, and whether they then put it right."""
        return {child: self._looked_at(person, child, day) for child in about}

    def _typed(self, person: str, heard: Mapping[str, Heard]) -> str:
        if any(self._is_office(person, child) for child in heard):
            return ", ".join(f"{self._alias(child)} {one.words or 'ok'}" for child, one in heard.items())
        odd = [f"{self._alias(child)} {one.words}" for child, one in heard.items() if one.words]
        if not odd:
            return "ok" if len(heard) == 1 else "all ok"
        return ", ".join([*odd, *(["rest ok"] if len(odd) < len(heard) else [])])

    def _looked_at(self, person: str, child: str, day: date) -> Heard:
        truth = self.nature.truth(child, day)
        if truth.away:
            return Heard(Result.AWAY, "away")
        if (stands := self.standing.get(child)) is not None:
            return self._still(child, stands, day)
        code = truth.code or ("BAT" if person in VISITING and self.nature.breaks(child, day) else None)
        if code is not None and child not in self.right and self.nature.sees(person, child, day):
            return self._finds(person, child, day, Standing(code, WORDS[code].format(side=truth.side), day))
        if truth.missed:
            return Heard(Result.FAULT, f"{truth.side} missed {truth.missed}", "SOUND")
        return Heard(Result.WORKING)

    def _still(self, child: str, stands: Standing, day: date) -> Heard:
        if stands.since == day or not self.nature.mended(child, day):
            return Heard(Result.FAULT, f"still {stands.words}", stands.code)
        del self.standing[child]
        self.right.add(child)
        return Heard(Result.WORKING, "working")

    def _finds(self, person: str, child: str, day: date, found: Standing) -> Heard:
        fixed = not self._is_office(person, child) and self.nature.fixes(person, child, day, found.code)
        if fixed:
            self.right.add(child)
        else:
            self.standing[child] = found
        return Heard(Result.FAULT, found.words, found.code, fixed)

    def _is_office(self, person: str, child: str) -> bool:
        """Whether somebody is at the front desk, from where nobody puts a device right."""
        return person == office(self.nature.children[child].school)

    def _alias(self, child: str) -> str:
        return self.nature.children[child].alias
