"""The last visit that took place is found by an index, for the table of all patients."""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index(
        "ix_visit_held",
        "visit",
        ["episode_id", "local_date"],
        sqlite_where=sa.text("kind != 'missed'"),
        postgresql_where=sa.text("kind <> 'missed'"),
    )


def downgrade() -> None:
    op.drop_index("ix_visit_held", "visit")
