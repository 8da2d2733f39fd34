"""Scoring exercises and what was answered."""

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "exercise_showing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("level", sa.Integer(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("steps", sa.Integer(), nullable=False),
        sa.Column("shown_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(rule) BETWEEN 1 AND 40 AND ltrim(rule, 'abcdefghijklmnopqrstuvwxyz_') = ''",
            name=op.f("ck_exercise_showing_rule"),
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 40", name=op.f("ck_exercise_showing_edition")
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 60", name=op.f("ck_exercise_showing_measure")
        ),
        sa.CheckConstraint(
            "level BETWEEN 1 AND 4 AND level = CAST(level AS INTEGER)",
            name=op.f("ck_exercise_showing_level"),
        ),
        sa.CheckConstraint(
            "seed BETWEEN 0 AND 2147483647 AND seed = CAST(seed AS INTEGER)",
            name=op.f("ck_exercise_showing_seed"),
        ),
        sa.CheckConstraint(
            "steps BETWEEN 1 AND 6 AND steps = CAST(steps AS INTEGER)",
            name=op.f("ck_exercise_showing_steps"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_exercise_showing_person_id_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exercise_showing")),
    )
    with op.batch_alter_table("exercise_showing", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_exercise_showing_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "exercise_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("showing_id", sa.Integer(), nullable=False),
        sa.Column("step", sa.String(), nullable=False),
        sa.Column("said", sa.String(), nullable=False),
        sa.Column("right", sa.Boolean(), nullable=False),
        sa.Column("rule", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(rule) BETWEEN 1 AND 40 AND ltrim(rule, 'abcdefghijklmnopqrstuvwxyz_') = ''",
            name=op.f("ck_exercise_answer_rule"),
        ),
        sa.CheckConstraint(
            "step IN ('trials', 'score', 'set_up', 'source', 'change', 'line')",
            name=op.f("ck_exercise_answer_step"),
        ),
        sa.CheckConstraint(
            "length(said) BETWEEN 1 AND 40", name=op.f("ck_exercise_answer_said")
        ),
        sa.ForeignKeyConstraint(
            ["showing_id"],
            ["exercise_showing.id"],
            name=op.f("fk_exercise_answer_showing_id_exercise_showing"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exercise_answer")),
        sa.UniqueConstraint(
            "showing_id", "step", name=op.f("uq_exercise_answer_showing_id_step")
        ),
    )


def downgrade() -> None:
    op.drop_table("exercise_answer")
    with op.batch_alter_table("exercise_showing", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_exercise_showing_person_id"))

    op.drop_table("exercise_showing")
