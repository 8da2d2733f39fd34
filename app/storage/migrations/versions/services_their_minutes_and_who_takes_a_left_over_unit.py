"""Services, their minutes, and which of them takes a left-over unit."""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "service",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("timed", sa.Boolean(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(name) BETWEEN 1 AND 40", name=op.f("ck_service_name")
        ),
        sa.CheckConstraint("name = trim(name)", name=op.f("ck_service_name_trimmed")),
        sa.ForeignKeyConstraint(
            ["added_by"], ["person.id"], name=op.f("fk_service_added_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_service")),
        sa.UniqueConstraint(
            "is_demo", "name", "timed", name=op.f("uq_service_is_demo_name_timed")
        ),
    )
    op.create_table(
        "service_minutes",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("service_id", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "minutes BETWEEN 1 AND 600 AND minutes = CAST(minutes AS INTEGER)",
            name=op.f("ck_service_minutes_minutes"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_service_minutes_recorded_by_person"),
        ),
        sa.ForeignKeyConstraint(
            ["service_id"],
            ["service.id"],
            name=op.f("fk_service_minutes_service_id_service"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_service_minutes_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint(
            "visit_id", "service_id", name=op.f("pk_service_minutes")
        ),
    )
    op.create_table(
        "unit_choice",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("service_id", sa.Integer(), nullable=False),
        sa.Column("chosen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("chosen_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["chosen_by"], ["person.id"], name=op.f("fk_unit_choice_chosen_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["service_id"],
            ["service.id"],
            name=op.f("fk_unit_choice_service_id_service"),
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_unit_choice_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("visit_id", "service_id", name=op.f("pk_unit_choice")),
    )


def downgrade() -> None:
    op.drop_table("unit_choice")
    op.drop_table("service_minutes")
    op.drop_table("service")
