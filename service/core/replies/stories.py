"""Stories of a fault: what was done about it, what was well with it, how it came about.

A remedy told in so many words makes a good word after it mean more than "seen": "new coil on, shes hearing",
"cleaned the mould, sounds great". None of the steps hears good news where no remedy or fault was told.
"""

from collections.abc import Callable, Mapping

from service.core.replies.item import Item

_PAUSES = frozenset({"hard", "soft", "query", "and", "but", "except"})
_NAMES = frozenset({"number", "name"})
_TROUBLE = frozenset({"faults", "bad", "dead", "not", "notok", "no", "missed", "still"})
_REMEDIES = frozenset({"fixes", "fix"})

Story = Callable[[list[Item], int], None]


def is_told(found: list[Item]) -> bool:
    """Whether a fault, a part or a remedy is told of at all."""
    return any(item.role in ("faults", "parts", "bad", "dead", "fixes", "fix") for item in found)


def as_filler(item: Item) -> None:
    """Let a word say nothing."""
    item.role, item.value, item.means = "filler", "", {"filler": ""}


def _blow(found: list[Item], at: int) -> None:
    """"Took a dodgeball to the head and hears nothing": a blow in a word for it, and trouble told."""
    if found[at].text not in _STRUCK:
        return
    before = found[max(0, at - _BLOW_REACH) : at]
    begin = max((here + 1 for here, item in enumerate(before) if item.role in ("hard", "query")), default=0)
    struck = any(not _BLOWS.isdisjoint(item.text.split()) for item in before[begin:])
    trouble = any(item.role in _TROUBLE or item.text == "nothing" for item in found)
    if struck and trouble and not any(item.role == "faults" and item.value == "KNOCK" for item in found):
        found[at].role, found[at].value, found[at].means = "faults", "KNOCK", {"faults": "KNOCK"}


_BLOW_REACH = 7
_BLOWS = frozenset(
    {"took", "take", "hit", "banged", "bumped", "knocked", "whacked", "smacked", "struck", "bonked", "thumped"}
    | {"clonked", "conked", "walloped", "clocked", "got", "caught", "copped", "bashed", "kicked", "blow", "hurt"}
)
_STRUCK = frozenset({"head", "temple", "forehead", "skull", "the head", "his head", "her head"})


def _hears(found: list[Item], at: int) -> None:
    """"New coil on, shes hearing": good where a remedy was told and nothing follows in the breath."""
    if found[at].text not in ("hearing", "hears"):
        return
    after = found[at + 1].role if at + 1 < len(found) else "hard"
    remedy = any(item.role in _REMEDIES for item in found[:at])
    whose = at > 0 and found[at - 1].role in ("pronoun", "name", "number", "they", "filler")
    turned = any(item.role in ("not", "no") for item in found[max(0, at - 3) : at])
    if remedy and whose and after in _PAUSES and not turned:
        found[at].role, found[at].means = "good", {"good": ""}


def _sounds_well(found: list[Item], at: int) -> None:
    """"Cleaned the mould, sounds great": of the aid, where one was told of before, and no agreement."""
    if found[at].text.startswith("sound") and is_told(found):
        found[at].role, found[at].means = "good", {"good": ""}


def _fine_itself(found: list[Item], at: int) -> None:
    """"Battery is fine, its the cable": good of a part, where another is the trouble, denies that part's."""
    good = next((here for here in range(at + 1, len(found)) if found[here].role not in ("filler", "pronoun")), at)
    if found[good].role != "good" or good == at:
        return
    after = found[good + 1 :]
    others = any(item.role in ("parts", "faults") and item.value != found[at].value for item in after)
    if others and not any(item.role in _NAMES for item in after):
        found[at].role = "denied"
        found[good].role = "filler"


def _mended(found: list[Item], at: int) -> None:
    """"Fixed 2's battery": the part is what was mended; "did it herself", where nothing was wrong, mends nothing."""
    if found[at].text in _VAGUELY_MENDED and not is_told(found):
        as_filler(found[at])
        return
    for item in found[at + 1 : at + 5]:
        if item.role == "parts":
            item.role, item.means = "fixes", {"fixes": item.value}
            found[at].role = "filler"
            return
        if item.role not in ("filler", "pronoun", "sides", *_NAMES):
            return


_VAGUELY_MENDED = frozenset({"did it", "it worked", "that worked", "came on", "on now", "now on"})


def _taken_out(found: list[Item], at: int) -> None:
    """"Took out the battery and put it back": a part that was taken out, and no child who refuses."""
    after = next((item for item in found[at + 1 : at + 3] if item.role != "filler"), Item(""))
    put_back = any(item.role in ("fixes", "fix", "fixed") for item in found[at + 1 :])
    if found[at].value == "REFUSED" and after.role == "parts" and put_back:
        found[at].role, found[at].value, found[at].means = "fixes", after.value, {"fixes": after.value}


def _done_about_it(found: list[Item], at: int) -> None:
    """"Needed new batteries. Done. Both working": the remedy that was needed was given."""
    needed = any(item.role == "faults" and item.text.startswith("need") for item in found[:at])
    if found[at].text == "done" and needed and any(item.role == "good" for item in found[at + 1 :]):
        found[at].role, found[at].means = "fix", {"fix": ""}


def _repeated(found: list[Item], at: int) -> None:
    """"Ah ee oo m yes, sh s no": sounds that were repeated say nothing by themselves."""
    begin = at
    while begin > 0 and (found[begin - 1].can("sounds") or found[begin - 1].role in ("and", "soft")):
        begin -= 1
    if sum(item.can("sounds") for item in found[begin:at]) > 1:
        for item in found[begin : at + 1]:
            as_filler(item)


def _said_another(found: list[Item], at: int) -> None:
    """"Said s for sh": the sound after "for" was missed."""
    beside = found[max(0, at - 1) : at + 2]
    if found[at].text != "for" or len(beside) != _THREE or not (beside[0].can("sounds") and beside[2].can("sounds")):
        return
    saying = [item for item in found[max(0, at - 4) : at - 1] if not _SAID.isdisjoint(item.text.split())]
    if saying:
        for item in (beside[0], *saying):
            as_filler(item)
        found[at].role, found[at].means = "missed", {"missed": ""}


_THREE = 3
_SAID = frozenset({"said", "says", "say", "heard", "repeated", "hears", "dijo", "dit"})

def _on_another_day(found: list[Item], at: int) -> None:
    """"I changed the batteries yesterday": no story of today."""
    begin, end = at, at + 1
    while begin > 0 and found[begin - 1].role not in _PAUSES:
        begin -= 1
    while end < len(found) and found[end].role not in _PAUSES:
        end += 1
    breath = found[begin:end]
    before = any(not _OTHER_DAYS.isdisjoint(item.text.split()) for item in breath if item.role in ("past", "later"))
    if before and not any(item.role in ("faults", "bad", "dead", "good", "fixed") for item in breath):
        for item in breath:
            if item.role in ("fixes", "fix", "parts", "past", "later", "devices"):
                as_filler(item)


_OTHER_DAYS = frozenset(
    {"yesterday", "monday", "tuesday", "wednesday", "thursday", "friday", "week", "weekend", "night", "day"}
)


def _stopped(found: list[Item], at: int) -> None:
    """"Finally stopped raining", "a much better day": mends nothing."""
    after = found[at + 1] if at + 1 < len(found) else Item("")
    idle = found[at].text == "stopped" and not is_told(found) and after.role in ("filler", "unknown")
    if idle or (found[at].text.endswith("better") and after.text in _BETTER_THINGS):
        as_filler(found[at])


_BETTER_THINGS = frozenset({"day", "than", "morning", "mood", "week", "weather", "time"})


# Which steps look at a word, by its role.
STORIES: Mapping[str, tuple[Story, ...]] = {
    "filler": (_blow, _hears, _said_another), "heard": (_hears,), "body": (_blow,), "within": (_said_another,),
    "ack": (_sounds_well,), "parts": (_fine_itself,), "fixed": (_stopped, _mended), "fixes": (_on_another_day,),
    "faults": (_taken_out,), "thanks": (_done_about_it,), "yes": (_repeated,),
}  # fmt: skip
