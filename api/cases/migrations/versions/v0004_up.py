"""Since when somebody is up is a state of the case, so that no list and no limit hides it."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the column, and fill it for the cases whose last word was that somebody is up."""
    op.add_column("cases", sa.Column("up_since_ms", sa.BigInteger))
    op.create_index("cases_up_since_ms", "cases", ["up_since_ms"])
    events = sa.table(
        "events", *(sa.column(c) for c in ("case_id", "version", "at_ms", "kind")), sa.column("said", sa.JSON)
    )
    cases = sa.table("cases", sa.column("id"), sa.column("up_since_ms"))
    said = sa.select(events).where(events.c.kind == "person_in_sling").order_by(events.c.version)
    last = {row.case_id: row for row in op.get_bind().execute(said)}
    for row in last.values():
        if row.said.get("answer") == "yes":
            op.execute(sa.update(cases).where(cases.c.id == row.case_id).values(up_since_ms=row.at_ms))


def downgrade() -> None:
    """Drop it."""
    op.drop_index("cases_up_since_ms", "cases")
    op.drop_column("cases", "up_since_ms")
