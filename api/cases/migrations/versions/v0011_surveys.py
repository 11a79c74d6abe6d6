"""Walks round a pool, and the lifts of each."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

TABLES = ("surveys", "survey_lifts")


def upgrade() -> None:
    """Make the tables. No other table changes: a server of the version before goes on beside this one."""
    op.create_table(
        "surveys",
        sa.Column("id", sa.String(24), primary_key=True),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("learn", sa.Boolean, nullable=False),
        sa.Column("keep", sa.Boolean, nullable=False),
        sa.Column("opened_ms", sa.BigInteger, nullable=False, index=True),
        sa.Column("opened_by", sa.String(80), nullable=False),
    )
    op.create_table(
        "survey_lifts",
        sa.Column("survey_id", sa.String(24), sa.ForeignKey("surveys.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("token", sa.String(32), primary_key=True),
        sa.Column("case_id", sa.String(24), nullable=False, index=True),
        sa.Column("number", sa.String(120), nullable=False),
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("joined", sa.Boolean, nullable=False),
        sa.Column("opened_ms", sa.BigInteger, nullable=False),
        sa.Column("opened_by", sa.String(80), nullable=False),
    )


def downgrade() -> None:
    """Drop them with all that they hold."""
    for table in reversed(TABLES):
        op.drop_table(table)
