"""The configuration folder as somebody edits it while the service runs; every edit leaves it whole."""

from copy import deepcopy
from typing import Any

from tests.simulation.town import Documents


def changed(documents: Documents, what: dict[str, Any]) -> Documents:
    """The documents after an edit."""
    now = deepcopy(documents)
    match what:
        case {"remove": ("students", id)}:
            now["students"].pop(id, None)
        case {"remove": ("people", id)}:
            _without_person(now, id)
        case {"remove": ("schools", id)}:
            _without_school(now, id)
        case {"dates": {"school": school, "day": day, "type": kind}}:
            if school in now["schools"]:
                now["schools"][school].setdefault("dates", []).append({day: kind})
        case {"move": (student, checker)}:
            for routine in now["students"].get(student, {}).get("routines", {}).values():
                if checker in now["people"]:
                    routine["checker"] = checker
    return now


def _without_person(now: Documents, id: str) -> None:
    if now["people"].pop(id, None) is None:
        return
    for person in now["people"].values():
        person["deputies"] = [d for d in person.get("deputies", []) if d != id]
    for student in now["students"].values():
        student["guardians"] = [g for g in student.get("guardians", []) if g != id]
        school = student["school"]
        others = [p for p in (f"{school}-aide", f"{school}-office", "co") if p in now["people"]]
        for routine in student["routines"].values():
            if routine.get("second") == id:
                del routine["second"]
            if routine["checker"] == id:
                routine["checker"] = others[0]
                if routine.get("second") == others[0]:
                    del routine["second"]


def _without_school(now: Documents, id: str) -> None:
    if len(now["schools"]) < 2 or now["schools"].pop(id, None) is None:
        return
    for student in [s for s, held in now["students"].items() if held["school"] == id]:
        del now["students"][student]
    for person in [p for p in now["people"] if p.startswith((f"{id}-", f"g-{id}-"))]:
        del now["people"][person]
