"""Named users, whose sessions those are, tries to sign in counted for every server; longer actions in the log."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the tables and add to two. A server of the version before goes on beside this one."""
    op.create_table(
        "users",
        sa.Column("id", sa.String(24), primary_key=True),
        sa.Column("name", sa.String(40), nullable=False, unique=True),
        sa.Column("called", sa.String(80), nullable=False, unique=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("password_hash", sa.String(200)),
        sa.Column("issuer", sa.String(300)),
        sa.Column("subject", sa.String(255)),
        sa.Column("made_ms", sa.BigInteger, nullable=False),
        sa.Column("disabled_ms", sa.BigInteger),
        sa.UniqueConstraint("issuer", "subject"),
    )
    op.create_table(
        "sign_in_tries",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("since_ms", sa.BigInteger, nullable=False),
        sa.Column("tries", sa.Integer, nullable=False),
    )
    op.create_table(
        "openid_tries",
        sa.Column("state_hash", sa.String(64), primary_key=True),
        sa.Column("browser_hash", sa.String(64), nullable=False),
        sa.Column("nonce", sa.String(64), nullable=False),
        sa.Column("verifier", sa.String(128), nullable=False),
        sa.Column("goes_to", sa.String(400), nullable=False),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
    )
    op.execute("ALTER TABLE sessions ADD COLUMN user_id VARCHAR(24) REFERENCES users (id) ON DELETE CASCADE")
    if op.get_bind().dialect.name == "postgresql":  # SQLite keeps texts of any length
        op.alter_column("audit", "action", type_=sa.String(80))


def downgrade() -> None:
    """Drop them; whoever is signed in signs in again. SQLite drops no column that refers to a table."""
    for table in ("sessions", "openid_tries", "sign_in_tries", "users"):
        op.drop_table(table)
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(64), primary_key=True),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("actor", sa.String(80), nullable=False),
        sa.Column("form_key", sa.String(48), nullable=False),
        sa.Column("expires_ms", sa.BigInteger, nullable=False),
    )
