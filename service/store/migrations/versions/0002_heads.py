"""Heads to be kept elsewhere: numbered, each over the streams that have grown since the one before."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

ONLY_ADDED_TO = "the heads can only be added to"


def upgrade() -> None:
    op.add_column("journal_heads", sa.Column("sealed", sa.Integer(), nullable=False, server_default="0"))
    op.create_index(
        "ix_journal_heads_stream",
        "journal_heads",
        ["stream"],
        sqlite_where=sa.text("n <> sealed"),
        postgresql_where=sa.text("n <> sealed"),
    )
    # Nothing has ever been written into the first form of this table.
    op.drop_table("seal_heads")
    op.create_table(
        "seal_heads",
        sa.Column("n", sa.Integer(), nullable=False, autoincrement=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("entries", sa.Integer(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.Column("seal", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("n", name="pk_seal_heads"),
    )
    if op.get_bind().dialect.name == "postgresql":
        guard_on_postgresql()
    else:
        guard_on_sqlite()


def guard_on_sqlite() -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER seal_heads_refuse_{verb.lower()} BEFORE {verb} ON seal_heads "
            f"BEGIN SELECT RAISE(ABORT, '{ONLY_ADDED_TO}'); END"
        )
    op.execute(
        "CREATE TRIGGER seal_heads_refuse_replace BEFORE INSERT ON seal_heads "
        "WHEN EXISTS (SELECT 1 FROM seal_heads WHERE n = NEW.n) "
        "BEGIN SELECT RAISE(ABORT, 'the heads can only be added to'); END"
    )


def guard_on_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION seal_heads_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{ONLY_ADDED_TO}' USING ERRCODE = '23000'; END $$"
    )
    op.execute(
        "CREATE TRIGGER seal_heads_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON seal_heads "
        "FOR EACH STATEMENT EXECUTE FUNCTION seal_heads_refuse()"
    )
