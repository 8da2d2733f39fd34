"""Onsets and sides of conditions, what came of falls, edits that can be compared.

Columns are added one by one: a rebuilt table would lose what reflection misses.
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def one_of(table: str, column: str, words: str) -> str:
    listed = ", ".join(f"'{word}'" for word in words.split())
    return f"CONSTRAINT ck_{table}_{column} CHECK ({column} IN ({listed}))"


def answer(column: str, words: str = "no yes unknown") -> str:
    rule = one_of("profile", column, words)
    return f"profile ADD COLUMN {column} VARCHAR {rule}"


def by(table: str) -> str:
    return (
        f"{table} ADD COLUMN edited_by INTEGER "
        f"CONSTRAINT fk_{table}_edited_by_person REFERENCES person (id)"
    )


REOPENINGS = "closed_by_mistake came_back more_ordered late_entry"
ADDED = (
    "patient_condition ADD COLUMN since_precision VARCHAR DEFAULT 'day' NOT NULL "
    + one_of("patient_condition", "since_precision", "year month day"),
    "patient_condition ADD COLUMN side VARCHAR "
    + one_of("patient_condition", "side", "left right both"),
    "episode ADD COLUMN start_on DATE",
    "episode ADD COLUMN reopen_reason VARCHAR "
    + one_of("episode", "reopen_reason", REOPENINGS),
    by("episode"),
    "precaution ADD COLUMN version INTEGER DEFAULT 1 NOT NULL "
    "CONSTRAINT ck_precaution_version CHECK (version >= 1)",
    by("precaution"),
    answer("fall_injury", "none minor needed_care unknown"),
    answer("fall_cannot_rise"),
    answer("fall_long_lie"),
    answer("fall_fainted"),
    answer("frailty"),
)
INSTANTS = ("episode", "precaution")


def upgrade() -> None:
    op.create_table(
        "number_mark",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("upto", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(name) BETWEEN 1 AND 40 AND ltrim(name, 'abcdefghijklmnopqrstuvwxyz_') = ''",
            name=op.f("ck_number_mark_name"),
        ),
        sa.CheckConstraint("upto >= 1", name=op.f("ck_number_mark_upto")),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_number_mark")),
    )
    # Numbers of rows that were deleted before are known from the trail alone.
    op.execute(
        "INSERT INTO number_mark (name, upto) SELECT subject, max(subject_id) "
        "FROM audit_entry WHERE subject_id >= 1 GROUP BY subject"
    )
    for column in ADDED:
        op.execute(f"ALTER TABLE {column}")
    for table in INSTANTS:
        op.add_column(table, sa.Column("edited_at", sa.DateTime(timezone=True)))


def downgrade() -> None:
    for table in INSTANTS:
        op.drop_column(table, "edited_at")
    for column in reversed(ADDED):
        table, _, _, name = column.split(" ", 4)[:4]
        op.drop_column(table, name)
    op.drop_table("number_mark")
