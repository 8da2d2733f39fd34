"""Team checks, their showings, and practised stops of simulated trials."""

import sqlalchemy as sa
from alembic import op

revision = "0034"
down_revision = "0033"
branch_labels = None
depends_on = None


ADDED = (
    "practice_attempt ADD COLUMN made_safe BOOLEAN DEFAULT FALSE NOT NULL "
    "CONSTRAINT ck_practice_attempt_made_safe "
    "CHECK (NOT made_safe OR (start_ms IS NULL AND typed_ms IS NULL))",
    "practice_attempt ADD COLUMN made_safe_ms INTEGER "
    "CONSTRAINT ck_practice_attempt_made_safe_ms "
    "CHECK (made_safe OR made_safe_ms IS NULL)",
    "practice_attempt ADD COLUMN key_safe_ms INTEGER",
    "practice_showing ADD COLUMN check_id INTEGER "
    "CONSTRAINT fk_practice_showing_check_id_team_check REFERENCES team_check (id)",
    "practice_showing ADD COLUMN check_place INTEGER "
    "CONSTRAINT ck_practice_showing_of_check "
    "CHECK ((check_id IS NULL) = (check_place IS NULL))",
)


def upgrade() -> None:
    op.create_table(
        "team_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("trials", sa.JSON(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_team_check_uid"),
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 64", name=op.f("ck_team_check_edition")
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 60", name=op.f("ck_team_check_measure")
        ),
        sa.ForeignKeyConstraint(
            ["set_by"], ["person.id"], name=op.f("fk_team_check_set_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_team_check")),
        sa.UniqueConstraint("uid", name=op.f("uq_team_check_uid")),
    )
    op.create_table(
        "team_check_member",
        sa.Column("check_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["check_id"],
            ["team_check.id"],
            name=op.f("fk_team_check_member_check_id_team_check"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_team_check_member_person_id_person"),
        ),
        sa.PrimaryKeyConstraint(
            "check_id", "person_id", name=op.f("pk_team_check_member")
        ),
    )
    with op.batch_alter_table("team_check_member", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_team_check_member_person_id"), ["person_id"], unique=False
        )

    for column in ADDED:
        op.execute(f"ALTER TABLE {column}")
    op.create_index(
        "ix_practice_showing_check_id_check_place_person_id",
        "practice_showing",
        ["check_id", "check_place", "person_id"],
        unique=True,
    )


def downgrade() -> None:
    op.drop_index(
        "ix_practice_showing_check_id_check_place_person_id", "practice_showing"
    )
    for column in reversed(ADDED):
        table, _, rest = column.partition(" ADD COLUMN ")
        op.drop_column(table, rest.partition(" ")[0])
    op.drop_table("team_check_member")
    op.drop_table("team_check")
