"""Who looks at a case is told to the others who do."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Make the table; nothing else changes."""
    op.create_table(
        "looking",
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("actor", sa.String(80), primary_key=True),
        sa.Column("seen_ms", sa.BigInteger, nullable=False),
    )


def downgrade() -> None:
    """Drop it."""
    op.drop_table("looking")
