"""What keeps a child's records from being forgotten: a legal hold, or a request to inspect them that is open."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.engine.desk import Desk
from service.store import marks

FORGETTING = "forgetting"
"""The journal stream of holds and of what was forgotten."""

LEGAL, INSPECTION = "legal hold", "inspection request"


@dataclass(frozen=True)
class Hold:
    """One reason why nothing of a student is forgotten; `why` is LEGAL or INSPECTION."""

    student: str
    why: str
    since: datetime
    by: str
    reason: str


def of(tx: Session, student: str | None = None) -> list[Hold]:
    """What holds a student's records, or anybody's, by student."""
    found = marks.with_prefix(tx, f"hold/{student}/" if student else "hold/")
    return [
        Hold(m.key.split("/")[1], m.body["why"], m.at, m.body["by"], m.body["reason"]) for m in found if m.at
    ]


def hold(desk: Desk, student: str, why: str, reason: str, by: str) -> None:
    """Hold a student's records; a later reason takes the place of an earlier one of the same kind."""
    with desk.moment() as m:
        marks.set(m.tx, _key(student, why), m.now, {"why": why, "by": by, "reason": reason})
        m.note(FORGETTING, "hold", _key(student, why), [], by, words=reason, why=why)


def release(desk: Desk, student: str, why: str, by: str) -> bool:
    """The hold is over, or the request answered; False where there was none."""
    with desk.moment() as m:
        found = marks.drop(m.tx, _key(student, why))
        if found:
            m.note(FORGETTING, "hold", _key(student, why), [], by, why=why, released=True)
        return found


def keys_of(student: str) -> list[str]:
    """Under which keys a student's holds are kept and journalled."""
    return [_key(student, why) for why in (LEGAL, INSPECTION)]


def _key(student: str, why: str) -> str:
    return f"hold/{student}/{why.partition(' ')[0]}"
