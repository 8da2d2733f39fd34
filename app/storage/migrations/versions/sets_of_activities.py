"""Sets of treatment activities as they were done, with what came of them."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "activity_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("activity", sa.String(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=True),
        sa.Column("grade", sa.String(), nullable=True),
        sa.Column("reps", sa.Integer(), nullable=True),
        sa.Column("holds_ms", sa.JSON(), nullable=False),
        sa.Column("time_ms", sa.Integer(), nullable=True),
        sa.Column("distance", sa.String(), nullable=True),
        sa.Column("distance_unit", sa.String(), nullable=True),
        sa.Column("steps", sa.Integer(), nullable=True),
        sa.Column("steps_to_recover", sa.Integer(), nullable=True),
        sa.Column("passes", sa.Integer(), nullable=True),
        sa.Column("hazards", sa.Integer(), nullable=True),
        sa.Column("calls", sa.Integer(), nullable=True),
        sa.Column("correct", sa.Integer(), nullable=True),
        sa.Column("errors", sa.Integer(), nullable=True),
        sa.Column("hand_support", sa.String(), nullable=True),
        sa.Column("level", sa.String(), nullable=True),
        sa.Column("helpers", sa.Integer(), nullable=True),
        sa.Column("cue_kind", sa.String(), nullable=True),
        sa.Column("cue_amount", sa.String(), nullable=True),
        sa.Column("effort", sa.Integer(), nullable=True),
        sa.Column("effort_scale", sa.String(), nullable=True),
        sa.Column("no_symptom", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("override", sa.String(), nullable=False),
        sa.Column("log", sa.JSON(), nullable=False),
        sa.Column("done_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("body_hash", sa.String(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("voided_by", sa.Integer(), nullable=True),
        sa.Column("void_reason", sa.String(), nullable=True),
        sa.CheckConstraint(
            "cue_amount IN ('occasional', 'moderate', 'maximal')",
            name=op.f("ck_activity_set_cue_amount"),
        ),
        sa.CheckConstraint(
            "cue_kind IN ('verbal', 'visual', 'tactile', 'gestural', 'environment')",
            name=op.f("ck_activity_set_cue_kind"),
        ),
        sa.CheckConstraint(
            "distance_unit IN ('in', 'cm')", name=op.f("ck_activity_set_distance_unit")
        ),
        sa.CheckConstraint(
            "effort_scale IN ('0-10', '6-20')",
            name=op.f("ck_activity_set_effort_scale"),
        ),
        sa.CheckConstraint(
            "hand_support IN ('none', 'fingertip', 'one_hand', 'two_hands', 'device')",
            name=op.f("ck_activity_set_hand_support"),
        ),
        sa.CheckConstraint(
            "length(body_hash) = 64 AND ltrim(body_hash, '0123456789abcdef') = ''",
            name=op.f("ck_activity_set_body_hash"),
        ),
        sa.CheckConstraint(
            "length(distance) BETWEEN 1 AND 12 AND ltrim(distance, '0123456789.') = '' AND length(distance) - length(replace(distance, '.', '')) <= 1 AND distance <> '.'",
            name=op.f("ck_activity_set_distance"),
        ),
        sa.CheckConstraint(
            "length(replace(grade, '-', '')) BETWEEN 1 AND 12 AND ltrim(replace(grade, '-', ''), '0123456789.') = '' AND length(replace(grade, '-', '')) - length(replace(replace(grade, '-', ''), '.', '')) <= 1 AND replace(grade, '-', '') <> '.' AND substr(grade, 2) = replace(substr(grade, 2), '-', '')",
            name=op.f("ck_activity_set_grade"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_activity_set_uid"),
        ),
        sa.CheckConstraint(
            "level IN ('independent', 'modified', 'set_up', 'supervision', 'stand_by', 'contact', 'minimal', 'moderate', 'maximal', 'total')",
            name=op.f("ck_activity_set_level"),
        ),
        sa.CheckConstraint(
            "outcome IN ('done', 'stopped', 'declined', 'not_done')",
            name=op.f("ck_activity_set_outcome"),
        ),
        sa.CheckConstraint(
            "reason IN ('declined', 'asleep', 'pain', 'pressure', 'breathless', 'hold', 'off_unit', 'nursing', 'visitors', 'unsafe', 'staff', 'cognition', 'weight_bearing', 'isolation', 'time')",
            name=op.f("ck_activity_set_reason"),
        ),
        sa.CheckConstraint(
            "reason IS NULL OR outcome = 'not_done'",
            name=op.f("ck_activity_set_reason_when"),
        ),
        sa.CheckConstraint(
            "(distance IS NULL) = (distance_unit IS NULL)",
            name=op.f("ck_activity_set_unit_with_distance"),
        ),
        sa.CheckConstraint(
            "(effort IS NULL) = (effort_scale IS NULL)",
            name=op.f("ck_activity_set_effort_which"),
        ),
        sa.CheckConstraint(
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR (voided_at IS NOT NULL AND voided_by IS NOT NULL AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 500)",
            name=op.f("ck_activity_set_voided"),
        ),
        sa.CheckConstraint(
            "calls BETWEEN 0 AND 9999 AND calls = CAST(calls AS INTEGER)",
            name=op.f("ck_activity_set_calls"),
        ),
        sa.CheckConstraint(
            "correct BETWEEN 0 AND 9999 AND correct = CAST(correct AS INTEGER)",
            name=op.f("ck_activity_set_correct"),
        ),
        sa.CheckConstraint(
            "correct IS NULL OR (calls IS NOT NULL AND correct <= calls)",
            name=op.f("ck_activity_set_correct_of_calls"),
        ),
        sa.CheckConstraint(
            "effort BETWEEN 0 AND 20 AND effort = CAST(effort AS INTEGER)",
            name=op.f("ck_activity_set_effort"),
        ),
        sa.CheckConstraint(
            "errors BETWEEN 0 AND 9999 AND errors = CAST(errors AS INTEGER)",
            name=op.f("ck_activity_set_errors"),
        ),
        sa.CheckConstraint(
            "hazards BETWEEN 0 AND 9999 AND hazards = CAST(hazards AS INTEGER)",
            name=op.f("ck_activity_set_hazards"),
        ),
        sa.CheckConstraint(
            "helpers BETWEEN 0 AND 4 AND helpers = CAST(helpers AS INTEGER)",
            name=op.f("ck_activity_set_helpers"),
        ),
        sa.CheckConstraint(
            "length(activity) BETWEEN 3 AND 8", name=op.f("ck_activity_set_activity")
        ),
        sa.CheckConstraint(
            "length(note) BETWEEN 0 AND 300", name=op.f("ck_activity_set_note")
        ),
        sa.CheckConstraint(
            "length(override) BETWEEN 0 AND 300", name=op.f("ck_activity_set_override")
        ),
        sa.CheckConstraint(
            "passes BETWEEN 0 AND 9999 AND passes = CAST(passes AS INTEGER)",
            name=op.f("ck_activity_set_passes"),
        ),
        sa.CheckConstraint(
            "reps BETWEEN 0 AND 9999 AND reps = CAST(reps AS INTEGER)",
            name=op.f("ck_activity_set_reps"),
        ),
        sa.CheckConstraint(
            "steps BETWEEN 0 AND 9999 AND steps = CAST(steps AS INTEGER)",
            name=op.f("ck_activity_set_steps"),
        ),
        sa.CheckConstraint(
            "steps_to_recover BETWEEN 0 AND 9999 AND steps_to_recover = CAST(steps_to_recover AS INTEGER)",
            name=op.f("ck_activity_set_steps_to_recover"),
        ),
        sa.CheckConstraint(
            "time_ms BETWEEN 0 AND 36000000 AND time_ms = CAST(time_ms AS INTEGER)",
            name=op.f("ck_activity_set_time_ms"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_activity_set_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_activity_set_visit_id_visit")
        ),
        sa.ForeignKeyConstraint(
            ["voided_by"], ["person.id"], name=op.f("fk_activity_set_voided_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_activity_set")),
        sa.UniqueConstraint("uid", name=op.f("uq_activity_set_uid")),
    )
    with op.batch_alter_table("activity_set", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_activity_set_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "set_symptom",
        sa.Column("set_id", sa.Integer(), nullable=False),
        sa.Column("symptom", sa.String(), nullable=False),
        sa.CheckConstraint(
            "symptom IN ('dizzy', 'faint', 'chest_pain', 'breathless', 'pain', 'confused', 'new_weakness', 'knee_gave', 'lost_balance', 'tired', 'wanted_to_stop')",
            name=op.f("ck_set_symptom_symptom"),
        ),
        sa.ForeignKeyConstraint(
            ["set_id"],
            ["activity_set.id"],
            name=op.f("fk_set_symptom_set_id_activity_set"),
        ),
        sa.PrimaryKeyConstraint("set_id", "symptom", name=op.f("pk_set_symptom")),
    )


def downgrade() -> None:
    op.drop_table("set_symptom")
    with op.batch_alter_table("activity_set", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_activity_set_visit_id"))

    op.drop_table("activity_set")
