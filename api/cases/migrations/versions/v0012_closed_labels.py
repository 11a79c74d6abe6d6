"""What a closed case teaches is kept beside it, so that a server that starts counts labels and reads no case."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"

LABEL = ("setting", "fault", "generation", "symptom", "proof")
UNJUDGED = sa.text("judged_version <> version AND (status = 'closed' OR judged_version > 0)")


def upgrade() -> None:
    """Add them, empty: servers fill them in while they run, of cases that the version before closes as well."""
    op.add_column("cases", sa.Column("judged_version", sa.Integer, nullable=False, server_default="0"))
    op.create_index("cases_unjudged", "cases", ["id"], sqlite_where=UNJUDGED, postgresql_where=UNJUDGED)
    op.create_table(
        "case_labels",
        sa.Column("case_id", sa.String(24), sa.ForeignKey("cases.id", ondelete="CASCADE"), primary_key=True),
        *(sa.Column(name, sa.String(16 if name == "proof" else 64), nullable=False) for name in LABEL),
    )
    op.create_index("case_labels_label", "case_labels", list(LABEL))


def downgrade() -> None:
    """Drop them."""
    op.drop_table("case_labels")
    op.drop_index("cases_unjudged", "cases")
    op.drop_column("cases", "judged_version")
