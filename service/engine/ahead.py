"""Reads ahead what some received messages are going to ask for, in a few statements for all of them."""

from collections.abc import Sequence
from datetime import timedelta

from service.engine import trays
from service.engine.context import OPEN_FOR
from service.engine.desk import Moment
from service.engine.loading import load
from service.store import chases, faults, outbox, rounds, statements, tray
from service.store.tables import InboxRow

RECENT = timedelta(days=1)
"""How far back the last message to somebody is looked for at once; who got none since is looked up alone."""


def read_ahead(m: Moment, received: Sequence[InboxRow]) -> None:
    """Read what these messages are likely to be about; what else they ask for is read when they do.

    Where others may be writing, all of it must be locked already.
    """
    people = {row.person for row in received if row.person}
    named = {row.in_reply_to for row in received if row.in_reply_to}
    messages = outbox.read_ahead(m.tx, named, people, m.now - RECENT)
    asked = rounds.read_ahead(m.tx, people, m.now - OPEN_FOR)
    items = [item for message in messages for item in message.body.get("items", ())]
    about = {item["round"] for item in items} | {row.round_id for row in received} | {row.id for row in asked}
    checks = rounds.read_ahead_with_checks(
        m.tx, {id for id in about if id}, {item["check"] for item in items if item["check"]}
    )
    ids = {check.id for check in checks}
    statements.read_ahead(m.tx, ids)
    pointed_at = {item["chase"] for item in items} | {row.body.get("chase") for row in received}
    students = {check.student for check in checks}
    held = chases.read_ahead(m.tx, ids, students, {id for id in pointed_at if id})
    faults.read_ahead(m.tx, students)
    running = [row for row in held if row.ended_at is None]
    tray.read_ahead(m.tx, [row.id for row in running])
    concerned = [person for row in running for person in load(row).involved]
    trays.look_up(m, {*people, *concerned}, [row.id for row in running])
