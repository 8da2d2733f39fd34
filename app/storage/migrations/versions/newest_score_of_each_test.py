"""Each patient's latest try of a test is marked, so that no list ranks all scores."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

INDEX = "ix_score_newest"
RANKED = """
SELECT id,
  row_number() OVER (
    PARTITION BY patient_id, measure ORDER BY on_date DESC, round_id DESC
  ) AS place,
  count(*) OVER (PARTITION BY patient_id, measure) AS tries
FROM score WHERE outcome NOT IN ('declined', 'not_done')
"""


def upgrade() -> None:
    for name in ("newest", "again"):
        op.execute(
            f"ALTER TABLE score ADD COLUMN {name} BOOLEAN DEFAULT false NOT NULL"
        )
    for name, which in (("newest", ""), ("again", " AND tries > 1")):
        op.execute(
            f"UPDATE score SET {name} = true WHERE id IN "
            f"(SELECT id FROM ({RANKED}) AS ranked WHERE place = 1{which})"
        )
    op.create_index(
        INDEX,
        "score",
        ["patient_id", "measure", "outcome", "change_verdict", "again"],
        sqlite_where=sa.text("newest = 1"),
        postgresql_where=sa.text("newest"),
    )
    op.create_index("ix_visit_local_date", "visit", ["local_date"])
    op.drop_index("ix_owed_due", "owed")
    op.create_index("ix_owed_due", "owed", ["kind", "due_on", "patient_id"])
    op.create_index(
        "ix_trial_without_number",
        "trial",
        ["round_id", "outcome"],
        sqlite_where=sa.text("outcome <> 'completed'"),
        postgresql_where=sa.text("outcome <> 'completed'"),
    )


def downgrade() -> None:
    op.drop_index("ix_trial_without_number", "trial")
    op.drop_index("ix_owed_due", "owed")
    op.create_index("ix_owed_due", "owed", ["kind", "due_on"])
    op.drop_index("ix_visit_local_date", "visit")
    op.drop_index(INDEX, "score")
    for name in ("again", "newest"):
        op.drop_column("score", name)
