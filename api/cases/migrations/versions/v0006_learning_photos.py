"""Photos that may be learned from, by a consent of its own, under random names; lifts under random names."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

TABLES = ("learning_photos", "learning_origins", "learning_lifts")


def upgrade() -> None:
    """Make the tables. No other table changes: a server of the version before goes on beside this one."""
    op.create_table(
        "learning_photos",
        sa.Column("origin", sa.String(24), primary_key=True),
        sa.Column("photo_id", sa.String(24), sa.ForeignKey("photos.id", ondelete="CASCADE"), unique=True),
        sa.Column("case_id", sa.String(24), nullable=False, index=True),
        sa.Column("owner_hash", sa.String(64), nullable=False, index=True),
        sa.Column("code", sa.String(8), nullable=False),
        sa.Column("agreed_ms", sa.BigInteger, nullable=False),
        sa.Column("sent_by", sa.String(16), nullable=False),
        sa.Column("picture", sa.LargeBinary),
        sa.Column("label", sa.JSON),
    )
    op.create_table(
        "learning_origins",
        sa.Column("origin", sa.String(24), primary_key=True),
        sa.Column("exported_ms", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "learning_lifts",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("lift", sa.String(24), nullable=False),
    )


def downgrade() -> None:
    """Drop them with all that they hold."""
    for table in TABLES:
        op.drop_table(table)
