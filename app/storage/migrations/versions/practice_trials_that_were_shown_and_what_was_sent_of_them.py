"""Practice trials that were shown, and what was sent of them."""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "practice_showing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("case_id", sa.String(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("trial", sa.Integer(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("shown_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_practice_showing_uid"),
        ),
        sa.CheckConstraint(
            "length(case_id) BETWEEN 1 AND 80", name=op.f("ck_practice_showing_case_id")
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 64", name=op.f("ck_practice_showing_edition")
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 80", name=op.f("ck_practice_showing_measure")
        ),
        sa.CheckConstraint(
            "seed BETWEEN 0 AND 2147483647 AND seed = CAST(seed AS INTEGER)",
            name=op.f("ck_practice_showing_seed"),
        ),
        sa.CheckConstraint(
            "trial BETWEEN 1 AND 999 AND trial = CAST(trial AS INTEGER)",
            name=op.f("ck_practice_showing_trial"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_practice_showing_person_id_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_showing")),
        sa.UniqueConstraint("uid", name=op.f("uq_practice_showing_uid")),
    )
    with op.batch_alter_table("practice_showing", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_practice_showing_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "practice_attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("showing_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("start_ms", sa.Integer(), nullable=True),
        sa.Column("stop_ms", sa.Integer(), nullable=True),
        sa.Column("typed_ms", sa.Integer(), nullable=True),
        sa.Column("splits", sa.JSON(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=True),
        sa.Column("distance", sa.String(), nullable=False),
        sa.Column("faults_said", sa.JSON(), nullable=False),
        sa.Column("valid_said", sa.Boolean(), nullable=True),
        sa.Column("key_start_ms", sa.Integer(), nullable=False),
        sa.Column("key_stop_ms", sa.Integer(), nullable=False),
        sa.Column("key_splits", sa.JSON(), nullable=False),
        sa.Column("key_faults", sa.JSON(), nullable=False),
        sa.Column("key_valid", sa.Boolean(), nullable=False),
        sa.Column("key_count", sa.Integer(), nullable=True),
        sa.Column("key_distance", sa.String(), nullable=False),
        sa.Column("sent_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("shared", sa.Boolean(), nullable=False),
        sa.Column("stays_shared", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "distance = '' OR (length(distance) BETWEEN 1 AND 12 AND ltrim(distance, '0123456789.') = '' AND length(distance) - length(replace(distance, '.', '')) <= 1 AND distance <> '.')",
            name=op.f("ck_practice_attempt_distance"),
        ),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_practice_attempt_uid"),
        ),
        sa.CheckConstraint(
            "(start_ms IS NULL) = (stop_ms IS NULL)",
            name=op.f("ck_practice_attempt_one_time"),
        ),
        sa.CheckConstraint(
            "count BETWEEN 0 AND 999 AND count = CAST(count AS INTEGER)",
            name=op.f("ck_practice_attempt_count"),
        ),
        sa.CheckConstraint(
            "key_count BETWEEN 0 AND 999 AND key_count = CAST(key_count AS INTEGER)",
            name=op.f("ck_practice_attempt_key_count"),
        ),
        sa.CheckConstraint(
            "shared OR NOT stays_shared", name=op.f("ck_practice_attempt_stays_shared")
        ),
        sa.CheckConstraint(
            "start_ms <= stop_ms", name=op.f("ck_practice_attempt_order")
        ),
        sa.CheckConstraint(
            "start_ms BETWEEN -3600000 AND 3600000 AND start_ms = CAST(start_ms AS INTEGER)",
            name=op.f("ck_practice_attempt_start_ms"),
        ),
        sa.CheckConstraint(
            "start_ms IS NULL OR typed_ms IS NULL",
            name=op.f("ck_practice_attempt_watched_or_read"),
        ),
        sa.CheckConstraint(
            "stop_ms BETWEEN -3600000 AND 3600000 AND stop_ms = CAST(stop_ms AS INTEGER)",
            name=op.f("ck_practice_attempt_stop_ms"),
        ),
        sa.CheckConstraint(
            "typed_ms BETWEEN 1 AND 3600000 AND typed_ms = CAST(typed_ms AS INTEGER)",
            name=op.f("ck_practice_attempt_typed_ms"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_practice_attempt_person_id_person"),
        ),
        sa.ForeignKeyConstraint(
            ["showing_id"],
            ["practice_showing.id"],
            name=op.f("fk_practice_attempt_showing_id_practice_showing"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_attempt")),
        sa.UniqueConstraint("showing_id", name=op.f("uq_practice_attempt_showing_id")),
        sa.UniqueConstraint("uid", name=op.f("uq_practice_attempt_uid")),
    )
    with op.batch_alter_table("practice_attempt", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_practice_attempt_person_id"), ["person_id"], unique=False
        )
        batch_op.create_index(
            "ix_practice_attempt_shared", ["shared", "person_id"], unique=False
        )


def downgrade() -> None:
    with op.batch_alter_table("practice_attempt", schema=None) as batch_op:
        batch_op.drop_index("ix_practice_attempt_shared")
        batch_op.drop_index(batch_op.f("ix_practice_attempt_person_id"))

    op.drop_table("practice_attempt")
    with op.batch_alter_table("practice_showing", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_practice_showing_person_id"))

    op.drop_table("practice_showing")
