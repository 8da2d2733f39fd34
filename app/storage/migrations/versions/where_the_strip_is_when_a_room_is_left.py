"""Where the strip is when a room is left, and when one had been left behind."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

STATES = "'removed', 'left_with_helper', 'retrieved', 'none_used'"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE exit_item ADD COLUMN strip_state VARCHAR "
        "CONSTRAINT ck_exit_item_strip_state CHECK "
        f"(strip_state IN ({STATES})) "
        "CONSTRAINT ck_exit_item_strip_when CHECK "
        "(strip_state IS NULL OR (item = 'strip' AND "
        "(state = 'not_applicable') = (strip_state = 'none_used')))"
    )
    op.add_column("visit", sa.Column("strip_left_at", sa.DateTime(timezone=True)))


def downgrade() -> None:
    op.drop_column("visit", "strip_left_at")
    op.drop_column("exit_item", "strip_state")
