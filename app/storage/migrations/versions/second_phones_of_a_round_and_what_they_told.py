"""Second phones of a round, and what the two told each other."""

import sqlalchemy as sa
from alembic import op

revision = "0032"
down_revision = "0031"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "round_help",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("owner_id", sa.Integer(), nullable=False),
        sa.Column("helper_id", sa.Integer(), nullable=True),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("joined_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["helper_id"], ["person.id"], name=op.f("fk_round_help_helper_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["person.id"], name=op.f("fk_round_help_owner_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["round_id"], ["round.id"], name=op.f("fk_round_help_round_id_round")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_round_help")),
    )
    with op.batch_alter_table("round_help", schema=None) as batch_op:
        batch_op.create_index(
            "ix_round_help_open",
            ["round_id"],
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )
        batch_op.create_index(
            batch_op.f("ix_round_help_round_id"), ["round_id"], unique=False
        )

    op.create_table(
        "help_press",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("help_id", sa.Integer(), nullable=False),
        sa.Column("trial_uid", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("side", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("stamp", sa.JSON(), nullable=False),
        sa.Column("told_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('start', 'stop', 'safe', 'clear')",
            name=op.f("ck_help_press_kind"),
        ),
        sa.CheckConstraint(
            "length(trial_uid) = 32 AND ltrim(trial_uid, '0123456789abcdef') = ''",
            name=op.f("ck_help_press_trial_uid"),
        ),
        sa.CheckConstraint(
            "side IN ('owner', 'helper')", name=op.f("ck_help_press_side")
        ),
        sa.ForeignKeyConstraint(
            ["help_id"],
            ["round_help.id"],
            name=op.f("fk_help_press_help_id_round_help"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_help_press_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_help_press")),
        sa.UniqueConstraint(
            "help_id",
            "trial_uid",
            "kind",
            "side",
            name=op.f("uq_help_press_help_id_trial_uid_kind_side"),
        ),
    )


def downgrade() -> None:
    op.drop_table("help_press")
    with op.batch_alter_table("round_help", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_round_help_round_id"))
        batch_op.drop_index(
            "ix_round_help_open",
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )

    op.drop_table("round_help")
