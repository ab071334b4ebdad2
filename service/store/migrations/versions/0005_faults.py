"""Faults on their road, from report to working again. What is open by then joins when it is next reported."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def code() -> sa.types.TypeEngine[str]:
    return sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "faults",
        sa.Column("id", code(), nullable=False),
        sa.Column("student", code(), nullable=False),
        sa.Column("school", code(), nullable=False),
        sa.Column("code", code(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("stage", sa.String(), nullable=False),
        sa.Column("severity", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=True),
        sa.Column("holder", code(), nullable=True),
        sa.Column("promised", sa.Date(), nullable=True),
        sa.Column("lent", code(), nullable=True),
        sa.Column("closed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("wake_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("body", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_faults"),
    )
    op.create_index("ix_faults_student_code", "faults", ["student", "code"])
    op.create_index("ix_faults_school_closed_at", "faults", ["school", "closed_at"])
    op.create_index("ix_faults_date", "faults", ["date"])
    op.create_index(
        "ix_faults_wake_at_id",
        "faults",
        ["wake_at", "id"],
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
