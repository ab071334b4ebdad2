"""What people and programs may ask of the engine: the one way in for pages, doors and the command line.

Whatever is heard is stored before it is interpreted (invariant 5); reading it is the engine's next pass, or,
where somebody waits for an answer on a page, done at once.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any

from service.core.notices import Notice, NoticeError, read_notice
from service.core.reading import Outcome, Reading
from service.engine import hearing, notices, planner, standing
from service.engine.answering import Heard
from service.engine.codec import encode
from service.engine.desk import Desk, Moment, stream_of
from service.setup import Change, build, compare
from service.store import configuration, inbox, marks, tray
from service.store.tables import InboxRow

Documents = Mapping[str, Mapping[str, Mapping[str, Any]]]
Through = Callable[["Received"], Heard]
"""What stores a press and applies it."""


@dataclass(frozen=True)
class Received:
    """A message as it came in. `external_id` makes a repeated one the same; `proven`: the sender is certain;
    `round_id` is the round it names, `facts` what else its channel knows of it.
    """

    channel: str
    external_id: str
    address: str
    text: str
    person: str | None = None
    in_reply_to: str | None = None
    proven: bool = False
    truncated: bool = False
    cause: tuple[str, ...] = ()
    round_id: str | None = None
    facts: Mapping[str, object] = field(default_factory=dict)


def receive(desk: Desk, received: Received) -> tuple[str, bool]:
    """Store a message; says its id and whether it was new. Interpreting it is the engine's next pass."""
    return receive_all(desk, [received])[0]


def receive_all(desk: Desk, received: Sequence[Received]) -> list[tuple[str, bool]]:
    """Store several messages in one commit, each as `receive` would; one that comes twice among them is new once."""
    with desk.moment() as m:
        return [(row.id, new) for row, new in store_all(m, received)]


def store_all(m: Moment, received: Sequence[Received]) -> list[tuple[InboxRow, bool]]:
    """Store several messages within a transaction; says what is stored of each and whether it was new."""
    return inbox.take_all(m.tx, [_row(m.now, each, each.person) for each in received])


def press(
    desk: Desk,
    person: str,
    round_id: str | None,
    outcomes: Mapping[int, Outcome],
    press_id: str,
    *,
    pointed: frozenset[int] | None = None,
    reading: Reading | None = None,
    cause: Sequence[str] = (),
    shown: bool = False,
    through: Through | None = None,
) -> Heard:
    """What somebody pressed on a page, stored and applied at once. The same `press_id` twice is one press.

    `round_id` None: about no round. `pointed` empty: one tap on all. `shown`: the page itself says what was
    recorded, so no message does. `through` does the storing and applying, where many press at once.
    """
    pointing = frozenset(outcomes) if pointed is None else pointed
    said = reading or Reading(outcomes=dict(outcomes), pointed=pointing)
    facts = {"reading": encode(said), "shown": shown}
    received = Received("page", press_id, person, "", person, None, True, False, tuple(cause), round_id, facts)
    return (through or partial(_pressed, desk))(received)


def report(
    desk: Desk,
    person: str,
    student: str,
    outcome: Outcome,
    press_id: str,
    *,
    makes_check: bool = False,
    through: Through | None = None,
) -> Heard | None:
    """What somebody says of a student without being asked. With `makes_check` a day without a check of the
    student gets one, for a fault; None where there is no check to speak of. `through`: as for `press`.
    """
    with desk.moment() as m:
        found = standing.reported(m, person, student) if makes_check else standing.todays_check(m, student)
        place = (found.round_id, found.number) if found else None
    if place is None:
        return None
    return press(desk, person, place[0], {place[1]: outcome}, press_id, shown=True, through=through)


def student_back(desk: Desk, person: str, student: str, press_id: str) -> bool:
    """A student who was away is here: asked about at once. False where today has no check of the student."""
    received = Received("page", press_id, person, f"{standing.BACK} {student}", person, proven=True)
    with desk.moment() as m:
        row, new = inbox.take(m.tx, _row(m.now, received, person))
        if not new:
            return True
        inbox.mark(m.tx, row.id, "read", person)
        school = m.district.students[student].school
        m.note(
            stream_of(school, m.today(school)), "reading", f"rg-{row.id}", [], person,
            words=row.text, person=person, round=None, inbox=row.id, **hearing.said_in(Reading()),
        )  # fmt: skip
        return standing.comes_back(m, person, student, [f"rg-{row.id}"])


def act(desk: Desk, person: str, chase_id: str, reading: Reading, press_id: str) -> Heard:
    """What somebody pressed on the board about one chase. The board knows who acts only by their word, so the
    record says "says".
    """
    facts = {"reading": encode(reading), "shown": True, "chase": chase_id, "says": True}
    return _pressed(desk, Received("board", press_id, person, "", person, proven=True, facts=facts))


def _pressed(desk: Desk, received: Received) -> Heard:
    id, new = receive(desk, received)
    return hear(desk, id) if new else Heard()


def hear(desk: Desk, id: str) -> Heard:
    """Apply a stored press now; nothing where the engine's pass was quicker. Waits for who holds what it is about."""
    with desk.moment() as m:
        held = inbox.lock(m.tx, id)
        if held is None or held.state != "unread":
            return Heard()
        return hearing.hear_all(m, [held])[0]


def hear_together(desk: Desk, ids: Sequence[str]) -> list[Heard | None]:
    """Apply stored presses in one transaction. None for those that must be applied by themselves: whoever pressed
    has another among them, or another instance holds something that one of them is about.
    """
    with desk.moment() as m:
        unread = [row for row in inbox.lock_all(m.tx, ids) if row.state == "unread"]
        rows = hearing.one_of_each(unread)
        heard = hearing.hear_free(m, rows)
        known: dict[str, Heard | None] = {row.id: None for row in unread}
        if heard is not None:
            known |= zip((row.id for row in rows), heard, strict=True)
    return [known.get(id, Heard()) for id in ids]


def _row(now: datetime, received: Received, person: str | None) -> InboxRow:
    made = hashlib.sha256(f"{received.channel}/{received.external_id}".encode()).hexdigest()[:12]
    return InboxRow(
        id=f"in-{made}",
        channel=received.channel,
        external_id=received.external_id,
        person=person,
        address=received.address,
        text=received.text,
        received_at=now,
        in_reply_to=received.in_reply_to,
        proven=received.proven,
        truncated=received.truncated,
        body={"cause": list(received.cause), **received.facts},
        round_id=received.round_id,
    )


def give_notice(
    desk: Desk,
    text: str,
    by: str,
    school: str | None = None,
    cause: Sequence[str] = (),
    *,
    says: bool = False,
) -> tuple[Notice, notices.Reach] | NoticeError:
    """Read a notice from one line and give it. `says`: who gives it is known by their word only."""
    with desk.moment() as m:
        read = preview_notice(m, text, by, school)
        if isinstance(read, NoticeError):
            return read
        touched = notices.give(m, read, cause)
        _says(m, read.id, by, says)
        return read, touched


def preview_notice(m: Moment, text: str, by: str, school: str | None = None) -> Notice | NoticeError:
    """What a line would be read as, without giving it."""
    at = school or next(iter(m.district.schools))
    return read_notice(text, m.district, by, m.now, m.today(at), school=school)


def withdraw_notice(
    desk: Desk, id: str, by: str, cause: Sequence[str] = (), *, says: bool = False
) -> notices.Reach | None:
    """Withdraw a notice; None where there is none of that id. `says`: as for `give_notice`."""
    with desk.moment() as m:
        touched = notices.withdraw(m, id, by, cause)
        _says(m, id, by, says and touched is not None)
        return touched


def _says(m: Moment, id: str, by: str, says: bool) -> None:
    """Record that the author of a notice named themselves and was not proven."""
    if says:
        m.note(notices.NOTICES, "author", id, [], by, says=True)


def configure(desk: Desk, documents: Documents, by: str) -> tuple[Change, ...]:
    """Put judged documents into force and plan anew; says what changed. Nothing changed: nothing is done.

    Removed entries stay in the store, marked, so that no history is lost with a student who left.
    """
    digest = configuration.digest_of(documents)
    with desk.moment() as m:
        changes = compare(configuration.current(m.tx), documents)
        if not changes:
            return ()
        build(documents)
        for change in changes:
            if (change.section, change.kind) == ("schools", "removed"):
                planner.wind_up(m, change.id, by)
            elif (change.section, change.kind) == ("students", "removed"):
                planner.let_go(m, change.id, by)
            elif (change.section, change.kind) == ("people", "removed"):
                tray.drop_of_person(m.tx, change.id, "away")
            elif change.section == "people":
                # Whoever mends an entry of the folder means its addresses: they are tried anew.
                marks.drop_under(m.tx, f"gone/{change.id}/")
        for change in changes:
            if change.kind == "removed":
                configuration.remove(m.tx, change.section, change.id, m.now, by)
            else:
                body = dict(documents[change.section][change.id])
                configuration.put(m.tx, change.section, change.id, body, m.now, by)
        n = configuration.bump(m.tx, m.now, by, digest)
        listed = [str(c) for c in changes]
        m.note("configuration", "configuration", digest[:12], [], by, n=n, digest=digest, changes=listed)
    planner.plan_all(desk)
    return changes
