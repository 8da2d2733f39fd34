"""A score may be a speed, points, stages, a pressure or a power."""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

BEFORE = "unit IN ('s', 'in', 'cm', 'count', '%')"
AFTER = (
    "unit IN ('s', 'in', 'cm', 'count', '%', 'm/s', 'ft/s', 'stages', 'points', "
    "'mmHg', 'bpm', 'bpm/mmHg', 'W/kg', 'W')"
)


def upgrade() -> None:
    _exchange(BEFORE, AFTER)


def downgrade() -> None:
    """A score that the older program cannot hold goes: its trials stay."""
    op.execute(f"DELETE FROM score WHERE NOT ({BEFORE})")
    _exchange(AFTER, BEFORE)


def _exchange(old: str, new: str) -> None:
    """Change the rule; SQLite cannot, so the table is made anew and keeps its rows.

    Nothing refers to a score, and every one of them can be read from its trials again.
    """
    if op.get_bind().dialect.name != "sqlite":
        op.drop_constraint(op.f("ck_score_unit"), "score", type_="check")
        op.create_check_constraint(op.f("ck_score_unit"), "score", new)
        return
    ask = sa.text(
        "SELECT sql FROM sqlite_master WHERE tbl_name = 'score' AND sql IS NOT NULL "
        "ORDER BY type DESC"
    )
    table, *indexes = op.get_bind().execute(ask).scalars().all()
    assert table.count(old) == 1
    _, columns = table.replace(old, new).split("(", 1)
    for statement in (
        f"CREATE TABLE score_anew ({columns}",
        "INSERT INTO score_anew SELECT * FROM score",
        "DROP TABLE score",
        "ALTER TABLE score_anew RENAME TO score",
        *indexes,
    ):
        op.get_bind().exec_driver_sql(statement)
