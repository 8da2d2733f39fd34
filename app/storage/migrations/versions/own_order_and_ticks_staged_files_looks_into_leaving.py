"""Own order and ticks of lists, staged import files, looks into visits left."""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "owed_basis",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("says", sa.String(), nullable=False),
        sa.CheckConstraint(
            "length(says) BETWEEN 1 AND 200", name=op.f("ck_owed_basis_says")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_owed_basis")),
    )
    op.create_table(
        "staged_import",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("assign_to", sa.Integer(), nullable=False),
        sa.Column("staged_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_staged_import_uid"),
        ),
        sa.UniqueConstraint("uid", name=op.f("uq_staged_import_uid")),
        sa.ForeignKeyConstraint(
            ["assign_to"], ["person.id"], name=op.f("fk_staged_import_assign_to_person")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_staged_import_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staged_import")),
        sa.UniqueConstraint("person_id", name=op.f("uq_staged_import_person_id")),
    )
    op.create_table(
        "day_tick",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_day_tick_patient_id_patient")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_day_tick_person_id_person")
        ),
        sa.PrimaryKeyConstraint("person_id", "patient_id", name=op.f("pk_day_tick")),
    )
    op.create_table(
        "list_place",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.CheckConstraint("place >= 0", name=op.f("ck_list_place_place")),
        sa.ForeignKeyConstraint(
            ["patient_id"],
            ["patient.id"],
            name=op.f("fk_list_place_patient_id_patient"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_list_place_person_id_person")
        ),
        sa.PrimaryKeyConstraint("person_id", "patient_id", name=op.f("pk_list_place")),
    )
    op.create_table(
        "staged_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("import_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint(
            "length(name) BETWEEN 0 AND 80", name=op.f("ck_staged_file_name")
        ),
        sa.ForeignKeyConstraint(
            ["import_id"],
            ["staged_import.id"],
            name=op.f("fk_staged_file_import_id_staged_import"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_staged_file")),
    )
    with op.batch_alter_table("staged_file", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_staged_file_import_id"), ["import_id"], unique=False
        )

    op.create_table(
        "left_seen",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_left_seen_person_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_left_seen_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("visit_id", name=op.f("pk_left_seen")),
    )


def downgrade() -> None:
    op.drop_table("left_seen")
    with op.batch_alter_table("staged_file", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_staged_file_import_id"))

    op.drop_table("staged_file")
    op.drop_table("list_place")
    op.drop_table("day_tick")
    op.drop_table("staged_import")
    op.drop_table("owed_basis")
