"""What a deleted case taught keeps its generation, its complaint and how the fault was confirmed."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

BEFORE = ("setting", "fault")
LABEL = (*BEFORE, "generation", "symptom", "proof")


def upgrade() -> None:
    """Make the new table; of what was counted before, neither lift nor proof is known."""
    columns = [sa.Column(name, sa.String(16 if name == "proof" else 64), primary_key=True) for name in LABEL]
    op.create_table("taught_labels", *columns, sa.Column("cases", sa.Integer, nullable=False))
    op.execute(
        "INSERT INTO taught_labels (setting, fault, generation, symptom, proof, cases) "
        "SELECT setting, fault, '', '', 'mended', cases FROM taught"
    )
    op.drop_table("taught")


def downgrade() -> None:
    """Make the old table again, with the counts of each fault in each setting."""
    columns = [sa.Column(name, sa.String(64), primary_key=True) for name in BEFORE]
    op.create_table("taught", *columns, sa.Column("cases", sa.Integer, nullable=False))
    op.execute(
        "INSERT INTO taught (setting, fault, cases) "
        "SELECT setting, fault, SUM(cases) FROM taught_labels GROUP BY setting, fault"
    )
    op.drop_table("taught_labels")
