"""Links by which a caller sends photos into one case, and nothing else."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "links",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
    )


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("links")
