"""The queue is read from columns of the cases, and cases are found by words: at a hundred thousand as at ten."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"

COLUMNS = (
    ("told_version", sa.Integer, "0"),
    ("standing", sa.Integer, "1"),
    ("status", sa.String(24), "open"),
    ("occupied", sa.String(8), "unsure"),
    ("symptom", sa.String(64), ""),
    ("photo_count", sa.Integer, "0"),
    ("taken_up", sa.Boolean, sa.false()),
    ("assignee", sa.String(80), ""),
    ("site", sa.String(120), ""),
    ("asset", sa.String(120), ""),
)
INDEXES = {
    "cases_changed_ms": ("changed_ms",),
    "cases_standing": ("standing", "changed_ms", "id"),
    "cases_status": ("status", "standing", "changed_ms", "id"),
    "cases_assignee": ("assignee", "standing", "changed_ms", "id"),
}
UNTOLD = sa.text("told_version <> version")


def upgrade() -> None:
    """Add them. A server of the version before writes on beside this one: what it wrote is told when it is asked for.

    Every column has a default, so that its rows are whole; what is not told yet is listed as an open case.
    """
    for name, type_, default in COLUMNS:
        op.add_column("cases", sa.Column(name, type_, nullable=False, server_default=default))
    for name, columns in INDEXES.items():
        op.create_index(name, "cases", list(columns))
    op.create_index("cases_untold", "cases", ["id"], sqlite_where=UNTOLD, postgresql_where=UNTOLD)
    word = sa.String(80).with_variant(sa.String(80, collation="C"), "postgresql")
    op.create_table(
        "case_words",
        sa.Column("word", word, primary_key=True),
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
    )
    op.create_index("case_words_case_id", "case_words", ["case_id", "word"])


def downgrade() -> None:
    """Drop them."""
    op.drop_table("case_words")
    for name in ("cases_untold", *INDEXES):
        op.drop_index(name, "cases")
    for name, _type, _default in COLUMNS:
        op.drop_column("cases", name)
