"""What a reply says about one student, and the outcome it comes to."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from service.core.district import DeviceKind, Side
from service.core.reading import AskedStudent, Doubt, Fault, HeardOn, Outcome, Result
from service.core.replies.faults import place
from service.core.replies.listening import listened, own_sounds
from service.core.replies.segment import Segment

# A grave fault and the lesser ones that are only signs of it.
_ABSORBS = {
    "KNOCK": ("SOUND", "POWER", "OTHER", "MIC", "MAGNET", "HOOK"),
    "UNWELL": ("SORE", "SOUND", "REFUSED"),
    "SORE": ("REFUSED",),
}

_PUT_RIGHT = "sorted"
# Faults that do not explain that nothing is heard.
_NO_CAUSES = frozenset({"SOUND", "SORE", "LINK", "REFUSED", "UNWELL"})


@dataclass(slots=True)
class Said:
    """All that a reply says about one student."""

    faults: list[Fault] = field(default_factory=list)
    missed: list[str] = field(default_factory=list)
    missed_on: dict[Side | None, list[str]] = field(default_factory=dict)
    all_heard: set[Side | None] = field(default_factory=set)
    noticed: list[str] = field(default_factory=list)
    false: int = 0
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
    vague: set[Fault] = field(default_factory=set)
    dead: bool = False
    past: bool = False

    @property
    def troubled(self) -> bool:
        """Whether anything but good was said."""
        return bool(self.faults or self.away or self.doubts or self.excepted)

    def with_sounds(self, outcome: Outcome, student: AskedStudent) -> Outcome:
        """The outcome, with what was said of the sounds themselves."""
        noticed = tuple(sound for sound in student.sounds if sound in self.noticed)
        sides = [HeardOn(side, noticed=noticed) for side in self.all_heard]
        return listened(outcome, sides, self.missed_on, self.false, student.sounds)

    def add(self, fault: Fault) -> None:
        """Add a fault once; a side said of the same fault completes it."""
        same = [f for f in self.faults if f.code == fault.code]
        if fault in same or (fault.side is None and same):
            return
        vague = Fault(fault.code)
        if vague in self.faults:
            self.faults.remove(vague)
        self.faults.append(fault)


@dataclass(frozen=True, slots=True)
class Ending:
    """Turns what was said of a student into an outcome, knowing the whole reply."""

    parts: list[Segment]
    kinds: Mapping[str, tuple[str, ...]]

    def outcome(self, student: AskedStudent, said: Said) -> Outcome | None:
        """The outcome; None where the reply does not settle the student."""
        faults = self._story(student, said) if said.faults or said.fixes else ()
        if said.away:
            return Outcome(Result.AWAY) if not (said.faults or said.good or said.doubts) else None
        if self._is_mended(said, faults):
            return Outcome(Result.FIXED, faults)
        if said.faults or (said.fixes and said.still):
            return Outcome(Result.FAULT, self._worst(student, said), own_sounds(said.missed, student.sounds))
        if said.doubts or said.excepted or said.still:
            return None
        return self._good(student, said)

    def _is_mended(self, said: Said, faults: tuple[Fault, ...]) -> bool:
        if not (faults and (said.fixes or said.fixed)) or said.still or said.doubts:
            return False
        return said.good or bool(said.good_sides and {f.side for f in faults} <= said.good_sides | {None})

    def _good(self, student: AskedStudent, said: Said) -> Outcome | None:
        if said.fixes:
            return Outcome(Result.FIXED) if said.good else None
        if said.fixed and said.good:
            if any(part.unknown for part in self.parts):
                return None
            if self._again():
                return Outcome(Result.FIXED)
        worn = {d.side for d in student.devices if d.kind is not DeviceKind.REMOTE_MIC}
        whole = said.good or (said.good_sides and worn <= said.good_sides)
        return Outcome(Result.WORKING) if whole else None

    def _again(self) -> bool:
        """Whether a word of mending was said that is more than "ok now"."""
        mended = (i.text for p in self.parts for i in p.said if i.role == "fixed")
        return any((not text.endswith("now") and not text.startswith("now")) or _PUT_RIGHT in text for text in mended)

    def _remedy(self) -> Segment:
        return next((p for p in self.parts if p.says("fixes", "fix")), Segment())

    def _story(self, student: AskedStudent, said: Said) -> tuple[Fault, ...]:
        """The faults of a mended story: those named, or else what the remedy was for."""
        remedies = [code for code in said.fixes if code]
        vague = all(f.code in ("POWER", "OTHER") for f in said.faults)
        if said.faults and not (vague and remedies):
            return tuple(said.faults)
        side = said.faults[0].side if said.faults else None
        remedy = self._remedy()
        both = remedy.both or any("both" in item.text.split() for item in remedy.said)
        found: list[Fault] = []
        for code in remedies:
            found += place(student, code, remedy, side, both, self.kinds)
        return tuple(dict.fromkeys(found)) or tuple(said.faults)

    @staticmethod
    def _merge_vague(said: Said) -> None:
        """A "broken" or "fell out" that a named fault explains is no second fault; its side is that fault's."""
        for vague in [f for f in said.faults if f in said.vague]:
            named = [f for f in said.faults if f.code != "OTHER" and (f.side is None or vague.side in (None, f.side))]
            if named:
                said.faults.remove(vague)
                if named[0].side is None:
                    said.faults[said.faults.index(named[0])] = Fault(named[0].code, vague.side)

    @staticmethod
    def _explained(said: Said, faults: list[Fault]) -> tuple[Fault, ...]:
        """Without a "no sound" that another fault of the same side explains, where no sounds are named."""
        causes = {f.side for f in faults if f.code not in _NO_CAUSES}
        if said.missed:
            return tuple(faults)
        return tuple(f for f in faults if f.code != "SOUND" or not ({f.side, None} & causes or (causes and not f.side)))

    def _worst(self, student: AskedStudent, said: Said) -> tuple[Fault, ...]:
        if said.faults:
            self._merge_vague(said)
            codes = {f.code for f in said.faults}
            absorbed = {c for grave, less in _ABSORBS.items() if grave in codes for c in less}
            return self._explained(said, [f for f in said.faults if f.code not in absorbed])
        said.dead = not any(said.fixes)
        code = "OTHER" if said.dead else "POWER"
        return place(student, code, self._remedy(), None, False, self.kinds) or (Fault("OTHER"),)
