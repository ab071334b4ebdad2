"""Words to the service rather than about a student: help, who, undo, wait, not me, mine, cannot, working, loaner."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from service.core.reading import Aside, Asked, Audience, Command
from service.core.replies.item import Item
from service.core.replies.numbers import Counted

_NO_LOANER_YET = frozenset({"not", "no", "query", "question", "later", "hedge", "please", "notyet"})
_BESIDE = frozenset({"number", "name", "soft", "hard", "filler", "sides"})
_AROUND = frozenset({"hard", "soft", "query", "filler", "thanks", "greeting"})
_NO_REFUSAL = frozenset({"good", "fixed", "faults", "later", "past", "notyet"})
_UNTIL = frozenset({"until", "till", "til", "before", "hasta", "avant"})
_ENDS = frozenset({"hard", "soft", "query", "but", "thanks", "excuse"})
_WH = frozenset({"what", "whats", "which", "where", "wheres", "que", "cual", "donde", "quel", "quelle", "ou"})
_PAUSES = frozenset({"hard", "soft"})
_TILL = frozenset({"till", "until", "til", "while", "for now", "for the moment", "hasta", "jusqua"})
_OF_TODAY = frozenset(
    {"lunch", "lunchtime", "recess", "break", "noon", "morning", "period", "class", "lesson", "assembly", "midday"}
    | {"recreo", "almuerzo", "midi", "recre"}
)
_SAYING = frozenset({"good", "fixed", "faults", "parts", "away", "bad", "dead", "notok", "missed", "goodrest"})


def wants_time(read: list[Item], counted: Counted) -> bool:
    """Whether the reply asks to wait, so that an "ok" in it may only be an answer to us."""
    return counted.minutes is not None or any(item.role == "wait" for item in read)


@dataclass(frozen=True)
class Talk:
    """A command with its minutes, or an aside; `putting_off` means that a wish to wait named no time."""

    command: Command | None = None
    minutes: int | None = None
    aside: Aside | None = None
    please: bool = False


def talk(read: list[Item], counted: Counted, asked: Asked) -> Talk:
    """What the reply asks of the service."""
    roles = {item.role for item in read}
    aside = _aside(read, roles)
    please = "please" in roles
    if "undo" in roles or _takes_back(read):
        return Talk(Command.UNDO, aside=aside)
    if _asks_who(read):
        return Talk(Command.WHO)
    if asked.audience is Audience.CONTACT:
        return _contact(read, roles, counted, aside, please)
    if "help" in roles or _asks_about_a_part(read, roles):
        return Talk(Command.HELP, aside=aside)
    if "notme" in roles:
        return Talk(Command.NOT_ME, aside=aside)
    said = roles & _SAYING - {"good"}
    if counted.minutes and not _put_off_only(roles):
        return Talk(Command.WAIT, counted.minutes, aside, please)
    if counted.clock and not said and not roles & {"good", "number", "name", "question"}:
        return Talk(Command.WAIT, None, aside, please)
    if "wait" in roles and not said:
        return Talk(Command.WAIT, None, aside, please)
    return Talk(aside=aside, please=please)


def words_behind(command: Command, read: list[Item]) -> str:
    """The words of the reply that led to `command`, in the order in which they were typed."""
    means, roles = _LED_BY[command]
    return " ".join(item.text for item in read if item.role in roles or any(item.can(kind) for kind in means))


_TIMES = frozenset({"minutes", "clock", "durations"})
_NO_ROLE = frozenset[str]()
# Which meanings and which roles lead to a command.
_LED_BY: Mapping[Command, tuple[tuple[str, ...], frozenset[str]]] = {
    Command.HELP: (("help",), frozenset({"question"})),
    Command.UNDO: (("undo",), _NO_ROLE),
    Command.WAIT: ((), _TIMES | {"wait", "excuse"}),
    Command.NOT_ME: ((), frozenset({"notme"})),
    Command.MINE: (("mine",), _TIMES),
    Command.WORKING: ((), frozenset({"good", "fixed", "fixes", "fix"})),
    Command.LOANER: (("loaner",), _NO_ROLE),
    Command.CANNOT: (("cannot",), _NO_ROLE),
    Command.WHO: (("who",), _NO_ROLE),
}


def _takes_back(read: list[Item]) -> bool:
    """"Scratch that" with nothing put in its place."""
    said = [item for item in read if item.role not in ("filler", "soft", "hard", "thanks")]
    return bool(said) and all(item.can("undo") for item in said)


def _asks_who(read: list[Item]) -> bool:
    """"Who", "who is told next?": nothing else is said."""
    said = [item for item in read if item.role not in _AROUND]
    return bool(said) and all(item.can("who") for item in said)


def _declines(read: list[Item], counted: Counted) -> bool:
    """"Can't come": a bare "can't" only where its breath ends, and no time after which one could."""
    put_off = any(_UNTIL.intersection(item.text.split()) for item in read)
    if counted.minutes or counted.clock or put_off or any(item.role in _NO_REFUSAL for item in read):
        return False
    found = pairwise([*read, Item("hard")])
    return any(item.can("cannot") and (" " in item.text or after.role in _ENDS) for item, after in found)


def _asks_about_a_part(read: list[Item], roles: set[str]) -> bool:
    """"What is the coil", "where do the spare batteries live": a question about a part of nobody's."""
    asks = bool(read) and read[0].role == "question" and read[0].text in _WH
    return asks and bool(roles & {"parts", "denied"}) and not roles & {"name", "number", "good", "all", "rest"}


def _put_off_only(roles: set[str]) -> bool:
    return bool(roles & {"late"}) and "wait" not in roles


def _contact(read: list[Item], roles: set[str], counted: Counted, aside: Aside | None, please: bool) -> Talk:
    if "notme" in roles and not _promises(read):
        return Talk(Command.NOT_ME, aside=aside)
    if _declines(read, counted) and not _promises(read):
        return Talk(Command.CANNOT, aside=aside, please=please)
    if _promises(read) and not (roles & {"fixed"}):
        put_off = any(item.role == "later" and not item.can("mine") and not _is_today(item) for item in read)
        if not put_off or counted.minutes:
            return Talk(Command.MINE, counted.minutes, aside, please)
    if "loaner" in roles and not {item.role for item in _until(read)} & _NO_LOANER_YET:
        return Talk(Command.LOANER, aside=aside, please=please)
    if "help" in roles:
        return Talk(Command.HELP, aside=aside)
    if counted.minutes:
        return Talk(Command.MINE, counted.minutes, aside, please)
    return Talk(aside=aside, please=please)


def _until(read: list[Item]) -> list[Item]:
    """What is said before "till his comes back" and the next pause: how long a loaner stays is no doubt of it."""
    fitted = next((at for at, item in enumerate(read) if item.role == "loaner"), len(read))
    ends = (at for at, item in enumerate(read) if at > fitted and (item.text in _TILL or item.role in _PAUSES))
    return [*read[: next(ends, len(read))], *(item for item in read if item.role in ("query", "please"))]


def _is_today(item: Item) -> bool:
    """Whether a time put off to is one of this school day."""
    return not _OF_TODAY.isdisjoint(item.text.split())


def _promises(read: list[Item]) -> bool:
    for at, item in enumerate(read):
        if item.can("mine") and not any(before.can("not") for before in read[max(0, at - 2) : at]):
            return True
    return False


def _aside(read: list[Item], roles: set[str]) -> Aside | None:
    if any(item.can("medical") for item in read):
        return Aside.MEDICAL_HELP
    if any(item.can("found") for item in read) and not roles & {"not", "no", "notyet"}:
        return Aside.FOUND
    rest = roles - _BESIDE
    # "Si" says both yes and if; an if needs words after it.
    if rest and all(item.can("yes") for item in read if item.role not in _BESIDE):
        return Aside.YES
    if rest == {"no"}:
        return Aside.NO
    return None
