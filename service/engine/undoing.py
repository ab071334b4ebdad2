"""Takes a person's last reply back (C9): as if it had not been said, and everyone who heard of it hears so."""

from collections.abc import Sequence

from service.core.chains import Again, DayOver, Ended, News, Phase, Released, TakenBack, Undone, Why
from service.engine import asking_again, chaser, planner, results, road, trays
from service.engine.answering import Did, Heard
from service.engine.desk import Moment
from service.engine.loading import load
from service.engine.said import Said
from service.store import chases, inbox, rounds, statements
from service.store.tables import ChaseRow, CheckRow, InboxRow
from service.wording import letters as wording


def undo(m: Moment, said: Said, heard: Heard) -> None:
    """Take back the last reply that recorded something, if it is recent enough; an emergency stays."""
    last = last_of(m, said.person, said.inbox)
    if last is None:
        heard.note(wording.Said.NOTHING)
        return
    if m.now - last.received_at > m.district.settings.undo_within:
        heard.note(wording.Said.TOO_LATE)
        return
    if _did(last) is Did.PASSED_ON and not statements.of_message(m.tx, last.id):
        heard.note(wording.Said.ALREADY_TOLD)
        return
    touched = _touched(m, last)
    began = [row for row in touched if row.body.get("began_by") == last.id and row.ended_at is None]
    if any(chaser.is_emergency(row) for row in began):
        heard.note(wording.Said.NOT_CALLED_BACK)
        return
    held = [row for row in began if _is_taken_up(m, row, said)]
    held += [row for row in touched if row.body.get("began_by") == last.id and _was_seen_to(m, row, said)]
    _restore(m, last, touched, began, held, said)
    inbox.take_back(m.tx, last)
    heard.chases.extend(row.id for row in touched)
    heard.note(wording.Said.SEEN if held else wording.Said.UNDONE)


def replace(m: Moment, said: Said, heard: Heard) -> None:
    """The same for words that stand in the place of the last reply; what cannot be taken back is said."""
    undo(m, said, heard)
    undone = wording.Note(wording.Said.UNDONE)
    if undone in heard.notes:
        heard.notes.remove(undone)
        heard.note(wording.Said.REPLACED)


def last_of(m: Moment, person: str, before: str) -> InboxRow | None:
    """The person's last message other than `before` that set something in motion which still stands."""
    rows = inbox.recent_of(m.tx, person, before)
    return next((row for row in rows if row.body.get("did") or statements.of_message(m.tx, row.id)), None)


def _did(row: InboxRow) -> Did | None:
    """What the message set in motion beyond statements."""
    return Did(row.body["did"]["what"]) if row.body.get("did") else None


def touched_by_last(m: Moment, said: Said) -> list[str]:
    """Ids of the chases about what the person said last, which an undo would step."""
    last = last_of(m, said.person, said.inbox)
    return [row.id for row in _chases_of(m, last)] if last else []


def _chases_of(m: Moment, last: InboxRow) -> list[ChaseRow]:
    ids = sorted({s.check_id for s in statements.of_message(m.tx, last.id)})
    named = [row for id in last.body.get("did", {}).get("chases", ()) if (row := chases.get(m.tx, id))]
    found = [row for id in ids for row in chases.of_check(m.tx, id)] + named
    return list({row.id: row for row in found}.values())


def _touched(m: Moment, last: InboxRow) -> list[ChaseRow]:
    found = [chases.lock(m.tx, row.id) for row in _chases_of(m, last)]
    return [row for row in found if row is not None]


def _is_taken_up(m: Moment, row: ChaseRow, said: Said) -> bool:
    """Whether a contact has taken the fault up: then they are told, and it stands."""
    before = load(row)
    after = chaser.apply(m, row, TakenBack(said.person), said.cause, said.person).chase
    return after.is_open and before.is_open


def _was_seen_to(m: Moment, row: ChaseRow, said: Said) -> bool:
    """Whether a contact has already put the fault right or lent a device: then they are told, and it stands."""
    chase = load(row)
    seen_to = chase.end is not None and chase.end.how in (Ended.PUT_RIGHT, Ended.LOANER)
    if chase.end is None or not seen_to or chase.end.by in (None, said.person):
        return False
    news = News(chase.end.by or "", "said to be a mistake", soon=True)
    trays.lay_news(m, chase, news, [chase.id, *said.cause], said.person)
    return True


def _restore(
    m: Moment,
    last: InboxRow,
    touched: Sequence[ChaseRow],
    began: Sequence[ChaseRow],
    held: Sequence[ChaseRow],
    said: Said,
) -> None:
    kept = {row.check_id for row in held}
    _set_back(m, last, touched, said)
    taken = [s for s in statements.of_message(m.tx, last.id) if s.check_id not in kept]
    results.take_back(m, taken, said.cause, said.person)
    ids = sorted({s.check_id for s in taken} | {row.check_id for row in touched if row.check_id} - kept)
    checks = [check for id in ids if (check := rounds.check(m.tx, id))]
    students = {check.student for check in checks} | {row.student for row in touched if row.student}
    road.undo(m, students, last.id, kept, said.person, said.cause)
    for check in checks:
        results.restand(m, check, said.cause, said.person)
    for row in touched:
        ended_here = row.body.get("ended_by") == last.id and row.ended_at is not None
        if ended_here and row not in began and row.check_id not in kept:
            chaser.apply(m, row, Undone(said.person), said.cause, said.person)
    for check in checks:
        _catch_up(m, check, said)


def _set_back(m: Moment, last: InboxRow, touched: Sequence[ChaseRow], said: Said) -> None:
    """Take back what was set in motion without a statement: a promise, a wish to be asked later, "works at home"."""
    did = _did(last)
    meant = [row for row in touched if row.id in last.body.get("did", {}).get("chases", ())]
    for row in meant:
        if did is Did.HELD:
            chaser.apply(m, row, Released(said.person), said.cause, said.person)
        elif did is Did.SAID_WORKING and row.phase == Phase.SAID.value:
            chaser.apply(m, row, Again(said.person), said.cause, said.person)
        elif did is Did.LATER and row.check_id and (check := rounds.check(m.tx, row.check_id)):
            asking_again.put_back(m, check, said.cause)


def _catch_up(m: Moment, check: CheckRow, said: Said) -> None:
    """What happened since the words that are taken back holds for the check as well: a notice, the day's end,
    its bell.
    """
    row = rounds.get(m.tx, check.round_id)
    if check.state != "closed" and planner.is_pointless(m, check):
        planner.end_pointless(m, m.day(check.school, check.date), check, said.cause, None)
    elif m.now >= m.scene(check.school, check.date).last:
        for chase in chaser.open_for(m, check.id):
            chaser.apply(m, chase, DayOver(), said.cause)
        results.close(m, check.id, chaser.silent(m, check.id), said.cause, None, "day over")
    elif check.state != "closed" and row is not None and row.state == "planned":
        results.reopen(m, check, "planned", said.cause)
    elif check.state != "closed" and row is not None and not chaser.open_for(m, check.id, Why.SILENCE):
        asking_again.ask_at(m, check, m.now, row.checker, said.cause)
