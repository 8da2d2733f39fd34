"""A week's visits and each test's newest scores are counted from indexes alone."""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0035"
down_revision = "0034"
branch_labels = None
depends_on = None

NEWEST: dict[str, Any] = {
    "sqlite_where": sa.text("newest = 1"),
    "postgresql_where": sa.text("newest"),
}
BY_TEST = ["measure", "outcome", "change_verdict", "again"]
NOT_AS_PLANNED = sa.text("kind = 'missed' OR left_without <> ''")


def upgrade() -> None:
    op.drop_index("ix_visit_local_date", "visit")
    op.create_index("ix_visit_local_date", "visit", ["local_date", "episode_id"])
    op.create_index(
        "ix_visit_not_as_planned",
        "visit",
        ["local_date", "kind", "missed_reason", "left_without", "episode_id"],
        sqlite_where=NOT_AS_PLANNED,
        postgresql_where=NOT_AS_PLANNED,
    )
    op.drop_index("ix_score_newest", "score")
    op.create_index("ix_score_newest", "score", ["patient_id", "measure"], **NEWEST)
    op.create_index(
        "ix_score_newest_by_test",
        "score",
        [*BY_TEST, "patient_id", "newest"],
        **NEWEST,
    )


def downgrade() -> None:
    op.drop_index("ix_score_newest_by_test", "score")
    op.drop_index("ix_score_newest", "score")
    op.create_index("ix_score_newest", "score", ["patient_id", *BY_TEST], **NEWEST)
    op.drop_index("ix_visit_not_as_planned", "visit")
    op.drop_index("ix_visit_local_date", "visit")
    op.create_index("ix_visit_local_date", "visit", ["local_date"])
