"""Mail that a program sent: never a reply, sometimes news. None of it is answered, so that no two programs can
keep each other busy.

An answer given in somebody's absence tells that they will not answer: their turn passes on at once, today's next
rounds included, until a word of their own comes, and the coordinators hear so. A delivery that failed is a refusal
that came late (C3); where the address itself is dead, nothing more is sent there. It is believed about the address
only where it gives back the reply address that we had put into the very message. All else is put aside for the
coordinator to see.
"""

from collections.abc import Collection, Mapping
from datetime import date
from typing import Any

from service.core.chains import Away, Purpose
from service.core.district import Role
from service.core.mail import Delivery, Kind, Mail
from service.engine import chaser, doors, letters, postman
from service.engine.desk import Moment, stream_of
from service.engine.loading import load
from service.engine.posting import Parcel
from service.engine.roles import home, main_role_at
from service.store import chases, marks, outbox
from service.store.tables import ChaseRow, InboxRow, OutboxRow
from service.wording import compose
from service.wording import letters as wording

ABSENT = "absent/"
"""The marks of people for whom a program has answered."""

_TOO_MUCH = ("5.2.2", "5.2.3", "5.3.4")
"""Full, or too large a message (RFC 3463): the address is alive."""


def facts_of(m: Moment, mail: Mail, kind: Kind) -> dict[str, Any]:
    """What is to be remembered of a report until it is read: which message of ours came back, and whether its address
    is dead.
    """
    if kind is not Kind.FAILED:
        return {}
    row = _returned(m, mail)
    if row is None:
        return {}
    failed = [d for d in mail.deliveries if d.action == "failed"]
    dead = _is_ours(m, row, mail) and _names(row, failed) and any(map(_is_dead, failed))
    return {"returned": row.id, **({"dead": True} if dead else {})}


def _returned(m: Moment, mail: Mail) -> OutboxRow | None:
    ids = [*mail.returned.get("message-id", ()), *(f"<{id}>" for id in mail.answers)]
    own = (id.strip("<> ").partition("@")[0] for id in ids)
    return next((row for id in own if id.startswith(doors.MESSAGE) and (row := outbox.get(m.tx, id))), None)


def _is_ours(m: Moment, row: OutboxRow, mail: Mail) -> bool:
    """Whether the report gives back what only our own message can have held."""
    tag = doors.reply_tag_of(m, row)
    return any(tag in value.lower() for value in mail.returned.get("reply-to", ()))


def _names(row: OutboxRow, failed: Collection[Delivery]) -> bool:
    """Whether the address that failed is the one we wrote to, where that is no secret."""
    address = row.address.casefold()
    return address.startswith("env:") or any(address.endswith(d.recipient) for d in failed if d.recipient)


def _is_dead(delivery: Delivery) -> bool:
    """RFC 3463: permanent, and about the address rather than this message or the rules of their server."""
    permanent = delivery.status.startswith(("5.0", "5.1", "5.2", "5.4"))
    return permanent and delivery.status not in _TOO_MUCH


def is_from_a_program(row: InboxRow) -> bool:
    """Whether a received message is mail that no person sent."""
    return kind(row) not in (None, Kind.HUMAN)


def kind(row: InboxRow) -> Kind | None:
    """What kind of mail a received message is; None where it is no mail."""
    told = _facts(row).get("kind")
    return Kind(told) if told else None


def _facts(row: InboxRow) -> Mapping[str, Any]:
    facts = row.body.get("mail", {})
    return facts if isinstance(facts, Mapping) else {}


def touched(m: Moment, row: InboxRow) -> set[str]:
    """The chases that such a mail may step, to be locked beforehand."""
    if kind(row) is Kind.AWAY and row.person:
        return {chase.id for chase in _turns_of(m, row.person)}
    returned = outbox.get(m.tx, _facts(row).get("returned", ""))
    return set(returned.body.get("chases", ())) if returned else set()


def hear(m: Moment, row: InboxRow) -> list[Parcel]:
    """Let a program's mail have its consequences; the row itself is put aside by the caller. What is to be told of it
    is the caller's to put out.
    """
    found = kind(row)
    if found is Kind.AWAY and row.person in m.district.people:
        _passes_on(m, str(row.person), row.id)
        return _told(m, row, str(row.person))
    if found is Kind.FAILED and (returned := outbox.get(m.tx, _facts(row).get("returned", ""))):
        postman.came_back(m, returned, [returned.id, row.id], gone=bool(_facts(row).get("dead")))
    return []


def _told(m: Moment, row: InboxRow, person: str) -> list[Parcel]:
    """What the coordinators hear of somebody's absence, once a day: a notice is theirs to give."""
    school = home(m, person)
    on = m.today(school)
    return [_parcel(m, row, school, on, id) for id in m.district.coordinators(school) if id != person]


def _parcel(m: Moment, row: InboxRow, school: str, on: date, coordinator: str) -> Parcel:
    reader, person = m.district.people[coordinator], str(row.person)
    with m.read_by(coordinator):
        to = letters.reader_of(m, reader, Role.COORDINATOR)
        at = m.wall(school, row.received_at, on)
        letter = wording.Absent(to, m.school(school).name, main_role_at(m, person, school), at)
    return Parcel(
        key=f"absent/{person}/{on.isoformat()}/{coordinator}",
        person=coordinator,
        role=Role.COORDINATOR.value,
        purpose=Purpose.CHAIN_END,
        written=compose(letter, reader.language),
        cause=(row.id,),
        stream=stream_of(school, on),
    )


def _passes_on(m: Moment, person: str, cause: str) -> None:
    m.remember(ABSENT + person, m.now, {})
    for chase in _turns_of(m, person):
        pass_on(m, chase.id, person, cause)


def pass_on(m: Moment, chase: str, person: str, cause: str) -> None:
    """Whose turn it is will not answer: the next is told at once. An emergency is with everybody anyway."""
    held = chases.lock(m.tx, chase)
    if held is not None and held.ended_at is None and not chaser.is_emergency(held):
        chaser.apply(m, held, Away(person), [cause])


def _turns_of(m: Moment, person: str) -> list[ChaseRow]:
    """The open chases in which it is this person's turn."""
    schools = {s for r in m.district.people[person].roles for s in (r.schools or m.district.schools)}
    running = (row for school in sorted(schools) for row in chases.open_of_school(m.tx, school))
    return [row for row in running if (told := load(row).current) is not None and told.person == person]


def is_back(m: Moment, person: str) -> None:
    """Somebody wrote themselves: they are asked as ever."""
    if person in m.absent:
        marks.drop(m.tx, ABSENT + person)
        m.forget_absent()
