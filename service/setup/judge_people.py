"""Whether people can be reached, belong to schools that exist, and have somebody to stand in."""

from collections.abc import Iterator
from datetime import date

from service.setup.build import is_outside
from service.setup.docs import Documents, View, section
from service.setup.judge_channels import judge_open_address
from service.setup.kinds import Path, Reading
from service.setup.problems import UnreadableError, suggest
from service.setup.values import read_span
from service.setup.words import email, web_address

_ALWAYS = {
    "coordinator": "who hears when nobody is left to tell",
    "front office": "which hears of every emergency",
}
_EVER = (date.min, date.max)
_MOST_WAYS = 5000
Window = tuple[date, date]


def judge_people(documents: Documents, to: Reading) -> None:
    """Note names that do not exist, missing consent, addresses that cannot work and circles of deputies."""
    people = section(documents, "people")
    schools = documents.get("schools", {})
    channels = section(documents, "channels")
    for id, person in people.items():
        path: Path = ("people", id)
        _judge_roles(person, path, schools, to)
        _judge_channels(person, path, channels, to)
        _judge_consent(person, path, to)
        _judge_deputies(person, path, people, to)
    _judge_shared_addresses(people, channels, to)
    _judge_cycles(people, to)
    _judge_desks(people, schools, to)


def _judge_desks(people: dict[str, View], schools: object, to: Reading) -> None:
    """Warn of a school without a coordinator, who hears of what nobody settled, or without a front office."""
    for school in schools if isinstance(schools, dict) else ():
        for role, why in _ALWAYS.items():
            if not any(holds_role(person, role, school) for person in people.values()):
                right = f"give somebody the role {role} there, or in the whole district"
                to.at(("schools", school), f"{school} has no {role}, {why}", right, "warning")


def holds_role(person: View, role: str, school: str) -> bool:
    """Whether a person holds a role at a school or in the whole district."""
    return any(r == role and (not isinstance(at, list) or school in at) for r, at in person.pairs("roles"))


def _judge_roles(person: View, path: Path, schools: object, to: Reading) -> None:
    known = list(schools) if isinstance(schools, dict) else []
    for place, (role, at) in enumerate(person.pairs("roles")):
        for school in at if isinstance(at, list) else ():
            if school not in known:
                right = suggest(str(school), known, "school")
                to.at(
                    (*path, "roles", place), f"{path[1]} is {role} at {school!r}, which is no school", right
                )


def _judge_channels(person: View, path: Path, channels: dict[str, View], to: Reading) -> None:
    for place, (name, address) in enumerate(person.pairs("channels")):
        channel = channels.get(name)
        where = (*path, "channels", place)
        if channel is None:
            to.at(where, f"there is no channel {name!r}", suggest(name, channels, "channel"))
        elif isinstance(address, str):
            _judge_address(address, name, channel, where, to)


def _judge_address(address: str, name: str, channel: View, where: Path, to: Reading) -> None:
    if channel.text("kind") == "email":
        try:
            email(address)
        except UnreadableError as error:
            to.at(where, error.wrong, error.right)
    elif "://" in address:
        _judge_web_address(address, channel, where, to)
    elif channel.text("kind") == "webhook" and not channel.has("url"):
        to.at(
            where,
            f"{address!r} is no web address, and the channel {name} has no url to put it in",
            "write {env: NAME} with the name of the address, or give the channel a url",
        )


def _judge_web_address(address: str, channel: View, where: Path, to: Reading) -> None:
    try:
        web_address(address)
    except UnreadableError as error:
        to.at(where, error.wrong, error.right)
    else:
        judge_open_address(address, channel, where, to)


def _judge_consent(person: View, path: Path, to: Reading) -> None:
    unread = (*path, "consent") in to.places
    if is_outside(person) and person.items("channels") and not person.has("consent") and not unread:
        to.at(
            path,
            f"{path[1]} is outside the district and has no date of consent",
            "add consent: with the date on which they agreed to get messages, or take their channels out",
        )


def _judge_deputies(person: View, path: Path, people: dict[str, View], to: Reading) -> None:
    for place, (deputy, _) in enumerate(person.pairs("deputies")):
        if deputy not in people:
            to.at(
                (*path, "deputies", place),
                f"there is no person {deputy!r}",
                suggest(deputy, people, "person"),
            )


def _judge_shared_addresses(people: dict[str, View], channels: dict[str, View], to: Reading) -> None:
    owners: dict[tuple[str, str], str] = {}
    for id, person in people.items():
        for place, (name, address) in enumerate(person.pairs("channels")):
            if name not in channels or channels[name].flag("shared"):
                continue
            owner = owners.setdefault((name, str(address).casefold()), id)
            if owner != id:
                wrong = f"{id} has the same address on {name} as {owner}, so an answer could be from either"
                to.at(
                    ("people", id, "channels", place), wrong, "give each an address of their own", "warning"
                )


def _judge_cycles(people: dict[str, View], to: Reading) -> None:
    reported: set[frozenset[str]] = set()
    for id in people:
        for circle in _circles(id, people):
            if frozenset(circle) not in reported:
                reported.add(frozenset(circle))
                shown = " → ".join((*circle, id))
                wrong = f"the deputies go round in a circle: {shown}"
                to.at(
                    ("people", id, "deputies"),
                    wrong,
                    "let one of them name somebody else, or set dates apart",
                )


def _circles(start: str, people: dict[str, View]) -> Iterator[tuple[str, ...]]:
    """Ways from `start` back to itself at one time; only ways through later ids, so that each circle comes once."""
    waiting: list[tuple[tuple[str, ...], Window]] = [((start,), _EVER)]
    for _ in range(_MOST_WAYS):
        if not waiting:
            return
        way, window = waiting.pop()
        for deputy, shared in _deputies(people[way[-1]], window):
            if deputy == start:
                yield way
                return
            if deputy in people and deputy not in way and deputy > start:
                waiting.append(((*way, deputy), shared))


def _deputies(person: View, window: Window) -> Iterator[tuple[str, Window]]:
    for deputy, dates in person.pairs("deputies"):
        first, last = _EVER if dates is None else read_span(str(dates))
        shared = (max(first, window[0]), min(last, window[1]))
        if shared[0] <= shared[1]:
            yield deputy, shared
