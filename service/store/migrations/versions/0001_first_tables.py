"""The first tables.

The journal refuses to be changed from its first row: triggers on both databases reject update and delete.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

ONLY_ADDED_TO = "the journal can only be added to"
CHURNING = ("outbox", "tray", "chases")


def upgrade() -> None:
    create_configuration()
    create_days()
    create_chases()
    create_messages()
    create_record()
    if op.get_bind().dialect.name == "postgresql":
        guard_on_postgresql()
        keep_queues_small()
    else:
        guard_on_sqlite()


def create_configuration() -> None:
    op.create_table(
        "config_entries",
        code("section"),
        code("id"),
        json("body"),
        instant("applied_at"),
        instant("removed_at", nullable=True),
        words("by"),
        sa.PrimaryKeyConstraint("section", "id", name="pk_config_entries"),
    )
    op.create_table(
        "config_versions",
        number("n", autoincrement=False),
        instant("applied_at"),
        words("by"),
        words("digest"),
        sa.PrimaryKeyConstraint("n", name="pk_config_versions"),
    )
    op.create_table(
        "notices",
        code("id"),
        json("body"),
        day("first"),
        day("last"),
        instant("given_at"),
        words("by"),
        instant("withdrawn_at", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_notices"),
    )
    op.create_index("ix_notices_last_first", "notices", ["last", "first"])


def create_days() -> None:
    op.create_table(
        "rounds",
        code("id"),
        code("school"),
        day("date"),
        instant("due"),
        code("checker"),
        words("second", nullable=True),
        words("state"),
        instant("asked_at", nullable=True),
        json("body"),
        sa.PrimaryKeyConstraint("id", name="pk_rounds"),
    )
    op.create_index("ix_rounds_school_date", "rounds", ["school", "date"])
    op.create_index("ix_rounds_state_due_id", "rounds", ["state", "due", "id"])
    op.create_index("ix_rounds_checker_due", "rounds", ["checker", "due"])
    op.create_index("ix_rounds_second_due", "rounds", ["second", "due"])
    op.create_table(
        "checks",
        code("id"),
        code("round_id"),
        code("school"),
        day("date"),
        code("student"),
        words("routine"),
        number("number"),
        words("alias"),
        words("room"),
        words("kind"),
        words("state"),
        words("result", nullable=True),
        instant("result_at", nullable=True),
        words("by", nullable=True),
        json("faults"),
        json("body"),
        sa.PrimaryKeyConstraint("id", name="pk_checks"),
    )
    op.create_index("ix_checks_round_id", "checks", ["round_id"])
    op.create_index("ix_checks_school_date", "checks", ["school", "date"])
    op.create_index("ix_checks_student_date", "checks", ["student", "date"])
    op.create_table(
        "statements",
        number("id"),
        code("check_id"),
        instant("at"),
        code("person"),
        words("inbox_id", nullable=True),
        json("body"),
        instant("retracted_at", nullable=True),
        sa.ForeignKeyConstraint(
            ["check_id"],
            ["checks.id"],
            name="fk_statements_check_id_checks",
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name="pk_statements"),
    )
    op.create_index("ix_statements_check_id", "statements", ["check_id"])
    op.create_index("ix_statements_inbox_id", "statements", ["inbox_id"])


def create_chases() -> None:
    op.create_table(
        "chases",
        code("id"),
        code("check_id", nullable=True),
        code("round_id", nullable=True),
        code("student", nullable=True),
        code("school"),
        day("date"),
        words("why"),
        words("severity", nullable=True),
        words("phase"),
        number("step"),
        instant("wake_at", nullable=True),
        instant("ended_at", nullable=True),
        json("body"),
        sa.PrimaryKeyConstraint("id", name="pk_chases"),
    )
    op.create_index("ix_chases_check_id", "chases", ["check_id"])
    op.create_index(
        "ix_chases_student",
        "chases",
        ["student"],
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_index("ix_chases_school_ended_at", "chases", ["school", "ended_at"])
    op.create_index(
        "ix_chases_wake_at_id",
        "chases",
        ["wake_at", "id"],
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "tray",
        code("key"),
        code("person"),
        code("chase_id"),
        code("check_id", nullable=True),
        number("step"),
        code("purpose"),
        number("generation"),
        words("role"),
        number("urgency"),
        instant("due_at"),
        instant("not_before"),
        json("body"),
        code("outbox_id", nullable=True),
        words("dropped", nullable=True),
        sa.PrimaryKeyConstraint("key", name="pk_tray"),
        sa.UniqueConstraint(
            "chase_id",
            "step",
            "person",
            "purpose",
            "generation",
            name="uq_tray_chase_id_step_person_purpose_generation",
        ),
    )
    op.create_index(
        "ix_tray_not_before",
        "tray",
        ["not_before"],
        sqlite_where=sa.text("outbox_id IS NULL AND dropped IS NULL"),
        postgresql_where=sa.text("outbox_id IS NULL AND dropped IS NULL"),
    )
    op.create_index("ix_tray_person_outbox_id", "tray", ["person", "outbox_id"])
    op.create_table(
        "addressees",
        code("person"),
        instant("last_at", nullable=True),
        number("epoch"),
        sa.PrimaryKeyConstraint("person", name="pk_addressees"),
    )


def create_messages() -> None:
    op.create_table(
        "outbox",
        code("id"),
        code("key"),
        code("person"),
        words("role"),
        words("channel"),
        words("address"),
        words("purpose"),
        words("subject"),
        words("lock_line"),
        words("text"),
        words("thread", nullable=True),
        words("in_reply_to", nullable=True),
        json("body"),
        instant("created_at"),
        instant("next_at"),
        instant("give_up_at", nullable=True),
        words("state"),
        words("owner", nullable=True),
        instant("lease_until", nullable=True),
        number("attempts"),
        instant("accepted_at", nullable=True),
        words("outcome", nullable=True),
        code("after_id", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_outbox"),
        sa.UniqueConstraint("key", name="uq_outbox_key"),
    )
    op.create_index("ix_outbox_state_next_at_id", "outbox", ["state", "next_at", "id"])
    op.create_index("ix_outbox_person_created_at", "outbox", ["person", "created_at"])
    op.create_table(
        "outbox_chases",
        code("outbox_id"),
        code("chase_id"),
        code("check_id", nullable=True),
        sa.ForeignKeyConstraint(
            ["outbox_id"],
            ["outbox.id"],
            name="fk_outbox_chases_outbox_id_outbox",
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("outbox_id", "chase_id", name="pk_outbox_chases"),
    )
    op.create_index("ix_outbox_chases_chase_id", "outbox_chases", ["chase_id"])
    op.create_table(
        "inbox",
        code("id"),
        code("channel"),
        code("external_id"),
        code("person", nullable=True),
        words("address"),
        words("text"),
        instant("received_at"),
        words("in_reply_to", nullable=True),
        flag("proven"),
        flag("truncated"),
        words("state"),
        json("body"),
        code("round_id", nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_inbox"),
        sa.UniqueConstraint("channel", "external_id", name="uq_inbox_channel_external_id"),
    )
    op.create_index("ix_inbox_round_id", "inbox", ["round_id"])
    op.create_index("ix_inbox_state_received_at", "inbox", ["state", "received_at"])
    op.create_index("ix_inbox_person_received_at", "inbox", ["person", "received_at"])


def create_record() -> None:
    op.create_table(
        "journal",
        code("stream"),
        number("n", autoincrement=False),
        instant("at"),
        words("kind"),
        json("cause"),
        words("actor", nullable=True),
        json("body"),
        words("seal"),
        sa.PrimaryKeyConstraint("stream", "n", name="pk_journal"),
    )
    op.create_table(
        "journal_heads",
        code("stream"),
        number("n"),
        words("seal"),
        sa.PrimaryKeyConstraint("stream", name="pk_journal_heads"),
    )
    op.create_table(
        "journal_values",
        code("digest"),
        words("salt"),
        words("value"),
        sa.PrimaryKeyConstraint("digest", name="pk_journal_values"),
    )
    op.create_table(
        "seal_heads",
        day("day"),
        json("body"),
        words("seal"),
        sa.PrimaryKeyConstraint("day", name="pk_seal_heads"),
    )
    op.create_table(
        "service_marks",
        code("key"),
        instant("at", nullable=True),
        json("body"),
        sa.PrimaryKeyConstraint("key", name="pk_service_marks"),
    )


def guard_on_sqlite() -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER journal_refuses_{verb.lower()} BEFORE {verb} ON journal "
            f"BEGIN SELECT RAISE(ABORT, '{ONLY_ADDED_TO}'); END"
        )
    # INSERT OR REPLACE removes the old row without asking the trigger on DELETE.
    op.execute(
        "CREATE TRIGGER journal_refuses_replace BEFORE INSERT ON journal "
        "WHEN EXISTS (SELECT 1 FROM journal WHERE stream = NEW.stream AND n = NEW.n) "
        "BEGIN SELECT RAISE(ABORT, 'the journal can only be added to'); END"
    )


def guard_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION journal_refuses() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{ONLY_ADDED_TO}' USING ERRCODE = '23000'; END $$"
    )
    op.execute(
        "CREATE TRIGGER journal_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON journal "
        "FOR EACH STATEMENT EXECUTE FUNCTION journal_refuses()"
    )


def keep_queues_small() -> None:
    # Dead rows slow down claiming: leave room for updates in place, and vacuum early.
    for table in CHURNING:
        op.execute(f"ALTER TABLE {table} SET (fillfactor = 70, autovacuum_vacuum_scale_factor = 0.02)")


def code(name: str, nullable: bool = False) -> sa.Column:
    return sa.Column(
        name, sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=nullable
    )


def words(name: str, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.String(), nullable=nullable)


def instant(name: str, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def day(name: str) -> sa.Column:
    return sa.Column(name, sa.Date(), nullable=False)


def number(name: str, **more: bool) -> sa.Column:
    return sa.Column(name, sa.Integer(), nullable=False, **more)


def flag(name: str) -> sa.Column:
    return sa.Column(name, sa.Boolean(), nullable=False)


def json(name: str) -> sa.Column:
    return sa.Column(name, sa.JSON(), nullable=False)
