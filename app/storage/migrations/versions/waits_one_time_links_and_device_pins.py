"""Waits after wrong guesses, links that work once, and PINs of single devices."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "guess_wait",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key_hash", sa.String(), nullable=False),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(key_hash) = 64 AND ltrim(key_hash, '0123456789abcdef') = ''",
            name=op.f("ck_guess_wait_key_hash"),
        ),
        sa.CheckConstraint("wrong >= 1", name=op.f("ck_guess_wait_wrong")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_guess_wait")),
        sa.UniqueConstraint("key_hash", name=op.f("uq_guess_wait_key_hash")),
    )
    op.create_table(
        "device",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key_hash", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("pin_hash", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "length(key_hash) = 64 AND ltrim(key_hash, '0123456789abcdef') = ''",
            name=op.f("ck_device_key_hash"),
        ),
        sa.CheckConstraint("wrong BETWEEN 0 AND 5", name=op.f("ck_device_wrong")),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_device_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_device")),
        sa.UniqueConstraint("key_hash", name=op.f("uq_device_key_hash")),
    )
    with op.batch_alter_table("device", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_device_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "one_time_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "(person_id IS NULL) = (purpose = 'setup')",
            name=op.f("ck_one_time_link_person"),
        ),
        sa.CheckConstraint(
            "length(token_hash) = 64 AND ltrim(token_hash, '0123456789abcdef') = ''",
            name=op.f("ck_one_time_link_token_hash"),
        ),
        sa.CheckConstraint(
            "purpose IN ('setup', 'passphrase')", name=op.f("ck_one_time_link_purpose")
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_one_time_link_made_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_one_time_link_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_one_time_link")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_one_time_link_token_hash")),
    )
    with op.batch_alter_table("one_time_link", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_one_time_link_person_id"), ["person_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("one_time_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_one_time_link_person_id"))

    op.drop_table("one_time_link")
    with op.batch_alter_table("device", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_device_person_id"))

    op.drop_table("device")
    op.drop_table("guess_wait")
