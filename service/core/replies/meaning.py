"""Segments to what they say of each student, and what must be asked.

The asymmetric rule of the package is applied here: `_doubt` is its first part, `_blanket_doubt` its second;
the third and fourth are `Ending` in `said`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from service.core.district import DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Doubt, Fault, Outcome, Question, Result
from service.core.replies.chatter import without_chatter
from service.core.replies.doubts import doubt_of, is_doubtful_remark, is_loose_no, spoils
from service.core.replies.faults import codes_said, is_named, place
from service.core.replies.listening import is_of_silence, says_all
from service.core.replies.mending import corrected, handed_on, owned, regrouped
from service.core.replies.remarks import (
    CONTRAST,
    is_bare_remedy,
    is_good_of_a_part,
    is_of_supplies,
    is_promise,
    is_remark,
    is_told,
)
from service.core.replies.said import Ending, Said
from service.core.replies.segment import Segment

_IMPLANT = DeviceKind.COCHLEAR_IMPLANT
# Doubts of good news that a certain fault of the same student leaves no room for.
_ANSWERED_BY_A_FAULT = frozenset({Doubt.HEDGED, Doubt.LATER, Doubt.NOT_OK})
_WAS = ("was ", "were ", "wasnt ", "werent ", "had been ", "hadnt ")
_BOTH = frozenset({"both", "either", "deux", "ambos", "ambas"})
_SETTLING = ("good", "fixed", "goodrest", "away", "notyet", "notok", "late")


@dataclass(slots=True)
class Meaning:
    """Outcomes by student, questions, who was pointed at, the sides named of them, and the words behind each part."""

    outcomes: dict[int, Outcome] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    pointed: set[int] = field(default_factory=set)
    sides: dict[int, set[Side]] = field(default_factory=dict)
    because: list[str] = field(default_factory=list)


def meaning(parts: list[Segment], asked: Asked, kinds: Mapping[str, tuple[str, ...]], waits: bool) -> Meaning:
    """What `parts` say about the students of `asked`; `waits`: the reply also asks for time."""
    return _Judge(corrected(regrouped(handed_on(owned(without_chatter(parts))))), asked, kinds, waits).judge()


class _Judge:
    def __init__(
        self, parts: list[Segment], asked: Asked, kinds: Mapping[str, tuple[str, ...]], waits: bool
    ) -> None:
        self.waits = waits
        self.parts = parts
        self.students = {s.number: s for s in asked.students}
        self.alone = len(asked.students) == 1
        self.contact = asked.audience is Audience.CONTACT
        self.several_alerts = asked.audience is Audience.CONTACT and not self.alone
        self.kinds = kinds
        self.said = {n: Said() for n in self.students}
        self.out = Meaning()
        self.ending = Ending(parts, kinds)
        self.blanket: list[tuple[Segment, str]] = []
        self.contrast = any(p.joined in CONTRAST and not p.empty for p in parts)
        self.last: list[int] = []
        self.side: dict[int, Side] = {}
        self.before = Segment()
        self.spoiled = False
        self.lost_exception = False
        self.tainted = False

    def judge(self) -> Meaning:
        for segment in self.parts:
            self._one(segment)
            self.before = segment
        self._blankets()
        if self.waits and all(s.good and not s.troubled for s in self.said.values()):
            self.tainted = True
        if self.tainted:
            for said in self.said.values():
                said.doubts += [Doubt.HEDGED] if said.good or said.good_sides else []
        for number, said in self.said.items():
            self._settle(number, said)
        return self.out

    # -- who ------------------------------------------------------------------------------------------

    def _targets(self, segment: Segment) -> list[int] | None:
        """The students a segment speaks of; None where nobody in particular."""
        if "several" in segment.strangers:
            self._ask(Doubt.WHICH_STUDENT)
            self.lost_exception = True
        if segment.refs:
            valid = [r.number for r in segment.refs if r.number in self.students]
            if len(valid) < len(segment.refs):
                self._ask(Doubt.NO_SUCH_STUDENT)
                self.tainted = self.tainted or self.alone
                if segment.joined in CONTRAST:
                    self.lost_exception = not valid
            return valid
        if segment.strangers:
            self._about_a_stranger(segment)
            return []
        if segment.staff and not segment.quantity:
            return []
        if segment.says("goodrest") and not self.alone:
            return None
        if segment.quantity or self.alone:
            return list(self.students) if self.alone else None
        return self.last if self.last and self._inherits(segment) else None

    def _about_a_stranger(self, segment: Segment) -> None:
        self._ask(Doubt.NO_SUCH_STUDENT)
        if codes_said(segment) or segment.says("fixes", "fix"):
            self.spoiled = self.tainted = True
        self.lost_exception = self.lost_exception or segment.joined in CONTRAST

    def _inherits(self, segment: Segment) -> bool:
        """Whether a breath that names nobody goes on about whom the one before named."""
        if segment.joined in ("soft", "place", "but", "except") or segment.pronoun:
            return True
        return segment.says("fixed", "fixes", "still") or (segment.joined == "hard" and bool(codes_said(segment)))

    # -- what -----------------------------------------------------------------------------------------

    def _one(self, segment: Segment) -> None:
        requested = segment.has("please") and is_promise(segment)
        loose = not (segment.said or segment.subject or requested)
        if loose and doubt_of(segment) in (Doubt.HEDGED, Doubt.LATER, Doubt.NOT_OK):
            self.tainted = True
        if segment.odd or is_doubtful_remark(segment, self.alone) or is_loose_no(segment):
            self.tainted = True
        staff_only = segment.staff and not (segment.said or segment.refs or segment.quantity)
        if staff_only and (segment.asked or segment.hazards or segment.nots):
            self.tainted = True
        targets = self._targets(segment)
        if segment.narrowed and not self.alone:
            self._ask(Doubt.UNCLEAR)
        if segment.staff and not (segment.refs or segment.quantity):
            return
        if targets and (segment.refs or not self.alone):
            self.last = targets
        if segment.refs:
            self.out.pointed.update(targets or ())
        if targets is None:
            self._about_nobody(segment)
            return
        for number in targets:
            self._sides_named(number, segment)
            self._about(number, segment)

    def _sides_named(self, number: int, segment: Segment) -> None:
        typed = {ref.side for ref in segment.refs if ref.number == number and ref.side}
        self.out.sides.setdefault(number, set()).update(typed or set(segment.sides))

    def _about_nobody(self, segment: Segment) -> None:
        """A breath that names nobody: good or bad news of all or the rest, or something that spoils such news."""
        if segment.says("away") and any(quantity and other.says("away") for other, quantity in self.blanket):
            return
        if is_of_silence(segment):
            self._ask(Doubt.WHICH_STUDENT)
            return
        wished = segment.has("please") and is_promise(segment)
        if wished and not (segment.said or segment.joined in CONTRAST or segment.asked):
            return
        if is_good_of_a_part(segment) or (wished and segment.joined in CONTRAST and is_of_supplies(segment)):
            return
        codes = () if wished or is_remark(segment, self.alone) else codes_said(segment)
        if self._is_blanket(segment, codes):
            if segment.false:
                self._ask(Doubt.WHICH_STUDENT)
            rest = segment.says("goodrest") or (segment.other and not segment.quantity)
            self.blanket.append((segment, "rest" if rest else segment.quantity))
        elif codes or segment.says("away") or (segment.says("fixes", "fix") and not is_remark(segment, self.alone)):
            self.spoiled = True
            self._ask(Doubt.WHICH_STUDENT)
        elif doubt_of(segment) not in (None, Doubt.UNCLEAR) or spoils(segment):
            self.spoiled = True

    def _is_blanket(self, segment: Segment, codes: tuple[str, ...]) -> bool:
        if segment.says("away") and not (segment.quantity or segment.they or segment.says("good")):
            return False
        if segment.says("fixes", "fix") and not (segment.quantity or is_remark(segment, self.alone)):
            return False
        if segment.says(*_SETTLING) and (segment.quantity or not codes_said(segment)):
            return True
        if segment.quantity == "rest" and (not segment.said or segment.says("still")):
            return True
        return bool(codes and segment.quantity)

    def _about(self, number: int, segment: Segment) -> None:
        said, student = self.said[number], self.students[number]
        said.false += segment.false
        said.noticed += segment.noticed
        said.named = said.named or bool(segment.refs) or segment.joined in CONTRAST
        if is_of_silence(segment):
            return
        remark = is_remark(segment, self.alone)
        codes = () if remark or (self.contact and is_promise(segment)) else codes_said(segment)
        if remark and not segment.says("good", "fixed", "away"):
            said.excepted = said.excepted or (segment.joined in CONTRAST and bool(segment.refs))
            return
        if self._is_cause(segment, said):
            said.fixes += codes
            return
        if codes == ("UNWELL",) and segment.says("away") and not any(d.kind is _IMPLANT for d in student.devices):
            codes = ()
        if segment.says("away", "gone") and not codes:
            self._away(number, segment)
            return
        self._carry_side(number, segment)
        self._news(number, segment, codes)

    def _carry_side(self, number: int, segment: Segment) -> None:
        """What goes on about a student without naming a side goes on about the side named before."""
        if segment.other or segment.both:
            self.side.pop(number, None)
            return
        typed = next((ref.side for ref in segment.refs if ref.number == number), None)
        named = {typed} if typed else self._places(segment, self.students[number]) or set()
        if len(named) == 1:
            self.side[number] = min(named)
        elif segment.refs or named:
            self.side.pop(number, None)

    def _away(self, number: int, segment: Segment) -> None:
        said = self.said[number]
        if segment.asked:
            said.doubts.append(Doubt.UNCLEAR)
            return
        said.away, said.gone = True, said.gone or segment.says("gone")
        self._because(segment, f"{number} away")

    def _news(self, number: int, segment: Segment, codes: tuple[str, ...]) -> None:
        said = self.said[number]
        if segment.says("fixes", "fix", "fixed"):
            self._remedy(segment, said)
        if codes and (not segment.says("fixes") or segment.says("faults", "bad", "dead")):
            self._fault(number, segment, codes)
        said.still = said.still or segment.says("still")
        if segment.says("good", "fixed", "goodrest"):
            self._good(number, segment, codes)
        elif not codes and not segment.says("fixes", "fix", "still"):
            self._nothing_settled(segment, said)

    def _nothing_settled(self, segment: Segment, said: Said) -> None:
        doubt = doubt_of(segment) or (Doubt.UNCLEAR if segment.strange else None)
        if is_told(segment) or (segment.denied and doubt is None):
            return
        if segment.says("score") or (segment.says("no") and not segment.refs):
            said.doubts.append(Doubt.NOT_OK)
            return
        if segment.joined in CONTRAST and segment.refs and not (doubt or segment.odd):
            said.excepted = True
            return
        if doubt and (segment.says("notok", "notyet", "late", "no") or segment.refs or segment.hazards or segment.nots):
            said.doubts.append(doubt)
        elif any(not ref.by_name for ref in segment.refs):
            said.doubts.append(Doubt.UNCLEAR)
        elif segment.joined in CONTRAST:
            said.excepted = True

    def _is_cause(self, segment: Segment, said: Said) -> bool:
        """"It was the battery", after good news: the cause of a trouble that is over."""
        only = segment.says("parts") and not segment.says("bad", "faults", "still", "good", "fixes")
        return said.good and only and segment.has("past")

    def _remedy(self, segment: Segment, said: Said) -> None:
        said.fixes += [i.value for i in segment.said if i.role in ("fixes", "fix") and i.value not in ("", "none")]
        if segment.says("fixes") and segment.says("parts"):
            heard = {"MIC"} if "LINK" in said.fixes else set[str]()
            parts = [i.value for i in segment.said if i.role == "parts" and i.value not in heard]
            said.fixes += [part for part in parts if part not in said.fixes]
        if segment.says("fixes", "fix") and not said.fixes:
            said.fixes.append("")

    def _good(self, number: int, segment: Segment, codes: tuple[str, ...]) -> None:
        said = self.said[number]
        doubt = doubt_of(segment)
        if segment.joined in CONTRAST and self.before.unknown and not (self.before.said or segment.refs):
            doubt = doubt or Doubt.UNCLEAR
        if self.waits and not segment.refs:
            doubt = doubt or Doubt.LATER
        if doubt:
            said.doubts.append(doubt)
            return
        if codes and not segment.says("fixed", "fixes"):
            return
        over = said.past and bool(said.faults) and not (codes or segment.joined in CONTRAST)
        said.fixed = said.fixed or segment.says("fixed") or over
        places = self._places(segment, self.students[number])
        if places is None:
            said.good = True
        else:
            said.good_sides |= places
        if says_all(segment):
            said.all_heard |= places or {None}
        self._because(segment, f"{number} working")

    def _places(self, segment: Segment, student: AskedStudent) -> set[Side] | None:
        """The sides a good word is limited to; None for the whole student."""
        worn = [d for d in student.devices if d.kind is not DeviceKind.REMOTE_MIC]
        sides = set(segment.sides) | {d.side for d in worn if is_named(d, segment.devices, student) and d.side}
        if segment.other:
            sides |= {d.side for d in worn if d.side} - {f.side for f in self.said[student.number].faults if f.side}
        if not sides or {d.side for d in worn} <= sides:
            return None
        return sides

    def _fault(self, number: int, segment: Segment, codes: tuple[str, ...]) -> None:
        side = next((ref.side for ref in segment.refs if ref.number == number), None)
        if len(segment.refs) == 1 and len(set(segment.sides)) > 1:
            side = None
        said, student = self.said[number], self.students[number]
        if segment.asked and not (segment.has("question") and segment.says("faults", "bad", "dead", "missing")):
            said.doubts.append(Doubt.UNCLEAR)
            return
        within = any(not _BOTH.isdisjoint(i.text.split()) for i in segment.said)
        both = len(segment.refs) <= 1 and (segment.both or within)
        if segment.other and not side and not segment.sides:
            self._other_side(segment, student)
        if any(item.can("torn") for item in segment.said):
            self._ask(Doubt.UNCLEAR, number)
        for code in codes:
            found = self._continued(number, code, segment) or place(student, code, segment, side, both, self.kinds)
            if not found:
                said.doubts.append(Doubt.NO_SUCH_DEVICE)
            for fault in found:
                said.add(fault)
        said.past = segment.has("past") or any(item.text.startswith(_WAS) for item in segment.said)
        if "SOUND" in codes:
            said.missed += [sound for sound in segment.missed if sound not in said.missed]
            for side in [fault.side for fault in found if code == "SOUND"]:
                said.missed_on.setdefault(side, []).extend(segment.missed)
        if codes == ("OTHER",) and not any(item.part or item.can("torn") for item in segment.said):
            said.vague.update(f for f in said.faults if f.code == "OTHER")
        if codes == ("OTHER",) and not segment.says("faults"):
            said.dead = said.dead or (segment.says("dead") and not segment.says("parts"))
        self._because(segment, f"{number} {' '.join(codes)}")

    def _continued(self, number: int, code: str, segment: Segment) -> tuple[Fault, ...]:
        """The fault on the side that was named in the breath before, where it can be there."""
        side = self.side.get(number)
        if side is None or segment.refs or segment.sides or segment.devices or segment.both or segment.quantity:
            return ()
        return place(self.students[number], code, segment, side, False, self.kinds)

    def _other_side(self, segment: Segment, student: AskedStudent) -> None:
        taken = {f.side for f in self.said[student.number].faults} | self.said[student.number].good_sides
        left = [d.side for d in student.devices if d.side and d.side not in taken]
        if len(left) == 1 and taken and left[0]:
            segment.sides.append(left[0])

    # -- all and the rest -----------------------------------------------------------------------------

    def _blankets(self) -> None:
        for segment, quantity in self.blanket:
            named = {n for n, s in self.said.items() if s.named}
            if quantity == "rest" and not named:
                self._ask(Doubt.WHICH_STUDENT)
                self.tainted = self.tainted or doubt_of(segment) is not None
                continue
            targets = [n for n in self.said if quantity != "rest" or n not in named]
            self._spread(segment, targets, self._blanket_doubt(segment, quantity), quantity == "rest")

    def _blanket_doubt(self, segment: Segment, quantity: str) -> Doubt | None:
        """What takes the edge off a good word for all or the rest: rules 1 and 2 of the package."""
        doubt = doubt_of(segment)
        if doubt or segment.says("still"):
            return doubt or Doubt.LATER
        if not segment.said:
            return Doubt.UNCLEAR
        if self.spoiled or self.lost_exception:
            return Doubt.UNCLEAR
        if self.waits and segment.says("good"):
            return Doubt.LATER
        if self._is_partial(segment) and not segment.says("away"):
            return Doubt.WHICH_SIDE
        if not (quantity or self.alone or segment.they) and is_bare_remedy(segment):
            return Doubt.WHICH_STUDENT
        bare = self.several_alerts and not (quantity or segment.they)
        return Doubt.WHICH_STUDENT if bare or (quantity == "both" and len(self.said) != 2) else None

    def _is_partial(self, segment: Segment) -> bool:
        """Whether a side or device is named that leaves out some device of somebody."""
        if segment.sides:
            return not {Side.LEFT, Side.RIGHT} <= set(segment.sides)
        worn = [(s, d) for s in self.students.values() for d in s.devices if d.side]
        return bool(segment.devices) and not all(is_named(d, segment.devices, s) for s, d in worn)

    def _spread(self, segment: Segment, targets: list[int], doubt: Doubt | None, rest: bool) -> None:
        codes = codes_said(segment)
        if segment.says("good") and not (doubt or codes or rest):
            self._mended(targets)
        troubled = any(self._is_troubled(n, s) for n, s in self.said.items())
        for number in targets:
            said = self.said[number]
            if segment.says("away") and not segment.asked:
                if not said.named:
                    said.away = True
            elif codes and not segment.says("good"):
                self._fault(number, segment, codes)
            elif doubt:
                if not said.faults:
                    said.doubts.append(doubt)
            elif said.troubled or self.ending.outcome(self.students[number], said):
                continue
            elif troubled and not rest and not self.contrast:
                said.doubts.append(Doubt.UNCLEAR)
            else:
                said.good = True
                said.fixed = said.fixed or segment.says("fixed")
                said.all_heard |= {None} if says_all(segment) else set()
                self._because(segment, f"{number} working")

    def _mended(self, targets: list[int]) -> None:
        """"The band slipped, tightened it, all working" is good news of that student too."""
        for said in (self.said[number] for number in targets):
            if said.faults and said.fixes and not (said.still or said.away or said.doubts or said.excepted):
                said.good = True

    def _is_troubled(self, number: int, said: Said) -> bool:
        outcome = self.ending.outcome(self.students[number], said)
        return said.troubled and not (outcome and outcome.result is Result.FIXED)

    # -- the end --------------------------------------------------------------------------------------

    def _settle(self, number: int, said: Said) -> None:
        outcome = self.ending.outcome(self.students[number], said)
        if outcome:
            outcome = said.with_sounds(self._with_side(number, said, outcome), self.students[number])
            self.out.outcomes[number] = outcome
        if said.excepted and not outcome:
            said.doubts.append(Doubt.NOT_OK)
        doubts = said.doubts
        if outcome and outcome.result is Result.FAULT:
            doubts = [doubt for doubt in doubts if doubt not in _ANSWERED_BY_A_FAULT]
        if doubts and (not outcome or outcome.result is Result.FAULT):
            self._ask(doubts[0], number)
        elif not outcome and (said.good_sides or said.fixes or said.good or said.still):
            self._ask(Doubt.WHICH_SIDE, number)
        elif not outcome and said.false:
            self._ask(Doubt.UNCLEAR, number)
        if outcome and said.dead and any(f.code == "OTHER" for f in outcome.faults):
            self._ask(Doubt.NOT_OK, number)
        if outcome and said.gone:
            self._ask(Doubt.PLEASE_ACT, number)

    def _with_side(self, number: int, said: Said, outcome: Outcome) -> Outcome:
        """"A ball to the head, now nothing on the left": the one side named is the side of the one fault."""
        sides = self.out.sides.get(number, set()) - said.good_sides
        told = {fault.side for fault in outcome.faults} - {None}
        if len(sides) != 1 or outcome.result is not Result.FAULT or not told <= sides:
            return outcome
        found: list[Fault] = []
        for fault in outcome.faults:
            there = place(self.students[number], fault.code, Segment(), min(sides), False, self.kinds)
            found += [fault] if fault.side or not there else there
        return replace(outcome, faults=tuple(dict.fromkeys(found)))

    def _ask(self, doubt: Doubt, number: int | None = None) -> None:
        self.out.questions.append(Question(doubt, () if number is None else (number,)))

    def _because(self, segment: Segment, what: str) -> None:
        self.out.because.append(f"{what}: {' '.join(i.text for i in segment.said)}")

