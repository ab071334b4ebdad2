"""Whether each chain reaches somebody, within limits that can be kept."""

from dataclasses import dataclass
from datetime import timedelta

from service.core.district import Contact, ContactKind, Role
from service.setup.build_chain import build_contact, build_limit
from service.setup.day_check import Bells, all_bells, bells_of
from service.setup.docs import Documents, View, section, view
from service.setup.judge_people import holds_role
from service.setup.kinds import Path, Reading
from service.setup.problems import suggest
from service.setup.values import write_duration
from service.setup.words import CAUSES, ROLE_WORDS

_NEEDED = ("silence", "same day", "urgent", "emergency")
_NEVER_IN_SILENCE = (Role.GUARDIAN, Role.CLINIC)


@dataclass(frozen=True)
class _Use:
    """A school at which a chain serves a cause, with the students concerned."""

    school: str
    students: tuple[View, ...]


def judge_choices(documents: Documents, to: Reading) -> None:
    """Note causes without a chain, and choices of chains that do not exist."""
    chains = documents.get("chains", {})
    levels: list[tuple[Path, View]] = [
        ((name, id), view(document))
        for name in ("district", "schools", "students")
        for id, document in documents.get(name, {}).items()
    ]
    for path, level in levels:
        for cause, chain in level.view("chains").of.items():
            if chain not in chains:
                wrong = f"there is no chain {chain!r}"
                to.at((*path, "chains", cause), wrong, suggest(str(chain), chains, "chain"))
    district = view(documents.get("district", {}).get("district"))
    chosen = district.view("chains").of
    for cause in _NEEDED if documents.get("district") else ():
        if cause not in chosen and ("district", "district", "chains", cause) not in to.places:
            wrong = f"no chain is chosen for {cause}"
            to.at(("district", "district", "chains"), wrong, f"add {cause}: with a chain's name under chains")


def judge_chains(documents: Documents, to: Reading) -> None:
    """Note steps that tell nobody, limits that cannot be kept, and chains that serve nothing."""
    uses = _uses(documents)
    for id, chain in section(documents, "chains").items():
        path: Path = ("chains", id)
        steps = [view(step) for step in chain.items("steps")]
        if not steps:
            to.at(path, f"the chain {id} tells nobody", "add steps: with at least one contact")
            continue
        for place, step in enumerate(steps):
            _judge_step(step, documents, (*path, "steps", place), to)
            _judge_limit(step, uses.get(id, {}), documents, (*path, "steps", place, "limit"), to)
        _judge_reach(id, steps, uses.get(id, {}), documents, to)
        _judge_silence(steps, uses.get(id, {}), path, to)
        if id not in uses:
            to.at(path, f"the chain {id} serves nothing", "choose it for a cause, or take it out", "warning")


def _uses(documents: Documents) -> dict[str, dict[str, list[_Use]]]:
    """Chain to cause to the schools where it serves it."""
    district = view(documents.get("district", {}).get("district")).view("chains")
    students = list(section(documents, "students").values())
    uses: dict[str, dict[str, list[_Use]]] = {}
    for school, document in section(documents, "schools").items():
        here = [student for student in students if student.text("school") == school]
        for cause in CAUSES:
            usual = document.view("chains").maybe(cause) or district.maybe(cause)
            served: dict[str, list[View]] = {usual: []} if usual else {}
            for student in here:
                chain = student.view("chains").maybe(cause) or usual
                if chain:
                    served.setdefault(chain, []).append(student)
            for chain, concerned in served.items():
                uses.setdefault(chain, {}).setdefault(cause, []).append(_Use(school, tuple(concerned)))
    return uses


def _schools(uses: dict[str, list[_Use]]) -> dict[str, tuple[View, ...]]:
    """School to the students concerned, over all causes."""
    students: dict[str, tuple[View, ...]] = {}
    for use in (use for found in uses.values() for use in found):
        students[use.school] = (*students.get(use.school, ()), *use.students)
    return students


def _judge_step(step: View, documents: Documents, path: Path, to: Reading) -> None:
    channels = documents.get("channels", {})
    for place, channel in enumerate(step.texts("channels")):
        if channel not in channels:
            right = suggest(channel, channels, "channel")
            to.at((*path, "channels", place), f"there is no channel {channel!r}", right)
    people = documents.get("people", {})
    tell = step.maybe("tell")
    if tell is not None and build_contact(tell).kind is ContactKind.PERSON and tell not in people:
        known = [*people, *ROLE_WORDS]
        to.at((*path, "tell"), f"{tell!r} is no person and no role", suggest(tell, known, "person"))


def _judge_limit(
    step: View, uses: dict[str, list[_Use]], documents: Documents, path: Path, to: Reading
) -> None:
    limit = build_limit(step.of.get("limit"))
    schools = section(documents, "schools")
    bells = {id: bells_of(schools[id]) for id in _schools(uses)}
    span = limit.span or (limit.otherwise if limit.bell else None)
    longest = max((_length(day) for types in bells.values() for day in types.values()), default=None)
    if span is not None and longest is not None and span > longest:
        wrong = f"the limit of {write_duration(span)} is longer than the day ({write_duration(longest)})"
        to.at(path, wrong, "write a shorter limit, or end of day")
    if limit.bell is not None:
        for school, types in bells.items():
            _judge_until(limit.bell, limit.edge, school, types, path, to)


def _length(day: Bells) -> timedelta:
    first, last = day.bounds()
    return timedelta(minutes=last - first)


def _judge_until(name: str, edge: str, school: str, types: dict[str, Bells], path: Path, to: Reading) -> None:
    without = [day for day, bells in types.items() if bells.named(name) is None]
    if types and len(without) == len(types):
        known = all_bells(types)
        to.at(path, f"there is no bell {name!r} at {school}", suggest(name, known, "bell"))
    elif without:
        wrong = f"at {school} there is no bell {name!r} on: {', '.join(without)}"
        to.at(path, wrong, "the else limit holds on those days", "warning")
    endless = [day for day, bells in types.items() if (bell := bells.named(name)) and bell.end is None]
    if edge == "end" and endless:
        wrong = f"at {school} nobody says when {name!r} ends on: {', '.join(endless)}"
        to.at(path, wrong, "give it an end, as 08:15 - 09:00, or count from its start")


def _judge_reach(
    id: str, steps: list[View], uses: dict[str, list[_Use]], documents: Documents, to: Reading
) -> None:
    people = section(documents, "people")
    for school, students in _schools(uses).items():
        reached = [_reaches(step, school, students, people) for step in steps]
        if not students and all(_only_for_some(step) for step in steps):
            continue
        if not any(reached):
            wrong = f"nobody can be reached on the chain {id} at {school}"
            to.at(("chains", id), wrong, "add a person with a channel, or give those it names a channel")
            continue
        for place, found in enumerate(reached):
            if not found and not _only_for_some(steps[place]):
                wrong = f"step {place + 1} ({steps[place].text('tell')}) reaches nobody at {school}"
                right = "give somebody the role and a channel, or leave it: the step is passed over"
                to.at(("chains", id, "steps", place), wrong, right, "warning")


def _only_for_some(step: View) -> bool:
    """Whether a step depends on the student, so that a school where it reaches nobody today is nothing wrong."""
    contact = build_contact(step.text("tell"))
    return contact.kind in (ContactKind.CHECKER, ContactKind.SECOND) or contact.role is Role.GUARDIAN


def _reaches(step: View, school: str, students: tuple[View, ...], people: dict[str, View]) -> bool:
    only = step.texts("channels")
    told = _told(build_contact(step.text("tell")), school, students, people)
    return any(
        id in people and any(not only or channel in only for channel, _ in people[id].pairs("channels"))
        for id in told
    )


def _told(contact: Contact, school: str, students: tuple[View, ...], people: dict[str, View]) -> list[str]:
    if contact.kind is ContactKind.PERSON:
        return [str(contact.person)]
    if contact.kind is not ContactKind.ROLE:
        routines = [routine for student in students for routine in student.views("routines").values()]
        return [routine.text(contact.kind.value) for routine in routines]
    if contact.role is Role.GUARDIAN:
        return [guardian for student in students for guardian in student.texts("guardians")]
    return [id for id, person in people.items() if holds_role(person, str(contact.role), school)]


def _judge_silence(steps: list[View], uses: dict[str, list[_Use]], path: Path, to: Reading) -> None:
    if "silence" not in uses:
        return
    if steps[0].text("tell") != ContactKind.CHECKER:
        wrong = "a chain for silence begins with whoever was asked"
        to.at((*path, "steps", 0), wrong, "let the first step tell the checker", "warning")
    for place, step in enumerate(steps):
        if build_contact(step.text("tell")).role in _NEVER_IN_SILENCE:
            wrong = f"{step.text('tell')} would hear of a silence, which says nothing about the child"
            to.at((*path, "steps", place), wrong, "keep silence among staff", "warning")
