"""Sign-offs of timing and scoring, what they ask for, and lists of what to practise."""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "competence_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("is_demo", sa.Boolean(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("least_trials", sa.Integer(), nullable=False),
        sa.Column("most_bias_ms", sa.Integer(), nullable=False),
        sa.Column("most_apart_ms", sa.Integer(), nullable=False),
        sa.Column("least_seen", sa.Integer(), nullable=False),
        sa.Column("least_kappa", sa.Integer(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "least_kappa BETWEEN 1 AND 100 AND least_kappa = CAST(least_kappa AS INTEGER)",
            name=op.f("ck_competence_rule_least_kappa"),
        ),
        sa.CheckConstraint(
            "least_seen BETWEEN 1 AND 100 AND least_seen = CAST(least_seen AS INTEGER)",
            name=op.f("ck_competence_rule_least_seen"),
        ),
        sa.CheckConstraint(
            "least_trials BETWEEN 10 AND 200 AND least_trials = CAST(least_trials AS INTEGER)",
            name=op.f("ck_competence_rule_least_trials"),
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 64", name=op.f("ck_competence_rule_edition")
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 60", name=op.f("ck_competence_rule_measure")
        ),
        sa.CheckConstraint(
            "most_apart_ms BETWEEN 10 AND 10000 AND most_apart_ms = CAST(most_apart_ms AS INTEGER)",
            name=op.f("ck_competence_rule_most_apart_ms"),
        ),
        sa.CheckConstraint(
            "most_bias_ms BETWEEN 10 AND 5000 AND most_bias_ms = CAST(most_bias_ms AS INTEGER)",
            name=op.f("ck_competence_rule_most_bias_ms"),
        ),
        sa.ForeignKeyConstraint(
            ["set_by"], ["person.id"], name=op.f("fk_competence_rule_set_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_competence_rule")),
    )
    with op.batch_alter_table("competence_rule", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_competence_rule_is_demo_measure_edition"),
            ["is_demo", "measure", "edition"],
            unique=False,
        )

    op.create_table(
        "competence_sign_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("measure", sa.String(), nullable=False),
        sa.Column("edition", sa.String(), nullable=False),
        sa.Column("figures", sa.JSON(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("until", sa.Date(), nullable=True),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(uid) = 32 AND ltrim(uid, '0123456789abcdef') = ''",
            name=op.f("ck_competence_sign_off_uid"),
        ),
        sa.CheckConstraint(
            "length(edition) BETWEEN 1 AND 64",
            name=op.f("ck_competence_sign_off_edition"),
        ),
        sa.CheckConstraint(
            "length(measure) BETWEEN 1 AND 60",
            name=op.f("ck_competence_sign_off_measure"),
        ),
        sa.CheckConstraint(
            "length(words) BETWEEN 0 AND 500", name=op.f("ck_competence_sign_off_words")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["person.id"],
            name=op.f("fk_competence_sign_off_person_id_person"),
        ),
        sa.ForeignKeyConstraint(
            ["signed_by"],
            ["person.id"],
            name=op.f("fk_competence_sign_off_signed_by_person"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_competence_sign_off")),
        sa.UniqueConstraint("uid", name=op.f("uq_competence_sign_off_uid")),
    )
    with op.batch_alter_table("competence_sign_off", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_competence_sign_off_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "practice_list",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("trials", sa.JSON(), nullable=False),
        sa.Column("set_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("set_by", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_practice_list_person_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["set_by"], ["person.id"], name=op.f("fk_practice_list_set_by_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice_list")),
    )
    with op.batch_alter_table("practice_list", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_practice_list_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "competence_withdrawal",
        sa.Column("sign_off_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("withdrawn_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("withdrawn_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "length(reason) BETWEEN 1 AND 500",
            name=op.f("ck_competence_withdrawal_reason"),
        ),
        sa.ForeignKeyConstraint(
            ["sign_off_id"],
            ["competence_sign_off.id"],
            name=op.f("fk_competence_withdrawal_sign_off_id_competence_sign_off"),
        ),
        sa.ForeignKeyConstraint(
            ["withdrawn_by"],
            ["person.id"],
            name=op.f("fk_competence_withdrawal_withdrawn_by_person"),
        ),
        sa.PrimaryKeyConstraint("sign_off_id", name=op.f("pk_competence_withdrawal")),
    )


def downgrade() -> None:
    op.drop_table("competence_withdrawal")
    with op.batch_alter_table("practice_list", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_practice_list_person_id"))

    op.drop_table("practice_list")
    with op.batch_alter_table("competence_sign_off", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_competence_sign_off_person_id"))

    op.drop_table("competence_sign_off")
    with op.batch_alter_table("competence_rule", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_competence_rule_is_demo_measure_edition"))

    op.drop_table("competence_rule")
