"""What a coordinator configures, as plain values.

These are the nouns of the whole service. `service.setup` builds them from the configuration folder, the
store keeps the documents they came from, and everything in the core takes them as arguments. All are
frozen; equality is by value; identifiers are the short ids of the configuration (`hollow-road`, `l-teal`).
Times of day are school wall-clock; nothing here is an instant.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from enum import StrEnum
from functools import cached_property

from service.core.supplies.items import Shelf


class Role(StrEnum):
    """What a person is to a school or a student."""

    CHECKER = "checker"
    SECOND = "second"
    COORDINATOR = "coordinator"
    AUDIOLOGIST = "audiologist"
    NURSE = "nurse"
    OFFICE = "front office"
    GUARDIAN = "guardian"
    VISITING = "visiting staff"
    CLINIC = "clinic"


class Severity(StrEnum):
    """How fast a fault must be known; the order of `SEVERITIES` is from mild to grave."""

    WATCH = "watch"
    SAME_DAY = "same_day"
    URGENT = "urgent"
    EMERGENCY = "emergency"


SEVERITIES: tuple[Severity, ...] = tuple(Severity)


class DeviceKind(StrEnum):
    """The kinds of hearing technology a check knows."""

    HEARING_AID = "hearing-aid"
    COCHLEAR_IMPLANT = "cochlear-implant"
    BONE_CONDUCTION = "bone-conduction"
    REMOTE_MIC = "remote-mic"


class Form(StrEnum):
    """What a processor looks like and how it is worn, where one kind comes in several forms."""

    CABLE_AND_COIL = "cable-and-coil"
    SINGLE_UNIT = "single-unit"
    BAND = "band"
    ADHESIVE = "adhesive"
    MAGNET = "magnet"
    ABUTMENT = "abutment"


class Power(StrEnum):
    """What a device runs on: a zinc-air cell of a size, or a battery that is charged."""

    SIZE_10 = "10"
    SIZE_312 = "312"
    SIZE_13 = "13"
    SIZE_675 = "675"
    RECHARGEABLE = "rechargeable"


class Skill(StrEnum):
    """What an adult is trained in: listening with tube or earphones, changing cables and coils, microphone covers,
    adhesives, and clearing an earmould.
    """

    LISTEN = "listen"
    CABLE = "cable"
    COVERS = "covers"
    ADHESIVE = "adhesive"
    EARMOULD = "earmould"


class Side(StrEnum):
    """The side a device is worn on; a classroom microphone has none."""

    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True)
class Span:
    """Dates from `first` to `last`, both included, with what the coordinator called them."""

    first: date
    last: date
    name: str = ""

    def holds(self, day: date) -> bool:
        """Whether `day` lies in the span."""
        return self.first <= day <= self.last


@dataclass(frozen=True)
class Bell:
    """One named period of a bell schedule, in school wall-clock time; `end` may be unknown (a single bell)."""

    name: str
    start: time
    end: time | None = None


@dataclass(frozen=True)
class DayType:
    """A named set of bells (regular, late start, early release). `variants` are lunch, grade or building
    schedules of the same school: variant name to bells; a routine may name one.
    """

    name: str
    bells: tuple[Bell, ...]
    variants: Mapping[str, tuple[Bell, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Rotation:
    """Cycle days: labels that advance on school days only, from the first school day of `start`; a restart
    names the label that a date has. `day_types` maps a label to a day type where the rotation decides it.
    """

    labels: tuple[str, ...]
    start: date
    restarts: Mapping[date, str] = field(default_factory=dict)
    day_types: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class School:
    """A school: zone, dates with school, bells, and who stands at its front desk.

    `week` maps ISO weekday (1 = Monday) to a day type's name; a weekday that is absent has no school.
    `dates` maps a date to a day type and beats the rotation, which beats the week. `delayed_type` is the day
    type that a same-day delay puts in force; without it a delay shifts the bells that are not over yet.
    `groups` are names under which a notice may address several schools.
    """

    id: str
    name: str
    zone: str
    terms: tuple[Span, ...]
    closures: tuple[Span, ...]
    day_types: Mapping[str, DayType]
    week: Mapping[int, str]
    dates: Mapping[date, str] = field(default_factory=dict)
    rotation: Rotation | None = None
    delayed_type: str | None = None
    groups: tuple[str, ...] = ()
    chains: "ChainChoice | None" = None


@dataclass(frozen=True)
class Hours:
    """Working hours: ISO weekday to (from, to), wall-clock of the school concerned. No entry: not at work."""

    days: Mapping[int, tuple[time, time]]


@dataclass(frozen=True, slots=True)
class RoleAt:
    """A role and where it holds: school ids, or an empty tuple for the whole district."""

    role: Role
    schools: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reachable:
    """One way to reach a person: the channel's name and the person's address on it."""

    channel: str
    address: str


@dataclass(frozen=True, slots=True)
class Deputy:
    """Who stands in, and when; without a span, whenever the person is away."""

    person: str
    span: Span | None = None


@dataclass(frozen=True, slots=True)
class Person:
    """An adult of the chain. `channels` in order of preference. `hours` None: reachable at any hour.
    `consent` is the dated consent of a contact outside the district (guardian, clinic).
    """

    id: str
    name: str
    roles: tuple[RoleAt, ...]
    channels: tuple[Reachable, ...]
    hours: Hours | None = None
    away: tuple[Span, ...] = ()
    deputies: tuple[Deputy, ...] = ()
    language: str = "en"
    outside: bool = False
    consent: date | None = None
    left_on: date | None = None

    def has_role(self, role: Role, school: str) -> bool:
        """Whether the person holds `role` at `school` (or district-wide)."""
        return any(r.role is role and (not r.schools or school in r.schools) for r in self.roles)


@dataclass(frozen=True, slots=True)
class Device:
    """A student's device; `side` is None for a classroom microphone. `form` and `power` are None where nobody has
    said.
    """

    kind: DeviceKind
    side: Side | None = None
    form: Form | None = None
    power: Power | None = None


@dataclass(frozen=True, slots=True)
class When:
    """When a routine is due: a wall-clock `at`, or an `offset` from the start (or end) of a named bell.

    `offset` is negative for "before". `variant` names the bell variant the student follows.
    """

    at: time | None = None
    bell: str | None = None
    edge: str = "start"
    offset: timedelta = timedelta()
    variant: str | None = None


@dataclass(frozen=True, slots=True)
class Routine:
    """When a student's check is due and who does it. `weekdays` (ISO) and `cycle_days` restrict the days;
    empty means every school day. `kind` is the kind of check (daily, full, midday, sport).
    """

    id: str
    when: When
    checker: str
    second: str | None = None
    weekdays: tuple[int, ...] = ()
    cycle_days: tuple[str, ...] = ()
    kind: str = "daily"


@dataclass(frozen=True, slots=True)
class Stated:
    """What the audiologist says is usual: `missed` of `checks` of a sound on a side (None: of all of them)."""

    side: Side | None
    sound: str | None
    missed: int
    checks: int


@dataclass(frozen=True, slots=True)
class Student:
    """A child, known by an alias that is unique in the room and is never a legal name.

    `usual` is what the child usually answers to the sounds, from `usual_since` on; without both no change is watched.
    `lights` is what the status lights of this child's devices say, line by line as the audiologist typed it; `wishes`
    what the family wants done at school first (empty: nobody has asked them).
    """

    id: str
    alias: str
    school: str
    room: str
    devices: tuple[Device, ...]
    routines: tuple[Routine, ...]
    guardians: tuple[str, ...] = ()
    chains: "ChainChoice | None" = None
    nicknames: tuple[str, ...] = ()
    usual: tuple[Stated, ...] = ()
    usual_since: date | None = None
    lights: tuple[str, ...] = ()
    wishes: tuple[str, ...] = ()


class ContactKind(StrEnum):
    """How a chain names a contact."""

    CHECKER = "checker"
    SECOND = "second"
    PERSON = "person"
    ROLE = "role"


@dataclass(frozen=True)
class Contact:
    """Whom a step tells: the round's checker or second, a named person, or a role at the student's school
    (guardians are the student's own).
    """

    kind: ContactKind
    person: str | None = None
    role: Role | None = None


@dataclass(frozen=True)
class Limit:
    """The time a contact has before the next step is due: a `span`, or until a named bell's start or end
    with `otherwise` where today has no such bell (C11). Neither: until the end of the day.
    """

    span: timedelta | None = None
    bell: str | None = None
    edge: str = "start"
    otherwise: timedelta = timedelta(minutes=10)


@dataclass(frozen=True)
class Step:
    """One contact of a chain. `channels` narrows the person's own list; `any_hour` reaches them after hours."""

    contact: Contact
    limit: Limit
    channels: tuple[str, ...] = ()
    any_hour: bool = False


@dataclass(frozen=True)
class Chain:
    """The ordered people to tell, with the settings of rules C2–C14 (see DEVELOPERS.md, "The chase").

    `carries_on`: after the day's end an open fault goes on rather than holding until the next school day.
    """

    id: str
    steps: tuple[Step, ...]
    reminders: int = 1
    mine_at_most: timedelta = timedelta(minutes=60)
    carries_on: bool = False


@dataclass(frozen=True)
class ChainChoice:
    """Which chain serves which cause; None leaves the choice to the wider level (student, school, district)."""

    silence: str | None = None
    watch: str | None = None
    same_day: str | None = None
    urgent: str | None = None
    emergency: str | None = None


@dataclass(frozen=True)
class ChannelSetup:
    """A way out (and perhaps in) of the service. `options` are the channel's own settings, already judged by
    `service.setup`; secrets appear only by the names under which the environment holds them.
    """

    name: str
    kind: str
    shared: bool = False
    options: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Heartbeat:
    """A webhook of its own by which a monitor elsewhere is told how the service does, and how often."""

    channel: ChannelSetup
    every: timedelta


@dataclass(frozen=True)
class EmergencyLines:
    """What an adult dials, and writes to, in this district; shown with every caution (C16)."""

    number: str
    text: str
    poison: str | None = None
    names_child: bool = False


@dataclass(frozen=True)
class Settings:
    """District-wide values in brackets in the chase rules; each is local policy.

    `settle_in_days` and `confirm_before` (how long before a term checkers are asked whom they check) are off
    until a coordinator sets them. `keep_for_years` is the retention that districts usually state.
    """

    gather: timedelta = timedelta(minutes=2)
    news_wait: timedelta = timedelta(minutes=30)
    accept_within: timedelta = timedelta(minutes=2)
    undo_within: timedelta = timedelta(minutes=5)
    until_at_least: timedelta = timedelta(minutes=5)
    overnight_lead: timedelta = timedelta(minutes=30)
    last_again: timedelta = timedelta(minutes=30)
    last_again_times: int = 3
    emergency_again: timedelta = timedelta(minutes=5)
    emergency_rest: timedelta = timedelta(hours=1)
    bus_window: timedelta = timedelta(minutes=30)
    restart_grace: timedelta = timedelta(seconds=90)
    try_for: timedelta = timedelta(minutes=10)
    try_for_urgent: timedelta = timedelta(minutes=5)
    settle_in_days: int = 0
    confirm_before: timedelta = timedelta()
    keep_for_years: int = 3


@dataclass(frozen=True)
class FaultText:
    """A district's own fault code, or its own words for a shipped one; None keeps the shipped value."""

    code: str
    words: tuple[str, ...] = ()
    severity: Severity | None = None
    try_for: timedelta | None = None
    label: str | None = None
    remedy: tuple[str, ...] | None = None
    devices: tuple[DeviceKind, ...] | None = None
    never: tuple[str, ...] | None = None


@dataclass(frozen=True)
class District:
    """Everything a coordinator has said, judged and whole."""

    name: str
    schools: Mapping[str, School]
    people: Mapping[str, Person]
    students: Mapping[str, Student]
    chains: Mapping[str, Chain]
    choice: ChainChoice
    channels: Mapping[str, ChannelSetup]
    emergency: EmergencyLines | None
    settings: Settings = field(default_factory=Settings)
    faults: Mapping[str, FaultText] = field(default_factory=dict)
    language: str = "en"
    heartbeat: Heartbeat | None = None
    supplies: Mapping[str, Shelf] = field(default_factory=dict)

    @cached_property
    def students_of(self) -> Mapping[str, tuple[Student, ...]]:
        """The students of each school, in the order of the configuration."""
        grouped: dict[str, list[Student]] = {school: [] for school in self.schools}
        for student in self.students.values():
            grouped.setdefault(student.school, []).append(student)
        return {school: tuple(students) for school, students in grouped.items()}

    def chain_for(self, student: "Student | None", school: str, cause: str) -> Chain | None:
        """The chain for a cause (`silence` or a severity): the student's, else the school's, else the district's;
        None where none is chosen.
        """
        levels = (student.chains if student else None, self.schools[school].chains, self.choice)
        chosen = next((id for c in levels if c is not None and (id := getattr(c, cause))), None)
        return self.chains.get(chosen) if chosen else None

    def coordinators(self, school: str) -> tuple[str, ...]:
        """The ids of those who answer for the plan at a school, in the order of the configuration."""
        return tuple(p.id for p in self.holders(Role.COORDINATOR, school))

    def holders(self, role: Role, school: str) -> tuple[Person, ...]:
        """The people with `role` at `school`, in the order of the configuration."""
        known = self._held.get((role, school))
        if known is None:
            known = tuple(p for p in self._of_role.get(role, ()) if p.has_role(role, school))
            self._held[role, school] = known
        return known

    @cached_property
    def _of_role(self) -> Mapping[Role, Sequence[Person]]:
        found: dict[Role, list[Person]] = {}
        for person in self.people.values():
            for role in dict.fromkeys(r.role for r in person.roles):
                found.setdefault(role, []).append(person)
        return found

    @cached_property
    def _held(self) -> dict[tuple[Role, str], tuple[Person, ...]]:
        """Who holds what where, as far as it was asked: at a bell it is asked for every check."""
        return {}
