"""An invented district whose seven schools each have a morning of their own kind, and people who act in it.

What people do depends only on what they were sent, so a morning that was broken into must end as one that was not.
There is room for outages: what comes last in a school comes long before the last bell.
"""

import base64
from dataclasses import dataclass
from typing import Any

from tests.engine.engine_morning import DAY

Documents = dict[str, dict[str, dict[str, Any]]]

SECRET = "whsec_" + base64.b64encode(b"t" * 32).decode()
BEGIN, LAST_BELL, END = "07:58", "10:40", "10:46"
ROOMS, CHILDREN = 2, 2

SCHOOLS = {
    "ash": "everybody answers in words",
    "birch": "nobody answers",
    "cedar": "the second checker answers on the page",
    "elm": "a fault, taken in hand, not helped in time, mended late",
    "fir": "everybody answers on the page",
    "hazel": "an urgent fault that stays",
    "larch": "an emergency that everybody answers and nobody ends",
}


@dataclass(frozen=True)
class Act:
    """What somebody does `after` so many seconds of the morning: `words` by chat, or (None) a press on the page."""

    after: float
    words: str | None = None


def acts(person: str, purpose: str, nth: int) -> tuple[Act, ...]:
    """What a person does about the nth message of a purpose that they were sent."""
    school, _, role = person.partition("-")
    kind = "checker" if role.startswith("room") else role.rstrip("0123456789")
    return DEEDS.get((school, kind, purpose, nth), ())


DEEDS: dict[tuple[str, str, str, int], tuple[Act, ...]] = {
    ("ash", "checker", "prompt", 1): (Act(90, "ok"),),
    ("fir", "checker", "prompt", 1): (Act(75),),
    ("cedar", "second", "alert", 1): (Act(60),),
    ("elm", "checker", "prompt", 1): (Act(60, "1 cable, rest ok"),),
    ("elm", "audiologist", "alert", 1): (Act(60, "mine 20"),),
    ("elm", "checker", "answer", 1): (Act(110 * 60, "1 fixed"),),
    ("hazel", "checker", "prompt", 1): (Act(60, "1 sore, rest ok"),),
    ("larch", "checker", "prompt", 1): (Act(60, "1 swallowed a battery"),),
    ("larch", "audiologist", "alert", 1): (Act(90, "mine 5"),),
    ("larch", "coordinator", "alert", 1): (Act(90, "mine 5"),),
    ("larch", "office", "alert", 1): (Act(90, "mine 5"),),
}


Telling = tuple[str, int, str, str]
"""Why the chase runs, the step, who is told (`room0`: the checker), what for."""

_SILENCE: tuple[Telling, ...] = (
    ("silence", 1, "second0", "alert"),
    ("silence", 2, "coordinator", "alert"),
    ("silence", 3, "audiologist", "alert"),
)
_FAULT: tuple[Telling, ...] = (("fault", 0, "audiologist", "alert"), ("fault", 1, "coordinator", "alert"))
_EMERGENCY: tuple[Telling, ...] = tuple(
    ("fault", 0, who, "alert") for who in ("audiologist", "coordinator", "office")
)

ENDS: dict[str, tuple[tuple[str, tuple[Telling, ...]], tuple[str, tuple[Telling, ...]]]] = {
    "ash": (("working", ()), ("working", ())),
    "birch": (("unanswered", _SILENCE), ("unanswered", _SILENCE)),
    "cedar": (("working", _SILENCE[:1]), ("working", _SILENCE[:1])),
    "elm": (("fixed", _FAULT), ("working", ())),
    "fir": (("working", ()), ("working", ())),
    "hazel": (("fault", _FAULT), ("working", ())),
    "larch": (("fault", _EMERGENCY), ("unanswered", _SILENCE)),
}
"""How the checks of a room's two children end, and who must have been told besides the prompt, outage or not."""


def ends() -> tuple[dict[str, str], frozenset[str]]:
    """The result of every check, and the key of every telling that must be."""
    results: dict[str, str] = {}
    told: set[str] = set()
    for school, children in ENDS.items():
        for room in range(ROOMS):
            for child, (result, tellings) in enumerate(children):
                check = f"{school}-room{room}-child{child}-morning-{DAY}"
                results[f"ck-{check}"] = result
                for why, step, who, purpose in (("silence", 0, "room0", "prompt"), *tellings):
                    person = f"{school}-{who.replace('0', str(room))}"
                    told.add(f"ch-{why}-{check}-1/{step}/{person}/{purpose}/1")
    return results, frozenset(told)


def documents() -> Documents:
    """The whole configuration; each instance is told by its own environment where the receiver is."""
    made: Documents = {
        "district": {"district": _district()},
        "settings": {"settings": {"settle in": "0 days", "news wait": "2 min", "restart grace": "30 s"}},
        "channels": {"chat": _chat()},
        "people": {},
        "schools": {},
        "students": {},
        "chains": _chains(),
    }
    for school, about in SCHOOLS.items():
        _add_school(made, school, about)
    return made


def _chat() -> dict[str, Any]:
    return {
        "kind": "webhook",
        "url": {"env": "CHAT_URL"},
        "signing secret": [{"env": "CHAT_SECRET"}],
        "allow": ["127.0.0.1", "10.91.0.1"],
    }


def _add_school(made: Documents, school: str, about: str) -> None:
    made["schools"][school] = _school(about)
    for role in ("coordinator", "audiologist"):
        made["people"][f"{school}-{role}"] = _person(f"{school}-{role}", role, school)
    made["people"][f"{school}-office"] = _person(f"{school}-office", "front office", school)
    for room in range(ROOMS):
        checker, second = f"{school}-room{room}", f"{school}-second{room}"
        made["people"][checker] = _person(checker, "checker", school)
        made["people"][second] = _person(second, "second", school)
        for child in range(CHILDREN):
            made["students"][f"{checker}-child{child}"] = {
                "alias": f"{school.title()}{room}{child}",
                "school": school,
                "room": str(room),
                "devices": ["left cochlear-implant"],
                "routines": {
                    "morning": {
                        "when": {"at": f"08:0{4 + room}"},
                        "checker": checker,
                        "second": second,
                        "kind": "daily",
                    }
                },
            }


def _person(id: str, role: str, school: str) -> dict[str, Any]:
    return {"name": id.replace("-", " ").title(), "roles": [{role: [school]}], "channels": [{"chat": id}]}


def _district() -> dict[str, Any]:
    causes = ("silence", "same day", "urgent", "emergency")
    named = dict(zip(causes, ("silence", "fault", "urgent", "urgent"), strict=True))
    return {"name": "A Made District", "emergency": {"number": "911", "text": "Text 911"}, "chains": named}


def _school(about: str) -> dict[str, Any]:
    bells = [{"First bell": "08:00"}, {"Period 1": "08:15 - 09:00"}, {"Last bell": LAST_BELL}]
    return {
        "name": about.capitalize(),
        "zone": "America/Chicago",
        "terms": [{"Autumn": "2026-08-24 to 2026-12-18"}],
        "day types": {"regular": {"bells": bells}},
        "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), "regular"),
    }


def _chains() -> dict[str, Any]:
    def steps(*told: tuple[str, str]) -> list[dict[str, str]]:
        return [{"tell": who, "limit": limit} for who, limit in told]

    silence = (("checker", "10 min"), ("second", "5 min"), ("coordinator", "10 min"), ("audiologist", "end of day"))
    return {
        "silence": {"steps": steps(*silence)},
        "fault": {"steps": steps(("audiologist", "20 min"), ("coordinator", "end of day"))},
        "urgent": {
            "steps": steps(("audiologist", "5 min"), ("coordinator", "end of day")),
            "after hours": "carry on",
        },
    }
