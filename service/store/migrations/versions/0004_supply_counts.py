"""What was counted on shelves of supplies, beside the counts of the folder."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
    op.create_table(
        "supply_counts",
        sa.Column("id", code, nullable=False),
        sa.Column("shelf", code, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(), nullable=False),
        sa.Column("pieces", sa.JSON(), nullable=False),
        sa.Column("on_order", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_supply_counts"),
    )
    op.create_index("ix_supply_counts_shelf_at", "supply_counts", ["shelf", "at"])
