"""Rows with all they need, so that a test names only what it is about."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from service.store.tables import ChaseRow, CheckRow, InboxRow, NoticeRow, OutboxRow, RoundRow, TrayRow

DAY = date(2026, 9, 14)
EIGHT = datetime(2026, 9, 14, 12, 0, tzinfo=UTC)


def minutes(n: float) -> datetime:
    """`n` minutes after the morning's beginning."""
    return EIGHT + timedelta(minutes=n)


def made(model: type[Any], defaults: dict[str, Any], more: dict[str, Any]) -> Any:
    return model(**{**defaults, **more})


def a_round(id: str = "round-1", **more: Any) -> RoundRow:
    return made(RoundRow, {"id": id, "school": "elm", "date": DAY, "due": EIGHT, "checker": "l-teal"}, more)


def a_check(id: str = "check-1", **more: Any) -> CheckRow:
    values = {"id": id, "round_id": "round-1", "school": "elm", "date": DAY, "student": "s-1"}
    return made(
        CheckRow,
        values | {"routine": "morning", "number": 1, "alias": "Kite", "room": "12", "kind": "daily"},
        more,
    )


def a_chase(id: str = "chase-1", **more: Any) -> ChaseRow:
    values = {"id": id, "school": "elm", "date": DAY, "why": "silence", "phase": "climbing"}
    return made(ChaseRow, values | {"check_id": "check-1", "wake_at": EIGHT}, more)


def a_tray(key: str = "tray-1", **more: Any) -> TrayRow:
    values = {
        "key": key,
        "person": "l-teal",
        "chase_id": "chase-1",
        "step": 0,
        "purpose": key,
        "role": "checker",
    }
    return made(TrayRow, values | {"urgency": 0, "due_at": EIGHT, "not_before": EIGHT}, more)


def a_message(id: str = "msg-1", **more: Any) -> OutboxRow:
    values = {"id": id, "key": f"key-of-{id}", "person": "l-teal", "role": "checker", "channel": "mail"}
    values |= {
        "address": "teal@hollow.example",
        "purpose": "prompt",
        "subject": "2 checks",
        "lock_line": "by 08:20",
    }
    return made(OutboxRow, values | {"text": "Please check.", "created_at": EIGHT, "next_at": EIGHT}, more)


def a_letter(id: str = "in-1", **more: Any) -> InboxRow:
    values = {"id": id, "channel": "mail", "external_id": id, "address": "teal@hollow.example", "text": "ok"}
    return made(InboxRow, values | {"received_at": EIGHT}, more)


def a_notice(id: str = "n-1", **more: Any) -> NoticeRow:
    values = {
        "id": id,
        "first": DAY,
        "last": DAY,
        "given_at": EIGHT,
        "by": "c-moss",
        "body": {"kind": "closed"},
    }
    return made(NoticeRow, values, more)
