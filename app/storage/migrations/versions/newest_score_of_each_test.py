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
        sqlite_where=sa.text("newest"),
        postgresql_where=sa.text("newest"),
    )


def downgrade() -> None:
    op.drop_index(INDEX, "score")
    for name in ("again", "newest"):
        op.drop_column("score", name)
