"""Whether it was said, with a set after a stop, that the person may go on."""

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("activity_set", sa.Column("after_stop", sa.Boolean()))


def downgrade() -> None:
    op.drop_column("activity_set", "after_stop")
