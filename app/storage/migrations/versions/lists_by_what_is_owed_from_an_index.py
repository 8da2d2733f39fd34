"""Lists by what is owed from an index."""

from alembic import op

revision = "0037"
down_revision = "0036"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index("ix_owed_from", "owed", ["patient_id", "due_on"])


def downgrade() -> None:
    op.drop_index("ix_owed_from", "owed")
