"""Visits as they went: kind, pauses, minutes, what was seen, the exit list.

Columns are added one by one: a rebuilt table would lose what reflection misses.
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

KINDS = "evaluation treatment re_evaluation discharge missed"
NOT_DONE = (
    "declined asleep pain pressure breathless hold off_unit nursing visitors unsafe "
    "staff cognition weight_bearing isolation time"
)


def listed(column: str, words: str) -> str:
    return f"{column} IN ({', '.join(repr(word) for word in words.split())})"


def text_column(name: str, most: int) -> str:
    return (
        f"{name} VARCHAR DEFAULT '' NOT NULL "
        f"CONSTRAINT ck_visit_{name} CHECK (length({name}) BETWEEN 0 AND {most})"
    )


def minutes(name: str) -> str:
    column = f"{name}_minutes"
    whole = f"{column} = CAST({column} AS INTEGER)"
    return (
        f"{column} INTEGER DEFAULT 0 NOT NULL CONSTRAINT ck_visit_{column} "
        f"CHECK ({column} BETWEEN 0 AND 600 AND {whole})"
    )


ADDED = (
    "kind VARCHAR DEFAULT 'treatment' NOT NULL "
    f"CONSTRAINT ck_visit_kind CHECK ({listed('kind', KINDS)})",
    "missed_reason VARCHAR "
    f"CONSTRAINT ck_visit_missed_reason CHECK ({listed('missed_reason', NOT_DONE)}) "
    "CONSTRAINT ck_visit_missed CHECK (missed_reason IS NULL OR kind = 'missed')",
    text_column("missed_told", 80),
    text_column("missed_again", 80),
    "closed_by INTEGER CONSTRAINT fk_visit_closed_by_person REFERENCES person (id)",
    text_column("left_without", 200),
    *(minutes(name) for name in ("individual", "concurrent", "group", "co_treatment")),
)


def upgrade() -> None:
    op.create_table(
        "vital_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("vital", sa.String(), nullable=False),
        sa.Column("low", sa.Integer(), nullable=True),
        sa.Column("high", sa.Integer(), nullable=True),
        sa.Column("set_by", sa.String(), nullable=False),
        sa.Column("set_on", sa.Date(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "vital IN ('systolic', 'diastolic', 'heart_rate', 'saturation', 'breathing')",
            name=op.f("ck_vital_limit_vital"),
        ),
        sa.CheckConstraint(
            "high BETWEEN 0 AND 300 AND high = CAST(high AS INTEGER)",
            name=op.f("ck_vital_limit_high"),
        ),
        sa.CheckConstraint(
            "length(set_by) BETWEEN 1 AND 80", name=op.f("ck_vital_limit_set_by")
        ),
        sa.CheckConstraint("low < high", name=op.f("ck_vital_limit_range")),
        sa.CheckConstraint(
            "low BETWEEN 0 AND 300 AND low = CAST(low AS INTEGER)",
            name=op.f("ck_vital_limit_low"),
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"],
            ["episode.id"],
            name=op.f("fk_vital_limit_episode_id_episode"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_vital_limit_recorded_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vital_limit")),
    )
    with op.batch_alter_table("vital_limit", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_vital_limit_episode_id"), ["episode_id"], unique=False
        )

    op.create_table(
        "exit_item",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("item", sa.String(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "item IN ('strip', 'bell', 'bed_low', 'alarm', 'brakes', 'lines', 'shoes', 'hand_off')",
            name=op.f("ck_exit_item_item"),
        ),
        sa.CheckConstraint(
            "state IN ('done', 'not_applicable')", name=op.f("ck_exit_item_state")
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"], ["person.id"], name=op.f("fk_exit_item_recorded_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_exit_item_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("visit_id", "item", name=op.f("pk_exit_item")),
    )
    op.create_table(
        "symptom_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("agreed", sa.String(), nullable=True),
        sa.Column("pain", sa.Integer(), nullable=True),
        sa.Column("dizzy", sa.String(), nullable=True),
        sa.Column("fell", sa.String(), nullable=True),
        sa.Column("slept", sa.String(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "agreed IN ('yes', 'declined')", name=op.f("ck_symptom_check_agreed")
        ),
        sa.CheckConstraint(
            "dizzy IN ('yes', 'no')", name=op.f("ck_symptom_check_dizzy")
        ),
        sa.CheckConstraint("fell IN ('yes', 'no')", name=op.f("ck_symptom_check_fell")),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_symptom_check_uid"),
        ),
        sa.CheckConstraint(
            "slept IN ('well', 'badly')", name=op.f("ck_symptom_check_slept")
        ),
        sa.CheckConstraint(
            "length(words) BETWEEN 0 AND 300", name=op.f("ck_symptom_check_words")
        ),
        sa.CheckConstraint(
            "pain BETWEEN 0 AND 10 AND pain = CAST(pain AS INTEGER)",
            name=op.f("ck_symptom_check_pain"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_symptom_check_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_symptom_check_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_symptom_check")),
        sa.UniqueConstraint("uid", name=op.f("uq_symptom_check_uid")),
    )
    with op.batch_alter_table("symptom_check", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_symptom_check_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "task_observation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("task", sa.String(), nullable=False),
        sa.Column("level", sa.String(), nullable=True),
        sa.Column("not_done", sa.String(), nullable=True),
        sa.Column("share", sa.Integer(), nullable=True),
        sa.Column("helpers", sa.Integer(), nullable=False),
        sa.Column("cue_kind", sa.String(), nullable=True),
        sa.Column("cue_amount", sa.String(), nullable=True),
        sa.Column("federal", sa.String(), nullable=True),
        sa.Column("device", sa.String(), nullable=False),
        sa.Column("set_up", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("void_reason", sa.String(), nullable=True),
        sa.CheckConstraint(
            "cue_amount IN ('occasional', 'moderate', 'maximal')",
            name=op.f("ck_task_observation_cue_amount"),
        ),
        sa.CheckConstraint(
            "cue_kind IN ('verbal', 'visual', 'tactile', 'gestural', 'environment')",
            name=op.f("ck_task_observation_cue_kind"),
        ),
        sa.CheckConstraint(
            "federal IN ('06', '05', '04', '03', '02', '01', '07', '09', '10', '88')",
            name=op.f("ck_task_observation_federal"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_task_observation_uid"),
        ),
        sa.CheckConstraint(
            "level IN ('independent', 'modified', 'set_up', 'supervision', 'stand_by', 'contact', 'minimal', 'moderate', 'maximal', 'total')",
            name=op.f("ck_task_observation_level"),
        ),
        sa.CheckConstraint(
            "not_done IN ('declined', 'asleep', 'pain', 'pressure', 'breathless', 'hold', 'off_unit', 'nursing', 'visitors', 'unsafe', 'staff', 'cognition', 'weight_bearing', 'isolation', 'time')",
            name=op.f("ck_task_observation_not_done"),
        ),
        sa.CheckConstraint(
            "task IN ('toileting', 'dressing_upper', 'dressing_lower', 'bathing', 'grooming', 'eating', 'bed_mobility', 'transfer_bed', 'transfer_chair', 'transfer_toilet', 'transfer_tub', 'transfer_car', 'walk_bathroom', 'stairs', 'kitchen', 'medication')",
            name=op.f("ck_task_observation_task"),
        ),
        sa.CheckConstraint(
            "(level IS NULL) <> (not_done IS NULL)",
            name=op.f("ck_task_observation_one_of_both"),
        ),
        sa.CheckConstraint(
            "(voided_at IS NULL AND void_reason IS NULL) OR (voided_at IS NOT NULL AND length(void_reason) BETWEEN 1 AND 200)",
            name=op.f("ck_task_observation_voided"),
        ),
        sa.CheckConstraint(
            "helpers BETWEEN 0 AND 4 AND helpers = CAST(helpers AS INTEGER)",
            name=op.f("ck_task_observation_helpers"),
        ),
        sa.CheckConstraint(
            "length(device) BETWEEN 0 AND 80", name=op.f("ck_task_observation_device")
        ),
        sa.CheckConstraint(
            "length(note) BETWEEN 0 AND 300", name=op.f("ck_task_observation_note")
        ),
        sa.CheckConstraint(
            "length(set_up) BETWEEN 0 AND 200", name=op.f("ck_task_observation_set_up")
        ),
        sa.CheckConstraint(
            "share BETWEEN 0 AND 100 AND share = CAST(share AS INTEGER)",
            name=op.f("ck_task_observation_share"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_task_observation_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_task_observation_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_task_observation")),
        sa.UniqueConstraint("uid", name=op.f("uq_task_observation_uid")),
    )
    with op.batch_alter_table("task_observation", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_task_observation_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "visit_pause",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=True),
        sa.Column("reason", sa.String(), nullable=False),
        sa.CheckConstraint(
            "reason IN ('nursing', 'toilet', 'rest', 'meal', 'visitors', 'procedure', 'called_away')",
            name=op.f("ck_visit_pause_reason"),
        ),
        sa.CheckConstraint("until >= since", name=op.f("ck_visit_pause_until")),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_visit_pause_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_pause")),
    )
    with op.batch_alter_table("visit_pause", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_visit_pause_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "vital_signs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.String(), nullable=False),
        sa.Column("arm", sa.String(), nullable=True),
        sa.Column("systolic", sa.Integer(), nullable=True),
        sa.Column("diastolic", sa.Integer(), nullable=True),
        sa.Column("heart_rate", sa.Integer(), nullable=True),
        sa.Column("saturation", sa.Integer(), nullable=True),
        sa.Column("oxygen", sa.String(), nullable=False),
        sa.Column("breathing", sa.Integer(), nullable=True),
        sa.Column("pain", sa.Integer(), nullable=True),
        sa.Column("dizziness", sa.Integer(), nullable=True),
        sa.Column("effort", sa.Integer(), nullable=True),
        sa.Column("effort_scale", sa.String(), nullable=True),
        sa.Column("temperature_tenths", sa.Integer(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint("arm IN ('left', 'right')", name=op.f("ck_vital_signs_arm")),
        sa.CheckConstraint(
            "effort_scale IN ('0-10', '6-20')", name=op.f("ck_vital_signs_effort_scale")
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_vital_signs_uid"),
        ),
        sa.CheckConstraint(
            "position IN ('lying', 'sitting', 'standing', 'standing_1', 'standing_3')",
            name=op.f("ck_vital_signs_position"),
        ),
        sa.CheckConstraint(
            "(effort IS NULL) = (effort_scale IS NULL)",
            name=op.f("ck_vital_signs_effort_which"),
        ),
        sa.CheckConstraint(
            "breathing BETWEEN 4 AND 80 AND breathing = CAST(breathing AS INTEGER)",
            name=op.f("ck_vital_signs_breathing"),
        ),
        sa.CheckConstraint(
            "diastolic < systolic", name=op.f("ck_vital_signs_pressures")
        ),
        sa.CheckConstraint(
            "diastolic BETWEEN 20 AND 200 AND diastolic = CAST(diastolic AS INTEGER)",
            name=op.f("ck_vital_signs_diastolic"),
        ),
        sa.CheckConstraint(
            "dizziness BETWEEN 0 AND 10 AND dizziness = CAST(dizziness AS INTEGER)",
            name=op.f("ck_vital_signs_dizziness"),
        ),
        sa.CheckConstraint(
            "effort BETWEEN 0 AND 20 AND effort = CAST(effort AS INTEGER)",
            name=op.f("ck_vital_signs_effort"),
        ),
        sa.CheckConstraint(
            "heart_rate BETWEEN 20 AND 300 AND heart_rate = CAST(heart_rate AS INTEGER)",
            name=op.f("ck_vital_signs_heart_rate"),
        ),
        sa.CheckConstraint(
            "length(oxygen) BETWEEN 0 AND 40", name=op.f("ck_vital_signs_oxygen")
        ),
        sa.CheckConstraint(
            "pain BETWEEN 0 AND 10 AND pain = CAST(pain AS INTEGER)",
            name=op.f("ck_vital_signs_pain"),
        ),
        sa.CheckConstraint(
            "saturation BETWEEN 40 AND 100 AND saturation = CAST(saturation AS INTEGER)",
            name=op.f("ck_vital_signs_saturation"),
        ),
        sa.CheckConstraint(
            "systolic BETWEEN 40 AND 300 AND systolic = CAST(systolic AS INTEGER)",
            name=op.f("ck_vital_signs_systolic"),
        ),
        sa.CheckConstraint(
            "temperature_tenths BETWEEN 300 AND 440 AND temperature_tenths = CAST(temperature_tenths AS INTEGER)",
            name=op.f("ck_vital_signs_temperature_tenths"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_vital_signs_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_vital_signs_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_vital_signs")),
        sa.UniqueConstraint("uid", name=op.f("uq_vital_signs_uid")),
    )
    with op.batch_alter_table("vital_signs", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_vital_signs_visit_id"), ["visit_id"], unique=False
        )

    for column in ADDED:
        op.execute(f"ALTER TABLE visit ADD COLUMN {column}")
    op.add_column("visit", sa.Column("closed_at", sa.DateTime(timezone=True)))


def downgrade() -> None:
    op.drop_column("visit", "closed_at")
    for column in reversed(ADDED):
        op.drop_column("visit", column.partition(" ")[0])
    for table in (
        "vital_signs",
        "visit_pause",
        "task_observation",
        "symptom_check",
        "exit_item",
        "vital_limit",
    ):
        op.drop_table(table)
