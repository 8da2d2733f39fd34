"""Teaching with its teach-back, and hand-offs as they were given."""

import sqlalchemy as sa
from alembic import op

revision = "0027"
down_revision = "0026"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "hand_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("audience", sa.String(), nullable=False),
        sa.Column("given_to", sa.String(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("read_back", sa.Boolean(), nullable=False),
        sa.Column("given_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("given_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "(audience = 'nursing' AND given_to IN ('nurse', 'aide', 'other')) OR (audience = 'therapist' AND given_to IN ('therapist', 'other')) OR (audience = 'practitioner' AND given_to IN ('physician', 'other')) OR (audience = 'family' AND given_to IN ('family', 'other'))",
            name=op.f("ck_hand_off_given_when"),
        ),
        sa.CheckConstraint(
            "audience IN ('nursing', 'therapist', 'practitioner', 'family')",
            name=op.f("ck_hand_off_audience"),
        ),
        sa.CheckConstraint(
            "given_to IN ('nurse', 'aide', 'family', 'therapist', 'physician', 'other')",
            name=op.f("ck_hand_off_given_to"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_hand_off_uid"),
        ),
        sa.ForeignKeyConstraint(
            ["given_by"], ["person.id"], name=op.f("fk_hand_off_given_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_hand_off_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_off")),
        sa.UniqueConstraint("uid", name=op.f("uq_hand_off_uid")),
    )
    with op.batch_alter_table("hand_off", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_hand_off_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "teaching",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("to_role", sa.String(), nullable=False),
        sa.Column("topic", sa.String(), nullable=False),
        sa.Column("how", sa.String(), nullable=False),
        sa.Column("back", sa.String(), nullable=False),
        sa.Column("prompts", sa.Integer(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("voided_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("voided_by", sa.Integer(), nullable=True),
        sa.Column("void_reason", sa.String(), nullable=True),
        sa.CheckConstraint(
            "(prompts IS NOT NULL) = (back = 'prompts')",
            name=op.f("ck_teaching_prompts_when"),
        ),
        sa.CheckConstraint(
            "back IN ('alone', 'prompts', 'not_yet', 'declined')",
            name=op.f("ck_teaching_back"),
        ),
        sa.CheckConstraint(
            "how IN ('told', 'shown', 'practised')", name=op.f("ck_teaching_how")
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_teaching_uid"),
        ),
        sa.CheckConstraint(
            "to_role IN ('patient', 'family', 'home_helper', 'aide', 'nurse', 'other')",
            name=op.f("ck_teaching_to_role"),
        ),
        sa.CheckConstraint(
            "topic <> 'other' OR words <> ''", name=op.f("ck_teaching_words_when")
        ),
        sa.CheckConstraint(
            "topic IN ('transfers', 'guarding', 'walking', 'self_care', 'precautions', 'stop_signs', 'falls', 'pacing', 'exercises', 'strip', 'room', 'other')",
            name=op.f("ck_teaching_topic"),
        ),
        sa.CheckConstraint(
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR (voided_at IS NOT NULL AND voided_by IS NOT NULL AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 200)",
            name=op.f("ck_teaching_voided"),
        ),
        sa.CheckConstraint(
            "length(words) BETWEEN 0 AND 80", name=op.f("ck_teaching_words")
        ),
        sa.CheckConstraint(
            "prompts BETWEEN 1 AND 20 AND prompts = CAST(prompts AS INTEGER)",
            name=op.f("ck_teaching_prompts"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"], ["person.id"], name=op.f("fk_teaching_recorded_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_teaching_visit_id_visit")
        ),
        sa.ForeignKeyConstraint(
            ["voided_by"], ["person.id"], name=op.f("fk_teaching_voided_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_teaching")),
        sa.UniqueConstraint("uid", name=op.f("uq_teaching_uid")),
    )
    with op.batch_alter_table("teaching", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_teaching_visit_id"), ["visit_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("teaching", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_teaching_visit_id"))

    op.drop_table("teaching")
    with op.batch_alter_table("hand_off", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_hand_off_visit_id"))

    op.drop_table("hand_off")
