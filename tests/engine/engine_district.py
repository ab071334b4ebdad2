"""A made district of any size: schools with rooms of children, one coordinator and one audiologist for all."""

from typing import Any

Documents = dict[str, dict[str, dict[str, Any]]]

LAST_BELL = "09:50"


def district(schools: int = 1, rooms: int = 1, children: int = 3, **settings: str) -> Documents:
    """Every room has a checker and its children a round at 08:05; each school a second checker and an office."""
    documents: Documents = {
        "district": {"district": _district()},
        "settings": {"settings": {"settle in": "0 days", "news wait": "2 min", **settings}},
        "channels": {
            "chat": {
                "kind": "webhook",
                "url": "https://chat.example/hook",
                "signing secret": [{"env": "CHAT"}],
            }
        },
        "people": {
            "C": _person("coordinator"),
            "A": _person("audiologist"),
        },
        "schools": {},
        "students": {},
        "chains": _chains(),
    }
    for s in range(schools):
        _add_school(documents, f"school{s:03}", rooms, children)
    return documents


def _add_school(documents: Documents, school: str, rooms: int, children: int) -> None:
    documents["schools"][school] = _school()
    documents["people"][f"{school}-second"] = _person({"second": [school]})
    documents["people"][f"{school}-office"] = _person({"front office": [school]})
    for r in range(rooms):
        checker = f"{school}-room{r}"
        documents["people"][checker] = _person({"checker": [school]})
        for c in range(children):
            documents["students"][f"{checker}-child{c}"] = _student(school, checker, r, c)


def _district() -> dict[str, Any]:
    named = {"silence": "silence", "same day": "fault", "urgent": "urgent", "emergency": "urgent"}
    return {"name": "A Made District", "emergency": {"number": "911", "text": "Text 911"}, "chains": named}


def _person(role: str | dict[str, list[str]]) -> dict[str, Any]:
    return {"name": "Somebody", "roles": [role], "channels": [{"chat": "a-room"}]}


def _school() -> dict[str, Any]:
    bells = [
        {"First bell": "08:00"},
        {"Period 1": "08:15 - 09:00"},
        {"Last bell": LAST_BELL},
    ]
    return {
        "name": "A School",
        "zone": "America/Chicago",
        "terms": [{"Autumn": "2026-08-24 to 2026-12-18"}],
        "day types": {"regular": {"bells": bells}},
        "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), "regular"),
    }


def _student(school: str, checker: str, room: int, number: int) -> dict[str, Any]:
    routine = {
        "when": {"at": "08:05"}, "checker": checker, "second": f"{school}-second", "kind": "daily"
    }  # fmt: skip
    return {
        "alias": f"Tree{room}{number}",
        "school": school,
        "room": str(room),
        "devices": ["left cochlear-implant"],
        "routines": {"morning": routine},
    }


def _chains() -> dict[str, Any]:
    def steps(*told: tuple[str, str]) -> list[dict[str, str]]:
        return [{"tell": who, "limit": limit} for who, limit in told]

    return {
        "silence": {
            "steps": steps(("checker", "10 min"), ("second", "5 min"), ("C", "10 min"), ("A", "end of day"))
        },
        "fault": {"steps": steps(("A", "20 min"), ("C", "end of day"))},
        "urgent": {"steps": steps(("A", "5 min"), ("C", "end of day")), "after hours": "carry on"},
    }
