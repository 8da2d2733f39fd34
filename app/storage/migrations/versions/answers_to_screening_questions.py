"""What people answered to the questions of screening pathways, day by day."""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

QUESTIONS = ", ".join(
    f"'{key}'"
    for key in (
        "falls_12_months", "fall_injury", "could_not_get_up", "lost_consciousness",
        "frailty", "unsteady", "worried", "self_check", "dizzy_on_standing",
        "gait_or_balance_problem", "risk_factor",
    )
)  # fmt: skip


def upgrade() -> None:
    op.create_table(
        "pathway_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("question", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("answered_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("answered_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            f"question IN ({QUESTIONS})", name=op.f("ck_pathway_answer_question")
        ),
        sa.CheckConstraint(
            "length(value) BETWEEN 0 AND 20", name=op.f("ck_pathway_answer_value")
        ),
        sa.ForeignKeyConstraint(
            ["answered_by"],
            ["person.id"],
            name=op.f("fk_pathway_answer_answered_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["patient_id"],
            ["patient.id"],
            name=op.f("fk_pathway_answer_patient_id_patient"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pathway_answer")),
    )
    with op.batch_alter_table("pathway_answer", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_pathway_answer_patient_id"), ["patient_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("pathway_answer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pathway_answer_patient_id"))

    op.drop_table("pathway_answer")
