"""Personal values know which entry they belong to, so that they can be found when they are to be forgotten."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # No version before this one has kept a personal value: the columns need no filling.
    for name in ("stream", "about"):
        op.add_column(
            "journal_values",
            sa.Column(
                name,
                sa.String().with_variant(sa.String(collation="C"), "postgresql"),
                nullable=False,
                server_default="",
            ),
        )
        op.create_index(f"ix_journal_values_{name}", "journal_values", [name])
