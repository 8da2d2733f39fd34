"""Goals of an episode, how each stood, and the scales they are rated on."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "goal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("term", sa.String(), nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("task", sa.String(), nullable=True),
        sa.Column("phrase", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=True),
        sa.Column("surface", sa.String(), nullable=True),
        sa.Column("device", sa.String(), nullable=True),
        sa.Column("cue_kind", sa.String(), nullable=True),
        sa.Column("cue_amount", sa.String(), nullable=True),
        sa.Column("help", sa.String(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("measure", sa.String(), nullable=True),
        sa.Column("target_value", sa.String(), nullable=True),
        sa.Column("target_unit", sa.String(), nullable=True),
        sa.Column("target_level", sa.String(), nullable=True),
        sa.Column("times", sa.Integer(), nullable=True),
        sa.Column("out_of", sa.Integer(), nullable=True),
        sa.Column("by_date", sa.Date(), nullable=False),
        sa.Column("so_that", sa.String(), nullable=False),
        sa.Column("base_round_id", sa.Integer(), nullable=True),
        sa.Column("base_task_id", sa.Integer(), nullable=True),
        sa.Column("base_times", sa.Integer(), nullable=True),
        sa.Column("base_on", sa.Date(), nullable=True),
        sa.Column("base_says", sa.String(), nullable=False),
        sa.Column("set_on", sa.Date(), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("edited_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("edited_by", sa.Integer(), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("signed_by", sa.Integer(), nullable=True),
        sa.Column("signed_hash", sa.String(), nullable=True),
        sa.Column("closed_on", sa.Date(), nullable=True),
        sa.Column("closed_by", sa.Integer(), nullable=True),
        sa.Column("close_word", sa.String(), nullable=True),
        sa.Column("close_reason", sa.String(), nullable=False),
        sa.Column("replaces_id", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(CASE WHEN base_round_id IS NULL THEN 0 ELSE 1 END + CASE WHEN base_task_id IS NULL THEN 0 ELSE 1 END + CASE WHEN base_times IS NULL THEN 0 ELSE 1 END) = CASE WHEN base_on IS NULL THEN 0 ELSE 1 END AND (base_on IS NULL) = (base_says = '')",
            name=op.f("ck_goal_start"),
        ),
        sa.CheckConstraint(
            "(base_round_id IS NULL OR kind = 'score') AND (base_task_id IS NULL OR kind = 'level') AND (base_times IS NULL OR kind = 'times')",
            name=op.f("ck_goal_start_by_kind"),
        ),
        sa.CheckConstraint(
            "(closed_on IS NULL AND close_word IS NULL AND closed_by IS NULL AND close_reason = '') OR (closed_on IS NOT NULL AND closed_by IS NOT NULL AND close_word IS NOT NULL AND length(close_reason) >= 1)",
            name=op.f("ck_goal_closed"),
        ),
        sa.CheckConstraint(
            "(kind = 'score' OR (measure IS NULL AND target_value IS NULL AND target_unit IS NULL)) AND (kind = 'level' OR target_level IS NULL)",
            name=op.f("ck_goal_holds_only"),
        ),
        sa.CheckConstraint(
            "close_word IN ('met', 'not_met', 'discontinued', 'downgraded', 'upgraded')",
            name=op.f("ck_goal_close_word"),
        ),
        sa.CheckConstraint(
            "cue_amount IN ('occasional', 'moderate', 'maximal')",
            name=op.f("ck_goal_cue_amount"),
        ),
        sa.CheckConstraint(
            "cue_kind IN ('none', 'verbal', 'visual', 'tactile', 'gestural', 'environment')",
            name=op.f("ck_goal_cue_kind"),
        ),
        sa.CheckConstraint(
            "device IN ('none', 'cane', 'quad_cane', 'walker', 'rollator', 'crutches', 'wheelchair', 'grab_bar', 'raised_seat', 'bath_seat', 'long_handled', 'board', 'lift', 'other')",
            name=op.f("ck_goal_device"),
        ),
        sa.CheckConstraint(
            "help IN ('independent', 'modified', 'set_up', 'supervision', 'stand_by', 'contact', 'minimal', 'moderate', 'maximal', 'total')",
            name=op.f("ck_goal_help"),
        ),
        sa.CheckConstraint(
            "kind <> 'level' OR (target_level IS NOT NULL AND help IS NULL)",
            name=op.f("ck_goal_level_holds"),
        ),
        sa.CheckConstraint(
            "kind <> 'score' OR (measure IS NOT NULL AND target_value IS NOT NULL AND target_unit IS NOT NULL)",
            name=op.f("ck_goal_score_holds"),
        ),
        sa.CheckConstraint(
            "kind <> 'times' OR (times IS NOT NULL)", name=op.f("ck_goal_times_holds")
        ),
        sa.CheckConstraint(
            "kind IN ('score', 'level', 'times')", name=op.f("ck_goal_kind")
        ),
        sa.CheckConstraint(
            "length(signed_hash) = 64 AND ltrim(signed_hash, '0123456789abcdef') = ''",
            name=op.f("ck_goal_signed_hash"),
        ),
        sa.CheckConstraint(
            "length(target_value) BETWEEN 1 AND 12 AND ltrim(target_value, '0123456789.') = '' AND length(target_value) - length(replace(target_value, '.', '')) <= 1 AND target_value <> '.'",
            name=op.f("ck_goal_target_value"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_goal_uid"),
        ),
        sa.CheckConstraint(
            "parent_id IS NULL OR term = 'short'", name=op.f("ck_goal_parent")
        ),
        sa.CheckConstraint(
            "place IN ('bedside', 'bathroom', 'kitchen', 'hallway', 'living_room', 'stairs', 'outside', 'car', 'gym', 'home')",
            name=op.f("ck_goal_place"),
        ),
        sa.CheckConstraint(
            "surface IN ('level', 'carpet', 'threshold', 'ramp', 'uneven', 'low_seat', 'wet')",
            name=op.f("ck_goal_surface"),
        ),
        sa.CheckConstraint(
            "target_level IN ('independent', 'modified', 'set_up', 'supervision', 'stand_by', 'contact', 'minimal', 'moderate', 'maximal', 'total')",
            name=op.f("ck_goal_target_level"),
        ),
        sa.CheckConstraint(
            "target_unit IN ('s', 'in', 'cm', 'count', '%', 'm/s', 'ft/s', 'stages', 'points', 'mmHg', 'bpm', 'bpm/mmHg', 'W/kg', 'W')",
            name=op.f("ck_goal_target_unit"),
        ),
        sa.CheckConstraint(
            "task IN ('toileting', 'dressing_upper', 'dressing_lower', 'bathing', 'grooming', 'eating', 'bed_mobility', 'transfer_bed', 'transfer_chair', 'transfer_toilet', 'transfer_tub', 'transfer_car', 'walk_bathroom', 'stairs', 'kitchen', 'medication')",
            name=op.f("ck_goal_task"),
        ),
        sa.CheckConstraint("term IN ('short', 'long')", name=op.f("ck_goal_term")),
        sa.CheckConstraint("who IN ('patient', 'caregiver')", name=op.f("ck_goal_who")),
        sa.CheckConstraint(
            "(signed_at IS NULL) = (signed_by IS NULL) AND (signed_at IS NULL) = (signed_hash IS NULL)",
            name=op.f("ck_goal_signed"),
        ),
        sa.CheckConstraint(
            "(times IS NULL) = (out_of IS NULL) AND times <= out_of",
            name=op.f("ck_goal_trials"),
        ),
        sa.CheckConstraint("base_times <= out_of", name=op.f("ck_goal_base_of")),
        sa.CheckConstraint(
            "base_times BETWEEN 0 AND 20 AND base_times = CAST(base_times AS INTEGER)",
            name=op.f("ck_goal_base_times"),
        ),
        sa.CheckConstraint("closed_on >= set_on", name=op.f("ck_goal_closed_after")),
        sa.CheckConstraint(
            "length(base_says) BETWEEN 0 AND 80", name=op.f("ck_goal_base_says")
        ),
        sa.CheckConstraint(
            "length(close_reason) BETWEEN 0 AND 200", name=op.f("ck_goal_close_reason")
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 80", name=op.f("ck_goal_measure")
        ),
        sa.CheckConstraint(
            "length(phrase) BETWEEN 0 AND 80", name=op.f("ck_goal_phrase")
        ),
        sa.CheckConstraint(
            "length(so_that) BETWEEN 0 AND 120", name=op.f("ck_goal_so_that")
        ),
        sa.CheckConstraint("number >= 1", name=op.f("ck_goal_number")),
        sa.CheckConstraint(
            "out_of BETWEEN 1 AND 20 AND out_of = CAST(out_of AS INTEGER)",
            name=op.f("ck_goal_out_of"),
        ),
        sa.CheckConstraint(
            "times BETWEEN 1 AND 20 AND times = CAST(times AS INTEGER)",
            name=op.f("ck_goal_times"),
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_goal_version")),
        sa.ForeignKeyConstraint(
            ["base_round_id"], ["round.id"], name=op.f("fk_goal_base_round_id_round")
        ),
        sa.ForeignKeyConstraint(
            ["base_task_id"],
            ["task_observation.id"],
            name=op.f("fk_goal_base_task_id_task_observation"),
        ),
        sa.ForeignKeyConstraint(
            ["closed_by"], ["person.id"], name=op.f("fk_goal_closed_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["edited_by"], ["person.id"], name=op.f("fk_goal_edited_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"], ["episode.id"], name=op.f("fk_goal_episode_id_episode")
        ),
        sa.ForeignKeyConstraint(
            ["parent_id"], ["goal.id"], name=op.f("fk_goal_parent_id_goal")
        ),
        sa.ForeignKeyConstraint(
            ["replaces_id"], ["goal.id"], name=op.f("fk_goal_replaces_id_goal")
        ),
        sa.ForeignKeyConstraint(
            ["set_by"], ["person.id"], name=op.f("fk_goal_set_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["signed_by"], ["person.id"], name=op.f("fk_goal_signed_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_goal")),
        sa.UniqueConstraint(
            "episode_id", "number", name=op.f("uq_goal_episode_id_number")
        ),
        sa.UniqueConstraint("replaces_id", name=op.f("uq_goal_replaces_id")),
        sa.UniqueConstraint("uid", name=op.f("uq_goal_uid")),
    )
    op.create_table(
        "goal_level",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("goal_id", sa.Integer(), nullable=False),
        sa.Column("level", sa.Integer(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_goal_level_uid"),
        ),
        sa.CheckConstraint(
            "level BETWEEN -2 AND 2 AND level = CAST(level AS INTEGER)",
            name=op.f("ck_goal_level_level"),
        ),
        sa.ForeignKeyConstraint(
            ["goal_id"], ["goal.id"], name=op.f("fk_goal_level_goal_id_goal")
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_goal_level_recorded_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_goal_level")),
        sa.UniqueConstraint("uid", name=op.f("uq_goal_level_uid")),
    )
    with op.batch_alter_table("goal_level", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_goal_level_goal_id"), ["goal_id"], unique=False
        )

    op.create_table(
        "goal_scale",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("goal_id", sa.Integer(), nullable=False),
        sa.Column("much_less", sa.String(), nullable=False),
        sa.Column("less", sa.String(), nullable=False),
        sa.Column("expected", sa.String(), nullable=False),
        sa.Column("more", sa.String(), nullable=False),
        sa.Column("much_more", sa.String(), nullable=False),
        sa.Column("weight", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(expected) BETWEEN 1 AND 160", name=op.f("ck_goal_scale_expected")
        ),
        sa.CheckConstraint(
            "length(less) BETWEEN 1 AND 160", name=op.f("ck_goal_scale_less")
        ),
        sa.CheckConstraint(
            "length(more) BETWEEN 1 AND 160", name=op.f("ck_goal_scale_more")
        ),
        sa.CheckConstraint(
            "length(much_less) BETWEEN 1 AND 160", name=op.f("ck_goal_scale_much_less")
        ),
        sa.CheckConstraint(
            "length(much_more) BETWEEN 1 AND 160", name=op.f("ck_goal_scale_much_more")
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_goal_scale_version")),
        sa.CheckConstraint(
            "weight BETWEEN 1 AND 20 AND weight = CAST(weight AS INTEGER)",
            name=op.f("ck_goal_scale_weight"),
        ),
        sa.ForeignKeyConstraint(
            ["goal_id"], ["goal.id"], name=op.f("fk_goal_scale_goal_id_goal")
        ),
        sa.ForeignKeyConstraint(
            ["set_by"], ["person.id"], name=op.f("fk_goal_scale_set_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_goal_scale")),
        sa.UniqueConstraint("goal_id", name=op.f("uq_goal_scale_goal_id")),
    )
    op.create_table(
        "goal_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("goal_id", sa.Integer(), nullable=False),
        sa.Column("word", sa.String(), nullable=False),
        sa.Column("says", sa.String(), nullable=False),
        sa.Column("percent", sa.Integer(), nullable=True),
        sa.Column("times", sa.Integer(), nullable=True),
        sa.Column("out_of", sa.Integer(), nullable=True),
        sa.Column("round_id", sa.Integer(), nullable=True),
        sa.Column("task_id", sa.Integer(), nullable=True),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_goal_word_uid"),
        ),
        sa.CheckConstraint(
            "word IN ('not_started', 'progressing') OR length(says) >= 1",
            name=op.f("ck_goal_word_told"),
        ),
        sa.CheckConstraint(
            "word IN ('not_started', 'progressing', 'plateau', 'on_hold')",
            name=op.f("ck_goal_word_word"),
        ),
        sa.CheckConstraint(
            "(times IS NULL) = (out_of IS NULL) AND times <= out_of",
            name=op.f("ck_goal_word_trials"),
        ),
        sa.CheckConstraint(
            "length(says) BETWEEN 0 AND 200", name=op.f("ck_goal_word_says")
        ),
        sa.CheckConstraint(
            "out_of BETWEEN 1 AND 20 AND out_of = CAST(out_of AS INTEGER)",
            name=op.f("ck_goal_word_out_of"),
        ),
        sa.CheckConstraint(
            "percent BETWEEN 0 AND 100 AND percent = CAST(percent AS INTEGER)",
            name=op.f("ck_goal_word_percent"),
        ),
        sa.CheckConstraint(
            "times BETWEEN 0 AND 20 AND times = CAST(times AS INTEGER)",
            name=op.f("ck_goal_word_times"),
        ),
        sa.ForeignKeyConstraint(
            ["goal_id"], ["goal.id"], name=op.f("fk_goal_word_goal_id_goal")
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"], ["person.id"], name=op.f("fk_goal_word_recorded_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["round_id"], ["round.id"], name=op.f("fk_goal_word_round_id_round")
        ),
        sa.ForeignKeyConstraint(
            ["task_id"],
            ["task_observation.id"],
            name=op.f("fk_goal_word_task_id_task_observation"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_goal_word")),
        sa.UniqueConstraint("uid", name=op.f("uq_goal_word_uid")),
    )
    with op.batch_alter_table("goal_word", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_goal_word_goal_id"), ["goal_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("goal_word", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_goal_word_goal_id"))

    op.drop_table("goal_word")
    op.drop_table("goal_scale")
    with op.batch_alter_table("goal_level", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_goal_level_goal_id"))

    op.drop_table("goal_level")
    op.drop_table("goal")
