"""A stop may be of a set; a set says against which order or risk it was done."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None

TABLES = ("safety_event", "safety_seen")
OF_ONE = "(trial_id IS NULL) <> (set_id IS NULL)"
AGAINST = (
    "length(against) <= 400 AND ltrim(against, 'abcdefghijklmnopqrstuvwxyz_ ') = ''"
)
LOOK_INTO = "outcome = 'stopped' OR against <> ''"
FIRST = "replaces_id IS NULL"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE activity_set ADD COLUMN against VARCHAR DEFAULT '' NOT NULL "
        f"CONSTRAINT ck_activity_set_against CHECK ({AGAINST})"
    )
    _partial("ix_activity_set_look_into", "activity_set", "recorded_by", LOOK_INTO)
    for table in TABLES:
        _may_be_empty(table, "trial_id INTEGER NOT NULL", "trial_id INTEGER")
        op.execute(
            f"ALTER TABLE {table} ADD COLUMN set_id INTEGER "
            f"CONSTRAINT fk_{table}_set_id_activity_set REFERENCES activity_set (id) "
            f"CONSTRAINT ck_{table}_of_one CHECK ({OF_ONE})"
        )
    op.create_index("ix_safety_event_set_id", "safety_event", ["set_id"])
    _partial("ix_safety_event_first_set", "safety_event", "set_id", FIRST, unique=True)
    op.create_index(
        "ix_safety_seen_of_set", "safety_seen", ["set_id", "person_id"], unique=True
    )


def downgrade() -> None:
    """What was noted of stopped sets has no place in the older tables."""
    op.execute(
        "DELETE FROM safety_symptom WHERE event_id IN "
        "(SELECT id FROM safety_event WHERE set_id IS NOT NULL)"
    )
    op.drop_index("ix_safety_seen_of_set", "safety_seen")
    op.drop_index("ix_safety_event_first_set", "safety_event")
    op.drop_index("ix_safety_event_set_id", "safety_event")
    for table in TABLES:
        op.execute(f"DELETE FROM {table} WHERE set_id IS NOT NULL")
        op.drop_column(table, "set_id")
        _may_be_empty(table, "trial_id INTEGER", "trial_id INTEGER NOT NULL")
    op.drop_index("ix_activity_set_look_into", "activity_set")
    op.drop_column("activity_set", "against")


def _partial(
    name: str, table: str, column: str, where: str, *, unique: bool = False
) -> None:
    op.create_index(
        name,
        table,
        [column],
        unique=unique,
        sqlite_where=sa.text(where),
        postgresql_where=sa.text(where),
    )


def _may_be_empty(table: str, old: str, new: str) -> None:
    """Change the column; SQLite cannot, so the table is made anew and keeps its rows.

    Foreign keys are off while a migration runs, so that what points here still does.
    """
    bind = op.get_bind()
    if bind.dialect.name != "sqlite":
        op.alter_column(table, "trial_id", nullable="NOT NULL" not in new)
        return
    ask = sa.text(
        "SELECT sql FROM sqlite_master WHERE tbl_name = :name AND sql IS NOT NULL "
        "ORDER BY type DESC"
    )
    made, *indexes = bind.execute(ask, {"name": table}).scalars().all()
    assert made.count(old) == 1
    _, columns = made.replace(old, new).split("(", 1)
    for statement in (
        f"CREATE TABLE {table}_anew ({columns}",
        f"INSERT INTO {table}_anew SELECT * FROM {table}",
        f"DROP TABLE {table}",
        f"ALTER TABLE {table}_anew RENAME TO {table}",
        *indexes,
    ):
        bind.exec_driver_sql(statement)
