"""Cases, their events and photos, sessions and the audit log."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    _make_cases()
    _make_events()
    _make_photos()
    _make_sessions()
    _make_audit()


def _make_cases() -> None:
    op.create_table(
        "cases",
        sa.Column("id", sa.String(24), primary_key=True),
        sa.Column("code", sa.String(8), nullable=False, unique=True),
        sa.Column("owner_hash", sa.String(64), nullable=False, unique=True),
        sa.Column("language", sa.String(16), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("keep_photos", sa.Boolean, nullable=False),
        sa.Column("opened_ms", sa.BigInteger, nullable=False),
        sa.Column("changed_ms", sa.BigInteger, nullable=False),
    )


def _make_events() -> None:
    op.create_table(
        "events",
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("version", sa.Integer, primary_key=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("actor", sa.String(80), nullable=False),
        sa.Column("kind", sa.String(24), nullable=False),
        sa.Column("said", sa.JSON, nullable=False),
        sa.Column("known", sa.JSON, nullable=False),
    )


def _make_photos() -> None:
    op.create_table(
        "photos",
        sa.Column("id", sa.String(24), primary_key=True),
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), nullable=False, index=True),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("received_ms", sa.BigInteger, nullable=False),
        sa.Column("reading", sa.JSON, nullable=False),
        sa.Column("picture", sa.LargeBinary),
        sa.Column("keep_until_ms", sa.BigInteger),
        sa.UniqueConstraint("case_id", "sha256"),
    )


def _make_sessions() -> None:
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("actor", sa.String(80), nullable=False),
        sa.Column("form_key", sa.String(48), nullable=False),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
    )


def _make_audit() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("at_ms", sa.BigInteger, nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("actor", sa.String(80), nullable=False),
        sa.Column("address", sa.String(64), nullable=False),
        sa.Column("action", sa.String(32), nullable=False),
        sa.Column("case_id", sa.String(24), nullable=False),
    )


def downgrade() -> None:
    """Drop the tables with all that they hold."""
    for table in ("audit", "sessions", "photos", "events", "cases"):
        op.drop_table(table)
