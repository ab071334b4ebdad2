"""What the core wants told is laid into trays here, and waiting things are taken out of them again (C5)."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from service.core.chains import Ask, Chase, News, Purpose, Tell, Withdraw
from service.engine.desk import Moment, stream_of
from service.engine.roles import role_of
from service.store import tray
from service.store.batches import change

AT_ONCE, ORDINARY, SOON, LONG = 0, 1, 2, 3
"""Urgency of what lies in a tray: goes now; waits the gathering window; the same, as news; the news window."""

NO_STEP = -1


def lay(m: Moment, chase: Chase, tell: Tell, cause: Sequence[str]) -> None:
    """Lay a telling of a step into its contact's tray."""
    body = {"channels": list(tell.channels), "late": tell.late}
    urgency = AT_ONCE if tell.at_once else ORDINARY
    _put(m, chase, tell.person, tell.purpose, tell.step, tell.generation, urgency, tell.due, body, cause)


def lay_news(m: Moment, chase: Chase, news: News, cause: Sequence[str], by: str | None) -> None:
    """Lay a piece of news; the same thing may be news to a person more than once."""
    purpose = Purpose.NO_CHECK if news.what == "no check" else Purpose.NEWS
    urgency = AT_ONCE if news.at_once else SOON if news.soon else LONG
    body = {"what": news.what, "by": by}
    _put(
        m,
        chase,
        news.person,
        purpose,
        NO_STEP,
        _next(m, chase, news.person, purpose),
        urgency,
        m.now,
        body,
        cause,
    )


def lay_question(m: Moment, chase: Chase, ask: Ask, cause: Sequence[str]) -> None:
    """Ask about a promise that has passed. A confirmation is asked by whoever hears the reply."""
    if ask.what != "promise":
        return
    generation = _next(m, chase, ask.person, Purpose.QUESTION)
    body = {"what": ask.what}
    _put(m, chase, ask.person, Purpose.QUESTION, NO_STEP, generation, AT_ONCE, m.now, body, cause)


def withdraw(m: Moment, chase: Chase, effect: Withdraw, cause: Sequence[str]) -> None:
    """Take back what still waits for a person about a chase, in the tray or on its way out."""
    for row in tray.waiting_about(m.tx, effect.person, chase.id):
        change(m.tx, row, dropped=effect.reason)
        _withheld(m, chase, row.person, row.purpose, effect.reason, cause)


def look_up(m: Moment, people: Collection[str], chases: Collection[str]) -> None:
    """Read at once what laying something for these people about these chases needs to know."""
    if unknown := [person for person in people if person not in m.last_sent]:
        m.last_sent |= tray.last_sent(m.tx, unknown)
    if unseen := [chase for chase in chases if chase not in m.laid]:
        m.laid |= {chase: set() for chase in unseen} | tray.laid_about(m.tx, unseen)


def _next(m: Moment, chase: Chase, person: str, purpose: Purpose) -> int:
    look_up(m, (), [chase.id])
    return sum(1 for _, who, what, _ in m.laid[chase.id] if (who, what) == (person, purpose.value)) + 1


def _put(
    m: Moment,
    chase: Chase,
    person: str,
    purpose: Purpose,
    step: int,
    generation: int,
    urgency: int,
    due: datetime,
    body: Mapping[str, object],
    cause: Sequence[str],
) -> None:
    if person not in m.district.people:
        _withheld(m, chase, person, purpose.value, "away", cause)
        return
    look_up(m, [person], [chase.id])
    thing = (step, person, purpose.value, generation)
    if thing in m.laid[chase.id]:
        return
    m.laid[chase.id].add(thing)
    not_before = not_before_of(m, m.last_sent[person], urgency, m.now)
    values: dict[str, Any] = {
        "key": f"{chase.id}/{step}/{person}/{purpose.value}/{generation}",
        "person": person,
        "chase_id": chase.id,
        "check_id": chase.check,
        "step": step,
        "purpose": purpose.value,
        "generation": generation,
        "role": role_of(m, chase, person).value,
        "urgency": urgency,
        "due_at": due,
        "not_before": not_before,
        "body": {**body, "laid": m.now.isoformat(), "cause": list(cause)},
    }
    m.fresh.setdefault(person, []).append(tray.Lying(**values))
    tray.put(m.tx, {**values, "outbox_id": None, "dropped": None})
    if not_before > m.now:
        _withheld(m, chase, person, purpose.value, "gathering", cause)


def not_before_of(m: Moment, last: datetime | None, urgency: int, laid: datetime) -> datetime:
    """When a thing laid at `laid` may go: a window after the `last` message to the person, and never later
    than a window after it was laid, so that gathering cannot go on for ever.
    """
    window = _window(m, urgency)
    if last is None or not window:
        return laid
    return max(laid, min(last + window, laid + window))


def _window(m: Moment, urgency: int) -> timedelta:
    settings = m.district.settings
    return {AT_ONCE: timedelta(), LONG: settings.news_wait}.get(urgency, settings.gather)


def _withheld(m: Moment, chase: Chase, person: str, purpose: str, reason: str, cause: Sequence[str]) -> None:
    m.note(
        stream_of(chase.school, chase.date),
        "withheld",
        f"{chase.id}/{person}/{purpose}",
        cause,
        None,
        to=person,
        purpose=purpose,
        chases=[chase.id],
        reason=reason,
    )
