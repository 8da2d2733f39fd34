"""Answers at the tap, closed lists for oxygen, device, set-up and hand-off, codes.

Columns are added one by one: a rebuilt table would lose what reflection misses.
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

CARRIERS = (
    "room_air nasal high_flow simple_mask entrainment reservoir tracheostomy ventilator"
)
DEVICES = (
    "none cane quad_cane walker rollator crutches wheelchair grab_bar raised_seat "
    "bath_seat long_handled board lift other"
)
SET_UPS = (
    "as_found laid_out in_bed edge_of_bed chair at_sink seat_raised obstacles other"
)
HAND_OFF_TO = "nurse aide family therapist physician other"


CODES = "'06', '05', '04', '03', '02', '01', '07', '09', '10', '88'"


def listed(table: str, column: str, words: str) -> str:
    said = ", ".join(repr(word) for word in words.split())
    rule = f"{column} IN ({said})"
    return f"{column} VARCHAR CONSTRAINT ck_{table}_{column} CHECK ({rule})"


ADDED = (
    (
        "symptom_check",
        "asking VARCHAR CONSTRAINT ck_symptom_check_asking CHECK "
        "(length(asking) = 32 AND ltrim(asking, '0123456789abcdef') = '')",
    ),
    ("vital_signs", listed("vital_signs", "carrier", CARRIERS)),
    (
        "vital_signs",
        "flow_tenths INTEGER CONSTRAINT ck_vital_signs_flow_tenths CHECK "
        "(flow_tenths BETWEEN 1 AND 600 AND flow_tenths = CAST(flow_tenths AS INTEGER))"
        " CONSTRAINT ck_vital_signs_flow_of CHECK "
        "(flow_tenths IS NULL OR carrier IS NOT NULL)"
        " CONSTRAINT ck_vital_signs_flow_when CHECK "
        "(carrier IS NULL OR carrier IN ('room_air', 'ventilator') "
        "OR flow_tenths IS NOT NULL)"
        " CONSTRAINT ck_vital_signs_flow_none CHECK "
        "(carrier <> 'room_air' OR flow_tenths IS NULL)",
    ),
    ("task_observation", listed("task_observation", "device_kind", DEVICES)),
    ("task_observation", listed("task_observation", "set_up_kind", SET_UPS)),
    (
        "task_observation",
        "voided_by INTEGER CONSTRAINT fk_task_observation_voided_by_person "
        "REFERENCES person (id) CONSTRAINT ck_task_observation_void_who "
        "CHECK (voided_by IS NULL OR voided_at IS NOT NULL)",
    ),
    (
        "exit_item",
        listed("exit_item", "told_role", HAND_OFF_TO)
        + " CONSTRAINT ck_exit_item_told_when CHECK (told_role IS NULL OR "
        "(item = 'hand_off' AND state = 'done'))",
    ),
)


def upgrade() -> None:
    op.create_table(
        "task_code",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("task_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("proposed", sa.String(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(f"code IN ({CODES})", name=op.f("ck_task_code_code")),
        sa.CheckConstraint(
            f"proposed IN ({CODES})", name=op.f("ck_task_code_proposed")
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"], ["person.id"], name=op.f("fk_task_code_recorded_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["task_id"],
            ["task_observation.id"],
            name=op.f("fk_task_code_task_id_task_observation"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_task_code")),
    )
    op.create_index(op.f("ix_task_code_task_id"), "task_code", ["task_id"])
    for table, column in ADDED:
        op.execute(f"ALTER TABLE {table} ADD COLUMN {column}")


def downgrade() -> None:
    op.drop_table("task_code")
    for table, column in reversed(ADDED):
        op.drop_column(table, column.partition(" ")[0])
