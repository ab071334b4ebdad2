"""Segments to outcomes: what the reply says about each student, and what must be asked.

The asymmetric rule of the package is applied here (`_Good.plain`): see `service.core.replies`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from service.core.district import DeviceKind, Side
from service.core.reading import Asked, AskedStudent, Audience, Doubt, Fault, Outcome, Question, Result
from service.core.replies.clauses import SIX, Segment
from service.core.replies.faults import codes_said, is_named, place

# A grave fault and the lesser ones that are only signs of it.
_ABSORBS = {"KNOCK": ("SOUND", "POWER"), "UNWELL": ("SORE", "SOUND")}


@dataclass(slots=True)
class Said:
    """All that a reply says about one student."""

    faults: list[Fault] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    fixes: list[str] = field(default_factory=list)
    good: bool = False
    good_sides: set[Side] = field(default_factory=set)
    fixed: bool = False
    still: bool = False
    away: bool = False
    gone: bool = False
    doubts: list[Doubt] = field(default_factory=list)
    named: bool = False
    excepted: bool = False

    @property
    def troubled(self) -> bool:
        """Whether anything but good was said."""
        return bool(self.faults or self.away or self.doubts or self.excepted)


@dataclass(slots=True)
class Meaning:
    """Outcomes by student, questions, who was pointed at, and the words behind each part."""

    outcomes: dict[int, Outcome] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    pointed: set[int] = field(default_factory=set)
    because: list[str] = field(default_factory=list)
    understood: bool = False


def meaning(parts: list[Segment], asked: Asked, kinds: Mapping[str, tuple[str, ...]], waits: bool) -> Meaning:
    """What `parts` say about the students of `asked`; `waits`: the reply also asks for time."""
    return _Judge(corrected(regrouped(parts)), asked, kinds, waits).judge()


def regrouped(parts: list[Segment]) -> list[Segment]:
    """"Everyone but 2 is ok": what is said after the exception is said of the others, not of 2."""
    for before, after in pairwise(parts):
        if after.joined not in ("except", "but") or not (after.refs and after.says("good")) or before.said:
            continue
        if before.unknown or not before.quantity:
            after.unknown = after.unknown or ["but"]
        else:
            before.said, after.said = after.said, []
            before.hazards, before.unknown = before.hazards + after.hazards, before.unknown + after.unknown
    return parts


def corrected(parts: list[Segment]) -> list[Segment]:
    """`parts` after "no wait", "oops", "I mean": what was corrected is gone, what was kept is carried over."""
    kept: list[Segment] = []
    for segment in parts:
        last = next((s for s in reversed(kept) if s.said), None)
        if segment.joined != "correction" or last is None or not (segment.subject or segment.said or segment.sides):
            kept.append(segment)
            continue
        segment.hazards = [h for h in segment.hazards if h.role != "correction"]
        kept.remove(last)
        if not segment.said and not last.says("good", "fixed"):
            segment.said, segment.sides = last.said, segment.sides or last.sides
            segment.missed, segment.devices = last.missed, segment.devices or last.devices
        segment.narrowed = bool(segment.refs) and not last.refs
        if not segment.subject:
            segment.refs, segment.quantity = last.refs, last.quantity
        kept.append(segment)
    return kept


def _add(faults: list[Fault], fault: Fault) -> None:
    """Add a fault once; a side said of the same fault completes it."""
    same = [f for f in faults if f.code == fault.code]
    if fault in same or (fault.side is None and same):
        return
    vague = Fault(fault.code)
    if vague in faults:
        faults.remove(vague)
    faults.append(fault)


class _Judge:
    def __init__(
        self, parts: list[Segment], asked: Asked, kinds: Mapping[str, tuple[str, ...]], waits: bool
    ) -> None:
        self.waits = waits
        self.parts = parts
        self.students = {s.number: s for s in asked.students}
        self.alone = len(asked.students) == 1
        self.asked = asked
        self.kinds = kinds
        self.said = {n: Said() for n in self.students}
        self.out = Meaning()
        self.blanket: list[tuple[Segment, str]] = []
        self.contrast = any(p.joined in ("except", "but") and not p.empty for p in parts)
        self.last: list[int] = []
        self.spoiled = False
        self.lost_exception = False
        self.tainted = False

    def judge(self) -> Meaning:
        for segment in self.parts:
            self._one(segment)
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
        if segment.refs:
            valid = [r.number for r in segment.refs if r.number in self.students]
            if len(valid) < len(segment.refs):
                self._ask(Doubt.NO_SUCH_STUDENT)
                if segment.joined in ("except", "but"):
                    self.lost_exception = not valid
            return valid
        if segment.strangers:
            self._ask(Doubt.NO_SUCH_STUDENT)
            if codes_said(segment):
                self.spoiled = self.tainted = True
            self.lost_exception = self.lost_exception or segment.joined in ("except", "but")
            return []
        if segment.staff and not segment.quantity:
            return []
        if segment.says("goodrest") and not self.alone:
            return None
        if segment.quantity or self.alone:
            return list(self.students) if self.alone else None
        inherits = segment.joined in ("soft", "place", "but", "except") or segment.pronoun or segment.says("fixed", "fixes", "still")
        if self.last and (inherits or (segment.joined == "hard" and codes_said(segment))):
            return self.last
        return None

    # -- what -----------------------------------------------------------------------------------------

    def _one(self, segment: Segment) -> None:
        if not (segment.said or segment.subject) and self._doubt(segment) in (Doubt.HEDGED, Doubt.LATER, Doubt.NOT_OK):
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
            self._about(number, segment)

    def _doubt(self, segment: Segment) -> Doubt | None:
        """What takes the edge off a good word in this breath."""
        if segment.asked or segment.has("question", "query"):
            return Doubt.UNCLEAR
        if segment.has("later", "notyet", "late", "mine", "cannot") or segment.says("notyet", "late"):
            return Doubt.LATER
        if segment.has("hedge") or (segment.has("past") and not segment.says("fixed")):
            return Doubt.HEDGED
        if segment.crossed or not all(ref.sure for ref in segment.refs):
            return Doubt.WHICH_STUDENT
        if segment.they and len(segment.refs) == 1:
            return Doubt.WHICH_STUDENT
        if segment.says("notok") or segment.nots:
            return Doubt.NOT_OK
        if segment.unknown or segment.has("ack", "correction") or segment.says("no"):
            return Doubt.UNCLEAR
        return None

    def _about_nobody(self, segment: Segment) -> None:
        quantity = segment.quantity
        if segment.says("good", "fixed", "goodrest", "away", "notyet", "notok", "late") and (quantity or not codes_said(segment)):
            if segment.says("goodrest") or (segment.other and not quantity):
                quantity = "rest"
            self.blanket.append((segment, quantity))
            return
        if quantity == "rest" and (segment.unknown or segment.says("still")):
            self.blanket.append((segment, quantity))
            return
        codes = codes_said(segment)
        if codes and not self._is_remark(segment):
            if quantity:
                self.blanket.append((segment, quantity))
                return
            self.spoiled = True
            self._ask(Doubt.WHICH_STUDENT)
            return
        if segment.says("fixes", "fix") and not self._is_remark(segment):
            self._ask(Doubt.WHICH_STUDENT)
            self.spoiled = True
        elif self._doubt(segment) and self._doubt(segment) is not Doubt.UNCLEAR:
            self.spoiled = True
        elif segment.asked or segment.has("question", "query", "correction") or segment.joined in ("except", "but"):
            self.spoiled = True

    def _is_remark(self, segment: Segment) -> bool:
        """A part named in passing ("the coil is easier to see"): something kind is said of it, nothing bad."""
        if segment.says("faults") and not segment.devices and not segment.says("parts", "bad", "missing"):
            if segment.belonging or (segment.room and not segment.refs):
                return True
        if segment.says("faults", "bad", "dead", "missing"):
            return False
        if segment.arrival:
            return True
        if any(i.role in ("fixes", "fix") and not i.can("benign_fix") for i in segment.said):
            return False
        return segment.benign and all(ref.by_name for ref in segment.refs)

    def _about(self, number: int, segment: Segment) -> None:
        said, student = self.said[number], self.students[number]
        if segment.refs or segment.joined in ("except", "but"):
            said.named = True
        doubt = self._doubt(segment)
        ref = next((r for r in segment.refs if r.number == number), None)
        remark = self._is_remark(segment)
        codes = () if remark else codes_said(segment)
        if remark and not segment.says("good", "fixed", "away"):
            return
        if self._is_cause(segment, said):
            said.fixes += codes
            return
        if codes == ("UNWELL",) and segment.says("away") and not any(d.kind is DeviceKind.COCHLEAR_IMPLANT for d in student.devices):
            codes = ()
        if segment.says("away", "gone") and not codes:
            said.away, said.gone = True, said.gone or segment.says("gone")
            if segment.asked:
                said.away = False
                said.doubts.append(Doubt.UNCLEAR)
            self._because(segment, f"{number} away")
            return
        if segment.says("fixes", "fix", "fixed") or (segment.says("good") and codes and segment.says("fixed")):
            self._remedy(segment, said, codes)
        if codes and (not segment.says("fixes") or segment.says("faults", "bad", "dead")):
            self._fault(number, segment, codes, ref.side if ref else None)
        if segment.says("still"):
            said.still = True
        if segment.says("good", "fixed", "goodrest"):
            self._good(segment, said, student, doubt, ref.sure if ref else True, codes)
        elif not codes and not segment.says("fixes", "fix", "still"):
            if doubt and (segment.says("notok", "notyet", "late") or segment.refs or segment.hazards or segment.nots):
                said.doubts.append(doubt)
            elif segment.refs and any(not r.by_name for r in segment.refs):
                said.doubts.append(Doubt.UNCLEAR)
            elif segment.joined in ("except", "but"):
                said.excepted = True

    def _is_cause(self, segment: Segment, said: Said) -> bool:
        """"It was the battery", after good news: the cause of a trouble that is over."""
        return said.good and segment.says("parts") and segment.has("past") and not segment.says("bad", "faults", "still", "good", "fixes")

    def _remedy(self, segment: Segment, said: Said, codes: tuple[str, ...]) -> None:
        said.fixes += [i.value for i in segment.said if i.role in ("fixes", "fix") and i.value not in ("", "none")]
        if segment.says("fixes") and segment.says("parts"):
            said.fixes += [i.value for i in segment.said if i.role == "parts" and i.value not in said.fixes]
        if segment.says("fixes", "fix") and not said.fixes:
            said.fixes.append("")

    def _good(self, segment: Segment, said: Said, student: AskedStudent, doubt: Doubt | None, sure: bool, codes: tuple[str, ...]) -> None:
        if self.waits and not segment.refs:
            doubt = doubt or Doubt.LATER
        if doubt or not sure:
            said.doubts.append(doubt or Doubt.WHICH_STUDENT)
            return
        if codes and not segment.says("fixed", "fixes"):
            return
        now = segment.says("fixed")
        said.fixed = said.fixed or now
        places = self._places(segment, student)
        if places is None:
            said.good = True
        else:
            said.good_sides |= places
        self._because(segment, f"{student.number} working")

    def _places(self, segment: Segment, student: AskedStudent) -> set[Side] | None:
        """The sides a good word is limited to; None for the whole student."""
        worn = [d for d in student.devices if d.kind is not DeviceKind.REMOTE_MIC]
        sides = set(segment.sides) | {d.side for d in worn if is_named(d, segment.devices, student) and d.side}
        if segment.other:
            sides |= {d.side for d in worn if d.side} - {f.side for f in self.said[student.number].faults if f.side}
        if not sides or {d.side for d in worn} <= sides:
            return None
        return sides

    def _fault(self, number: int, segment: Segment, codes: tuple[str, ...], side: Side | None) -> None:
        said, student = self.said[number], self.students[number]
        if segment.asked and not segment.has("question"):
            said.doubts.append(Doubt.UNCLEAR)
            return
        both = len(segment.refs) <= 1 and (segment.both or any("both" in i.text.split() for i in segment.said))
        if segment.other and not side and not segment.sides:
            self._other_side(segment, student)
        for code in codes:
            found = place(student, code, segment, side, both, self.kinds)
            if not found:
                said.doubts.append(Doubt.NO_SUCH_DEVICE)
            for fault in found:
                _add(said.faults, fault)
        said.missed += [sound for sound in segment.missed if sound not in said.missed]
        if codes == ("OTHER",) and segment.says("dead"):
            self._ask(Doubt.NOT_OK, number)
        self._because(segment, f"{number} {' '.join(codes)}")

    def _other_side(self, segment: Segment, student: AskedStudent) -> None:
        taken = {f.side for f in self.said[student.number].faults} | self.said[student.number].good_sides
        left = [d.side for d in student.devices if d.side and d.side not in taken]
        if len(left) == 1 and taken and left[0]:
            segment.sides.append(left[0])

    # -- all and the rest -----------------------------------------------------------------------------

    def _blankets(self) -> None:
        for segment, quantity in self.blanket:
            named = {n for n, s in self.said.items() if s.named}
            rest = quantity == "rest"
            if rest and not named:
                self._ask(Doubt.WHICH_STUDENT)
                continue
            targets = [n for n in self.said if n not in named] if rest else list(self.said)
            doubt = self._doubt(segment) or (Doubt.LATER if segment.says("still") else None)
            if not doubt and (self.spoiled or self.lost_exception):
                doubt = Doubt.UNCLEAR
            if self.waits and segment.says("good"):
                doubt = doubt or Doubt.LATER
            if not doubt and self._is_partial(segment) and not segment.says("away"):
                doubt = Doubt.WHICH_SIDE
            if not doubt and quantity == "both" and len(self.said) != 2:
                doubt = Doubt.WHICH_STUDENT
            self._spread(segment, targets, doubt, rest)

    def _is_partial(self, segment: Segment) -> bool:
        """Whether a side or device is named that leaves out some device of somebody."""
        if segment.sides:
            return not {Side.LEFT, Side.RIGHT} <= set(segment.sides)
        worn = [(s, d) for s in self.students.values() for d in s.devices if d.side]
        return bool(segment.devices) and not all(is_named(d, segment.devices, s) for s, d in worn)

    def _spread(self, segment: Segment, targets: list[int], doubt: Doubt | None, rest: bool) -> None:
        codes = codes_said(segment)
        troubled = any(self._is_troubled(n, s) for n, s in self.said.items())
        for number in targets:
            said = self.said[number]
            if segment.says("away") and not segment.asked:
                if not said.named:
                    said.away = True
            elif codes and not segment.says("good"):
                self._fault(number, segment, codes, None)
            elif doubt:
                if not said.faults:
                    said.doubts.append(doubt)
            elif said.troubled or self._outcome(number, said):
                continue
            elif troubled and not rest and not self.contrast:
                said.doubts.append(Doubt.UNCLEAR)
            else:
                said.good = True
                said.fixed = said.fixed or segment.says("fixed")
                self._because(segment, f"{number} working")

    def _is_troubled(self, number: int, said: Said) -> bool:
        outcome = self._outcome(number, said)
        return said.troubled and not (outcome and outcome.result is Result.FIXED)

    # -- the end --------------------------------------------------------------------------------------

    def _settle(self, number: int, said: Said) -> None:
        outcome = self._outcome(number, said)
        if outcome:
            self.out.outcomes[number] = outcome
        if said.excepted and not outcome:
            said.doubts.append(Doubt.NOT_OK)
        if said.doubts and (not outcome or outcome.result is Result.FAULT):
            self._ask(said.doubts[0], number)
        elif not outcome and (said.good_sides or said.fixes or said.good):
            self._ask(Doubt.WHICH_SIDE, number)
        if outcome and said.gone:
            self._ask(Doubt.PLEASE_ACT, number)

    def _outcome(self, number: int, said: Said) -> Outcome | None:
        faults = self._story(number, said)
        good = said.good and not said.still
        sided = said.good_sides
        if said.away:
            return Outcome(Result.AWAY) if not (said.faults or said.good or said.doubts) else None
        if faults and (said.fixes or said.fixed) and not said.still and not said.doubts:
            if good or (sided and {f.side for f in faults} <= sided | {None}):
                return Outcome(Result.FIXED, faults)
        if said.faults or (said.fixes and said.still):
            return Outcome(Result.FAULT, self._worst(number, said), tuple(s for s in SIX if s in said.missed) or tuple(said.missed))
        if said.doubts or said.excepted or said.still:
            return None
        if said.fixed and good and not said.fixes:
            if any(p.unknown for p in self.parts):
                return None
            if self._again():
                return Outcome(Result.FIXED)
        if said.fixes and good:
            return Outcome(Result.FIXED)
        if said.fixes:
            return None
        student = self.students[number]
        worn = {d.side for d in student.devices if d.kind is not DeviceKind.REMOTE_MIC}
        return Outcome(Result.WORKING) if good or (sided and worn <= sided) else None

    def _again(self) -> bool:
        return any(
            i.role == "fixed" and not (i.text.endswith("now") or i.text.startswith("now")) for p in self.parts for i in p.said
        )

    def _story(self, number: int, said: Said) -> tuple[Fault, ...]:
        """The faults of a mended story: those named, or else what the remedy was for."""
        vague = all(f.code in ("POWER", "OTHER") for f in said.faults)
        remedies = [code for code in said.fixes if code]
        if said.faults and not (vague and remedies):
            return tuple(said.faults)
        side = said.faults[0].side if said.faults else None
        segment = next((p for p in self.parts if p.says("fixes", "fix")), Segment())
        found: list[Fault] = []
        for code in remedies:
            found += [f for f in place(self.students[number], code, segment, side, segment.both, self.kinds) if f not in found]
        return tuple(found) or tuple(said.faults)

    def _worst(self, number: int, said: Said) -> tuple[Fault, ...]:
        if said.faults:
            codes = {f.code for f in said.faults}
            absorbed = {c for grave, less in _ABSORBS.items() if grave in codes for c in less}
            return tuple(f for f in said.faults if f.code not in absorbed)
        segment = next((p for p in self.parts if p.says("fixes", "fix")), Segment())
        return place(self.students[number], "POWER", segment, None, False, self.kinds) or (Fault("OTHER"),)

    def _ask(self, doubt: Doubt, number: int | None = None) -> None:
        self.out.questions.append(Question(doubt, () if number is None else (number,)))

    def _because(self, segment: Segment, what: str) -> None:
        self.out.because.append(f"{what}: {' '.join(i.text for i in segment.said)}")


__all__ = ["Audience", "Meaning", "corrected", "meaning"]
