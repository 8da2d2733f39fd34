"""What people said of a deficit: added, struck, or taken back."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

LETTERS = "abcdefghijklmnopqrstuvwxyz_"


def upgrade() -> None:
    op.create_table(
        "deficit_word",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("deficit", sa.String(), nullable=False),
        sa.Column("word", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            f"length(deficit) BETWEEN 1 AND 40 AND ltrim(deficit, '{LETTERS}') = ''",
            name=op.f("ck_deficit_word_deficit"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_deficit_word_uid"),
        ),
        sa.CheckConstraint(
            "word = 'back' OR length(reason) >= 1", name=op.f("ck_deficit_word_why")
        ),
        sa.CheckConstraint(
            "word IN ('added', 'struck', 'back')", name=op.f("ck_deficit_word_word")
        ),
        sa.CheckConstraint(
            "length(reason) BETWEEN 0 AND 300", name=op.f("ck_deficit_word_reason")
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"],
            ["episode.id"],
            name=op.f("fk_deficit_word_episode_id_episode"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_deficit_word_recorded_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deficit_word")),
        sa.UniqueConstraint("uid", name=op.f("uq_deficit_word_uid")),
    )
    with op.batch_alter_table("deficit_word", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_deficit_word_episode_id"), ["episode_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("deficit_word", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deficit_word_episode_id"))

    op.drop_table("deficit_word")
