"""PostgreSQL alone: what several servers share for minutes, and triggers that tell all of them of every change."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"

TOLD = {"hoistlore_cases": ("cases", "looking"), "hoistlore_taught": ("case_labels", "taught_labels")}


def upgrade() -> None:
    """Make them. What a server of the version before writes is told as well, since the database tells it."""
    if op.get_bind().dialect.name != "postgresql":
        return
    op.create_table(
        "shelf",
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), nullable=False),
        sa.Column("until_ms", sa.BigInteger, nullable=False),
        sa.Column("picture", sa.LargeBinary, nullable=False),
        prefixes=["UNLOGGED"],
    )
    op.create_table(
        "rates",
        sa.Column("key", sa.String(64), primary_key=True),
        sa.Column("requests_left", sa.Float, nullable=False),
        sa.Column("counted_ms", sa.BigInteger, nullable=False),
        prefixes=["UNLOGGED"],
    )
    op.execute(
        "CREATE FUNCTION hoistlore_told() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN PERFORM pg_notify(TG_ARGV[0], ''); RETURN NULL; END $$"
    )
    for channel, tables in TOLD.items():
        for table in tables:
            op.execute(
                f"CREATE TRIGGER {table}_told AFTER INSERT OR UPDATE OR DELETE ON {table} "
                f"FOR EACH STATEMENT EXECUTE FUNCTION hoistlore_told('{channel}')"
            )


def downgrade() -> None:
    """Drop them."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute("DROP FUNCTION hoistlore_told() CASCADE")
        op.drop_table("rates")
        op.drop_table("shelf")
