"""What is owed, clocks that were answered, texts handed in and what was decided."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "owed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("ref", sa.Integer(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("says", sa.String(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('co_sign', 'look_into', 'retest', 'report', 'recertify', 'reassess')",
            name=op.f("ck_owed_kind"),
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 0 AND 60", name=op.f("ck_owed_measure")
        ),
        sa.CheckConstraint("length(says) BETWEEN 1 AND 200", name=op.f("ck_owed_says")),
        sa.CheckConstraint("ref >= 0", name=op.f("ck_owed_ref")),
        sa.ForeignKeyConstraint(
            ["patient_id"], ["patient.id"], name=op.f("fk_owed_patient_id_patient")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_owed")),
    )
    with op.batch_alter_table("owed", schema=None) as batch_op:
        batch_op.create_index("ix_owed_due", ["kind", "due_on"], unique=False)
        batch_op.create_index(
            "ix_owed_once", ["patient_id", "kind", "measure", "ref"], unique=True
        )

    op.create_table(
        "plan_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("recorded_by", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('report', 'recertify', 'reassess')",
            name=op.f("ck_plan_event_kind"),
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"],
            ["episode.id"],
            name=op.f("fk_plan_event_episode_id_episode"),
        ),
        sa.ForeignKeyConstraint(
            ["recorded_by"],
            ["person.id"],
            name=op.f("fk_plan_event_recorded_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_event")),
    )
    with op.batch_alter_table("plan_event", schema=None) as batch_op:
        batch_op.create_index(
            "ix_plan_event_once", ["episode_id", "kind", "on_date"], unique=True
        )

    op.create_table(
        "visit_text",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.Column("own_words", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("version", sa.String(), nullable=False),
        sa.Column("author_id", sa.Integer(), nullable=False),
        sa.Column("written_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('handed_in', 'signed')", name=op.f("ck_visit_text_kind")
        ),
        sa.CheckConstraint(
            "length(hash) = 64 AND ltrim(hash, '0123456789abcdef') = ''",
            name=op.f("ck_visit_text_hash"),
        ),
        sa.CheckConstraint(
            "length(previous_hash) = 64 AND ltrim(previous_hash, '0123456789abcdef') = ''",
            name=op.f("ck_visit_text_previous_hash"),
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 64", name=op.f("ck_visit_text_edition")
        ),
        sa.CheckConstraint(
            "length(own_words) BETWEEN 0 AND 4000", name=op.f("ck_visit_text_own_words")
        ),
        sa.CheckConstraint(
            "length(version) BETWEEN 1 AND 40", name=op.f("ck_visit_text_version")
        ),
        sa.ForeignKeyConstraint(
            ["author_id"], ["person.id"], name=op.f("fk_visit_text_author_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_visit_text_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_text")),
    )
    with op.batch_alter_table("visit_text", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_visit_text_visit_id"), ["visit_id"], unique=False
        )

    op.create_table(
        "review_comment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("text_id", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("written_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "length(words) BETWEEN 1 AND 500", name=op.f("ck_review_comment_words")
        ),
        sa.CheckConstraint(
            "line BETWEEN 0 AND 10000 AND line = CAST(line AS INTEGER)",
            name=op.f("ck_review_comment_line"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_review_comment_person_id_person"),
        ),
        sa.ForeignKeyConstraint(
            ["text_id"],
            ["visit_text.id"],
            name=op.f("fk_review_comment_text_id_visit_text"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_review_comment")),
    )
    with op.batch_alter_table("review_comment", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_review_comment_text_id"), ["text_id"], unique=False
        )

    op.create_table(
        "review_decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("text_id", sa.Integer(), nullable=False),
        sa.Column("decision", sa.String(), nullable=False),
        sa.Column("statement", sa.String(), nullable=False),
        sa.Column("presence", sa.String(), nullable=True),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("checked", sa.JSON(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("decided_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint(
            "decision <> 'co_signed' OR presence IS NOT NULL",
            name=op.f("ck_review_decision_presence_when"),
        ),
        sa.CheckConstraint(
            "decision = 'approved' OR length(statement) >= 1",
            name=op.f("ck_review_decision_said"),
        ),
        sa.CheckConstraint(
            "decision IN ('returned', 'approved', 'co_signed')",
            name=op.f("ck_review_decision_decision"),
        ),
        sa.CheckConstraint(
            "length(hash) = 64 AND ltrim(hash, '0123456789abcdef') = ''",
            name=op.f("ck_review_decision_hash"),
        ),
        sa.CheckConstraint(
            "presence IN ('in_room', 'in_sight', 'on_site')",
            name=op.f("ck_review_decision_presence"),
        ),
        sa.CheckConstraint(
            "length(statement) BETWEEN 0 AND 2000",
            name=op.f("ck_review_decision_statement"),
        ),
        sa.CheckConstraint(
            "minutes BETWEEN 0 AND 600 AND minutes = CAST(minutes AS INTEGER)",
            name=op.f("ck_review_decision_minutes"),
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_review_decision_person_id_person"),
        ),
        sa.ForeignKeyConstraint(
            ["text_id"],
            ["visit_text.id"],
            name=op.f("fk_review_decision_text_id_visit_text"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_review_decision")),
        sa.UniqueConstraint("text_id", name=op.f("uq_review_decision_text_id")),
    )


def downgrade() -> None:
    op.drop_table("review_decision")
    with op.batch_alter_table("review_comment", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_review_comment_text_id"))

    op.drop_table("review_comment")
    with op.batch_alter_table("visit_text", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_visit_text_visit_id"))

    op.drop_table("visit_text")
    with op.batch_alter_table("plan_event", schema=None) as batch_op:
        batch_op.drop_index("ix_plan_event_once")

    op.drop_table("plan_event")
    with op.batch_alter_table("owed", schema=None) as batch_op:
        batch_op.drop_index("ix_owed_once")
        batch_op.drop_index("ix_owed_due")

    op.drop_table("owed")
