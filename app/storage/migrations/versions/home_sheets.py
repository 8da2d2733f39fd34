"""Home sheets: what a helper was taught, and what was taken back."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "home_sheet",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("helper", sa.String(), nullable=False),
        sa.Column("home_change", sa.String(), nullable=False),
        sa.Column("change_words", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.Integer(), nullable=False),
        sa.Column("body_hash", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.Integer(), nullable=True),
        sa.CheckConstraint(
            "(change_words <> '') = (home_change = 'other')",
            name=op.f("ck_home_sheet_change_when"),
        ),
        sa.CheckConstraint(
            "helper IN ('family', 'paid_carer', 'nursing', 'friend')",
            name=op.f("ck_home_sheet_helper"),
        ),
        sa.CheckConstraint(
            "home_change IN ('light', 'rugs', 'chair', 'rail', 'reach', 'cord', 'mat', 'other')",
            name=op.f("ck_home_sheet_home_change"),
        ),
        sa.CheckConstraint(
            "length(body_hash) = 64 AND ltrim(body_hash, '0123456789abcdef') = ''",
            name=op.f("ck_home_sheet_body_hash"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_home_sheet_uid"),
        ),
        sa.CheckConstraint(
            "(ended_at IS NULL) = (ended_by IS NULL)", name=op.f("ck_home_sheet_ended")
        ),
        sa.CheckConstraint(
            "length(change_words) BETWEEN 0 AND 120",
            name=op.f("ck_home_sheet_change_words"),
        ),
        sa.ForeignKeyConstraint(
            ["ended_by"], ["person.id"], name=op.f("fk_home_sheet_ended_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"],
            ["episode.id"],
            name=op.f("fk_home_sheet_episode_id_episode"),
        ),
        sa.ForeignKeyConstraint(
            ["made_by"], ["person.id"], name=op.f("fk_home_sheet_made_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_home_sheet")),
        sa.UniqueConstraint("uid", name=op.f("uq_home_sheet_uid")),
    )
    with op.batch_alter_table("home_sheet", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_home_sheet_episode_id"), ["episode_id"], unique=False
        )

    op.create_table(
        "home_sheet_item",
        sa.Column("sheet_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("activity", sa.String(), nullable=False),
        sa.Column("grade", sa.String(), nullable=False),
        sa.Column("sets", sa.Integer(), nullable=False),
        sa.Column("times_a_week", sa.Integer(), nullable=False),
        sa.Column("taught_back", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "length(replace(grade, '-', '')) BETWEEN 1 AND 12 AND ltrim(replace(grade, '-', ''), '0123456789.') = '' AND length(replace(grade, '-', '')) - length(replace(replace(grade, '-', ''), '.', '')) <= 1 AND replace(grade, '-', '') <> '.' AND substr(grade, 2) = replace(substr(grade, 2), '-', '')",
            name=op.f("ck_home_sheet_item_grade"),
        ),
        sa.CheckConstraint(
            "length(activity) BETWEEN 3 AND 8", name=op.f("ck_home_sheet_item_activity")
        ),
        sa.CheckConstraint(
            "place BETWEEN 1 AND 9 AND place = CAST(place AS INTEGER)",
            name=op.f("ck_home_sheet_item_place"),
        ),
        sa.CheckConstraint(
            "sets BETWEEN 1 AND 9 AND sets = CAST(sets AS INTEGER)",
            name=op.f("ck_home_sheet_item_sets"),
        ),
        sa.CheckConstraint("taught_back", name=op.f("ck_home_sheet_item_taught_back")),
        sa.CheckConstraint(
            "times_a_week BETWEEN 1 AND 14 AND times_a_week = CAST(times_a_week AS INTEGER)",
            name=op.f("ck_home_sheet_item_times_a_week"),
        ),
        sa.ForeignKeyConstraint(
            ["sheet_id"],
            ["home_sheet.id"],
            name=op.f("fk_home_sheet_item_sheet_id_home_sheet"),
        ),
        sa.PrimaryKeyConstraint("sheet_id", "place", name=op.f("pk_home_sheet_item")),
    )


def downgrade() -> None:
    op.drop_table("home_sheet_item")
    with op.batch_alter_table("home_sheet", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_home_sheet_episode_id"))

    op.drop_table("home_sheet")
