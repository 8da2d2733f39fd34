"""Plans of sessions with their activities, and the activities somebody starred."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "favourite_activity",
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("activity", sa.String(), nullable=False),
        sa.CheckConstraint(
            "length(activity) BETWEEN 3 AND 8",
            name=op.f("ck_favourite_activity_activity"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_favourite_activity_person_id_person"),
        ),
        sa.PrimaryKeyConstraint(
            "person_id", "activity", name=op.f("pk_favourite_activity")
        ),
    )
    op.create_table(
        "session_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("for_date", sa.Date(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("edited_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_session_plan_uid"),
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_session_plan_version")),
        sa.ForeignKeyConstraint(
            ["episode_id"],
            ["episode.id"],
            name=op.f("fk_session_plan_episode_id_episode"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_session_plan_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session_plan")),
        sa.UniqueConstraint(
            "episode_id",
            "person_id",
            "for_date",
            name=op.f("uq_session_plan_episode_id_person_id_for_date"),
        ),
        sa.UniqueConstraint("uid", name=op.f("uq_session_plan_uid")),
    )
    op.create_table(
        "plan_item",
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("activity", sa.String(), nullable=False),
        sa.Column("grade", sa.String(), nullable=False),
        sa.Column("sets", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("override", sa.String(), nullable=False),
        sa.Column("against", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "length(replace(grade, '-', '')) BETWEEN 1 AND 12 AND ltrim(replace(grade, '-', ''), '0123456789.') = '' AND length(replace(grade, '-', '')) - length(replace(replace(grade, '-', ''), '.', '')) <= 1 AND replace(grade, '-', '') <> '.' AND substr(grade, 2) = replace(substr(grade, 2), '-', '')",
            name=op.f("ck_plan_item_grade"),
        ),
        sa.CheckConstraint(
            "length(activity) BETWEEN 3 AND 8", name=op.f("ck_plan_item_activity")
        ),
        sa.CheckConstraint(
            "length(override) BETWEEN 0 AND 300", name=op.f("ck_plan_item_override")
        ),
        sa.CheckConstraint(
            "minutes BETWEEN 1 AND 600 AND minutes = CAST(minutes AS INTEGER)",
            name=op.f("ck_plan_item_minutes"),
        ),
        sa.CheckConstraint(
            "place BETWEEN 0 AND 99 AND place = CAST(place AS INTEGER)",
            name=op.f("ck_plan_item_place"),
        ),
        sa.CheckConstraint(
            "sets BETWEEN 1 AND 10 AND sets = CAST(sets AS INTEGER)",
            name=op.f("ck_plan_item_sets"),
        ),
        sa.ForeignKeyConstraint(
            ["plan_id"],
            ["session_plan.id"],
            name=op.f("fk_plan_item_plan_id_session_plan"),
        ),
        sa.PrimaryKeyConstraint("plan_id", "place", name=op.f("pk_plan_item")),
        sa.UniqueConstraint(
            "plan_id", "activity", name=op.f("uq_plan_item_plan_id_activity")
        ),
    )


def downgrade() -> None:
    op.drop_table("plan_item")
    op.drop_table("session_plan")
    op.drop_table("favourite_activity")
