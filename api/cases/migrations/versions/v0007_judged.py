"""How right answers were in closed cases, what is held back because of it, and the reasons in the audit log."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

OPEN = sa.text("until_ms IS NULL")


def upgrade() -> None:
    """Make the tables, and the column for reasons."""
    _judged()
    op.create_table(
        "held_back",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("component", sa.String(16), nullable=False),
        sa.Column("since_ms", sa.BigInteger, nullable=False),
        sa.Column("answers", sa.Integer, nullable=False),
        sa.Column("wrong", sa.Integer, nullable=False),
        sa.Column("until_ms", sa.BigInteger),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("actor", sa.String(80), nullable=False),
        sa.Column("reason", sa.String(400), nullable=False),
    )
    op.create_index("held_back_once", "held_back", ["component"], unique=True, sqlite_where=OPEN, postgresql_where=OPEN)
    op.add_column("audit", sa.Column("reason", sa.String(400), nullable=False, server_default=""))


def downgrade() -> None:
    """Drop them."""
    op.drop_column("audit", "reason")
    for table in ("held_back", "judged_answers", "judged_cases"):
        op.drop_table(table)


def _judged() -> None:
    op.create_table(
        "judged_cases",
        sa.Column("case_id", sa.String(24), primary_key=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("closed_ms", sa.BigInteger, nullable=False),
        sa.Column("checked_ms", sa.BigInteger, nullable=False),
        sa.Column("photos", sa.Integer, nullable=False),
        sa.Column("nothing_found", sa.Boolean, nullable=False),
        sa.Column("days", sa.Integer, nullable=False),
        sa.Column("ordered", sa.Integer, nullable=False),
        sa.Column("returned", sa.Integer, nullable=False),
    )
    op.create_index("judged_cases_checked_ms", "judged_cases", ["checked_ms"])
    op.create_table(
        "judged_answers",
        sa.Column(
            "case_id", sa.String(24), sa.ForeignKey("judged_cases.case_id", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column("about", sa.String(24), primary_key=True),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("value", sa.String(64), nullable=False),
        sa.Column("probability", sa.Float),
        sa.Column("truth", sa.String(64), nullable=False),
        sa.Column("is_right", sa.Boolean),
        sa.Column("photo_id", sa.String(24), nullable=False),
    )
