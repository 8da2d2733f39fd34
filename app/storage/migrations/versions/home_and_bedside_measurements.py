"""Home and bedside measurements, and what is to be changed there."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "room_measure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("room", sa.String(), nullable=False),
        sa.Column("thing", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("phase", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("voided_by", sa.Integer(), nullable=True),
        sa.Column("void_reason", sa.String(), nullable=True),
        sa.CheckConstraint(
            "length(thing) BETWEEN 1 AND 40 AND ltrim(thing, 'abcdefghijklmnopqrstuvwxyz_0123456789') = ''",
            name=op.f("ck_room_measure_thing"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_room_measure_uid"),
        ),
        sa.CheckConstraint(
            "length(value) BETWEEN 1 AND 12 AND ltrim(value, '0123456789.') = '' AND length(value) - length(replace(value, '.', '')) <= 1 AND value <> '.'",
            name=op.f("ck_room_measure_value"),
        ),
        sa.CheckConstraint(
            "phase IN ('before', 'after')", name=op.f("ck_room_measure_phase")
        ),
        sa.CheckConstraint(
            "room IN ('bathroom', 'bedroom', 'living_room', 'kitchen', 'hallway', 'entrance', 'stairs', 'bedside')",
            name=op.f("ck_room_measure_room"),
        ),
        sa.CheckConstraint("unit IN ('in', 'cm')", name=op.f("ck_room_measure_unit")),
        sa.CheckConstraint(
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR (voided_at IS NOT NULL AND voided_by IS NOT NULL AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 200)",
            name=op.f("ck_room_measure_voided"),
        ),
        sa.CheckConstraint(
            "length(note) BETWEEN 0 AND 200", name=op.f("ck_room_measure_note")
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_room_measure_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_room_measure_visit_id_visit")
        ),
        sa.ForeignKeyConstraint(
            ["voided_by"], ["person.id"], name=op.f("fk_room_measure_voided_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room_measure")),
        sa.UniqueConstraint("uid", name=op.f("uq_room_measure_uid")),
    )
    with op.batch_alter_table("room_measure", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_room_measure_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "room_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("room", sa.String(), nullable=False),
        sa.Column("change", sa.String(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("before_id", sa.Integer(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "change <> 'other' OR length(words) >= 1",
            name=op.f("ck_room_change_other_words"),
        ),
        sa.CheckConstraint(
            "change IN ('raise_seat', 'lower_seat', 'raised_toilet', 'other_chair', 'bath_seat', 'shower_seat', 'grab_bar', 'handrail', 'remove_rug', 'fix_edge', 'threshold_ramp', 'ramp', 'widen_door', 'move_furniture', 'move_things', 'light', 'non_slip', 'other')",
            name=op.f("ck_room_change_change"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_room_change_uid"),
        ),
        sa.CheckConstraint(
            "room IN ('bathroom', 'bedroom', 'living_room', 'kitchen', 'hallway', 'entrance', 'stairs', 'bedside')",
            name=op.f("ck_room_change_room"),
        ),
        sa.CheckConstraint(
            "who IN ('patient', 'family', 'landlord', 'therapist', 'supplier')",
            name=op.f("ck_room_change_who"),
        ),
        sa.CheckConstraint(
            "length(words) BETWEEN 0 AND 200", name=op.f("ck_room_change_words")
        ),
        sa.ForeignKeyConstraint(
            ["before_id"],
            ["room_measure.id"],
            name=op.f("fk_room_change_before_id_room_measure"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_room_change_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_room_change_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room_change")),
        sa.UniqueConstraint("uid", name=op.f("uq_room_change_uid")),
    )
    with op.batch_alter_table("room_change", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_room_change_before_id"), ["before_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_room_change_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "room_change_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("after_id", sa.Integer(), nullable=True),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "after_id IS NULL OR state = 'done'",
            name=op.f("ck_room_change_step_after_when"),
        ),
        sa.CheckConstraint(
            "state IN ('proposed', 'agreed', 'done', 'declined')",
            name=op.f("ck_room_change_step_state"),
        ),
        sa.ForeignKeyConstraint(
            ["after_id"],
            ["room_measure.id"],
            name=op.f("fk_room_change_step_after_id_room_measure"),
        ),
        sa.ForeignKeyConstraint(
            ["change_id"],
            ["room_change.id"],
            name=op.f("fk_room_change_step_change_id_room_change"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_room_change_step_recorded_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room_change_step")),
    )
    with op.batch_alter_table("room_change_step", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_room_change_step_after_id"), ["after_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_room_change_step_change_id"), ["change_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("room_change_step", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_room_change_step_change_id"))
        batch_op.drop_index(batch_op.f("ix_room_change_step_after_id"))

    op.drop_table("room_change_step")
    with op.batch_alter_table("room_change", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_room_change_visit_id"))
        batch_op.drop_index(batch_op.f("ix_room_change_before_id"))

    op.drop_table("room_change")
    with op.batch_alter_table("room_measure", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_room_measure_visit_id"))

    op.drop_table("room_measure")
