"""What closed cases taught stays when they are deleted; indexes for the audit page and for counting closed cases."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

INDEXES = (("events_kind", "events", "kind"), ("audit_case_id", "audit", "case_id"), ("audit_at_ms", "audit", "at_ms"))


def upgrade() -> None:
    """Make the table and the indexes."""
    op.create_table(
        "taught",
        sa.Column("setting", sa.String(64), primary_key=True),
        sa.Column("fault", sa.String(64), primary_key=True),
        sa.Column("cases", sa.Integer, nullable=False),
    )
    for name, table, column in INDEXES:
        op.create_index(name, table, [column])


def downgrade() -> None:
    """Drop them."""
    for name, table, _column in INDEXES:
        op.drop_index(name, table)
    op.drop_table("taught")
