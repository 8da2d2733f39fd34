"""Counts and distances are judged in practice; thresholds carried to a new key."""

from alembic import op

revision = "0033"
down_revision = "0032"
branch_labels = None
depends_on = None

RENAMED = (("most_bias_ms", "most_bias"), ("most_apart_ms", "most_apart"))


def upgrade() -> None:
    for old, new in RENAMED:
        op.execute(f"ALTER TABLE competence_rule RENAME COLUMN {old} TO {new}")
    op.execute(
        "ALTER TABLE competence_rule ADD COLUMN unit VARCHAR DEFAULT 's' NOT NULL "
        "CONSTRAINT ck_competence_rule_unit CHECK (unit IN ('s', 'count', 'in'))"
    )
    op.execute(
        "ALTER TABLE competence_rule ADD COLUMN carried_from VARCHAR "
        "DEFAULT '' NOT NULL CONSTRAINT ck_competence_rule_carried_from "
        "CHECK (length(carried_from) BETWEEN 0 AND 64)"
    )
    op.execute(
        "ALTER TABLE practice_attempt ADD COLUMN way VARCHAR DEFAULT '' NOT NULL "
        "CONSTRAINT ck_practice_attempt_way CHECK (way IN ('watched', 'words', ''))"
    )
    # A stopwatch runs beside the figure alone, a time is typed beside the words alone.
    # Of a reach that was kept before nobody can tell: it stays empty.
    op.execute("UPDATE practice_attempt SET way = 'watched' WHERE start_ms IS NOT NULL")
    op.execute("UPDATE practice_attempt SET way = 'words' WHERE typed_ms IS NOT NULL")


def downgrade() -> None:
    op.execute("ALTER TABLE practice_attempt DROP COLUMN way")
    # Thresholds of counts and distances have no place in the older table.
    op.execute("DELETE FROM competence_rule WHERE unit <> 's'")
    for column in ("carried_from", "unit"):
        op.execute(f"ALTER TABLE competence_rule DROP COLUMN {column}")
    for old, new in RENAMED:
        op.execute(f"ALTER TABLE competence_rule RENAME COLUMN {new} TO {old}")
