"""Filters of the whole caseload that somebody gave a name."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "desk_view",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("filters", sa.JSON(), nullable=False),
        sa.Column("saved_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(name) BETWEEN 1 AND 60", name=op.f("ck_desk_view_name")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_desk_view_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_desk_view")),
        sa.UniqueConstraint(
            "person_id", "name", name=op.f("uq_desk_view_person_id_name")
        ),
    )
    with op.batch_alter_table("desk_view", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_desk_view_person_id"), ["person_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("desk_view", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_desk_view_person_id"))

    op.drop_table("desk_view")
