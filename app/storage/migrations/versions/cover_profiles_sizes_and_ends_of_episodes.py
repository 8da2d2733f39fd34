"""Cover for colleagues, profiles, body sizes, ends of episodes, archived and folded.

Columns are added one by one: a rebuilt table would lose what reflection misses.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

ENDS = "goals_met plateau moved declined medical payer died"


def text_column(table: str, name: str, most: int) -> str:
    return (
        f"{table} ADD COLUMN {name} VARCHAR DEFAULT '' NOT NULL "
        f"CONSTRAINT ck_{table}_{name} CHECK (length({name}) BETWEEN 0 AND {most})"
    )


ADDED = (
    text_column("assignment", "note", 200),
    text_column("precaution", "end_note", 200),
    text_column("patient", "full_name", 120),
    text_column("patient", "record_number", 40),
    "patient ADD COLUMN edited_by INTEGER "
    "CONSTRAINT fk_patient_edited_by_person REFERENCES person (id)",
    "episode ADD COLUMN end_reason VARCHAR CONSTRAINT ck_episode_end_reason "
    f"CHECK (end_reason IN ({', '.join(repr(w) for w in ENDS.split())})) "
    "CONSTRAINT ck_episode_end_reason_when "
    "CHECK (end_reason IS NULL OR closed_on IS NOT NULL)",
    "episode ADD COLUMN order_on DATE",
    "episode ADD COLUMN plan_on DATE",
    "episode ADD COLUMN version INTEGER DEFAULT 1 NOT NULL "
    "CONSTRAINT ck_episode_version CHECK (version >= 1)",
)
INSTANTS = (("patient", "edited_at"),)


def upgrade() -> None:
    op.create_table(
        "cover",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("for_id", sa.Integer(), nullable=False),
        sa.Column("since", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "length(reason) BETWEEN 1 AND 200", name=op.f("ck_cover_reason")
        ),
        sa.CheckConstraint("person_id <> for_id", name=op.f("ck_cover_two")),
        sa.CheckConstraint("until > since", name=op.f("ck_cover_until")),
        sa.ForeignKeyConstraint(
            ["for_id"], ["person.id"], name=op.f("fk_cover_for_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_cover_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cover")),
    )
    with op.batch_alter_table("cover", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_cover_person_id"), ["person_id"], unique=False
        )

    op.create_table(
        "patient_size",
        sa.Column("patient_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.CheckConstraint(
            "(key = 'height' AND unit IN ('cm', 'in')) OR (key = 'lower_leg' AND unit IN ('cm', 'in')) OR (key = 'weight' AND unit IN ('kg', 'lb'))",
            name=op.f("ck_patient_size_key"),
        ),
        sa.CheckConstraint(
            "length(value) BETWEEN 1 AND 12 AND ltrim(value, '0123456789.') = '' AND length(value) - length(replace(value, '.', '')) <= 1 AND value <> '.' AND ltrim(value, '0.') <> ''",
            name=op.f("ck_patient_size_value"),
        ),
        sa.ForeignKeyConstraint(
            ["patient_id"],
            ["patient.id"],
            name=op.f("fk_patient_size_patient_id_patient"),
        ),
        sa.PrimaryKeyConstraint("patient_id", "key", name=op.f("pk_patient_size")),
    )
    op.create_table(
        "profile",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("episode_id", sa.Integer(), nullable=False),
        sa.Column("prior_self_care", sa.String(), nullable=True),
        sa.Column("prior_mobility", sa.String(), nullable=True),
        sa.Column("lives_with", sa.String(), nullable=True),
        sa.Column("home", sa.String(), nullable=False),
        sa.Column("helper", sa.String(), nullable=False),
        sa.Column("matters", sa.String(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("edited_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("edited_by", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "lives_with IN ('alone', 'partner', 'family', 'others', 'facility')",
            name=op.f("ck_profile_lives_with"),
        ),
        sa.CheckConstraint(
            "prior_mobility IN ('alone', 'device', 'helped', 'dependent')",
            name=op.f("ck_profile_prior_mobility"),
        ),
        sa.CheckConstraint(
            "prior_self_care IN ('alone', 'device', 'helped', 'dependent')",
            name=op.f("ck_profile_prior_self_care"),
        ),
        sa.CheckConstraint(
            "length(helper) BETWEEN 0 AND 200", name=op.f("ck_profile_helper")
        ),
        sa.CheckConstraint(
            "length(home) BETWEEN 0 AND 300", name=op.f("ck_profile_home")
        ),
        sa.CheckConstraint(
            "length(matters) BETWEEN 0 AND 500", name=op.f("ck_profile_matters")
        ),
        sa.CheckConstraint("version >= 1", name=op.f("ck_profile_version")),
        sa.ForeignKeyConstraint(
            ["edited_by"], ["person.id"], name=op.f("fk_profile_edited_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["episode_id"], ["episode.id"], name=op.f("fk_profile_episode_id_episode")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_profile")),
        sa.UniqueConstraint("episode_id", name=op.f("uq_profile_episode_id")),
    )
    for column in ADDED:
        op.execute(f"ALTER TABLE {column}")
    for table, column in INSTANTS:
        op.add_column(table, sa.Column(column, sa.DateTime(timezone=True)))
    op.add_column(
        "patient",
        sa.Column(
            "archived_at",
            sa.DateTime(timezone=True),
            sa.CheckConstraint(
                "archived_at IS NULL OR closed_at IS NOT NULL",
                name=op.f("ck_patient_archived"),
            ),
        ),
    )
    op.execute(
        "ALTER TABLE patient ADD COLUMN merged_into INTEGER "
        "CONSTRAINT fk_patient_merged_into_patient REFERENCES patient (id) "
        "CONSTRAINT ck_patient_merged "
        "CHECK (merged_into IS NULL OR closed_at IS NOT NULL)"
    )
    op.create_index("ix_patient_merged_into", "patient", ["merged_into"])


def downgrade() -> None:
    op.drop_index("ix_patient_merged_into", "patient")
    op.drop_column("patient", "merged_into")
    op.drop_column("patient", "archived_at")
    for table, column in reversed(INSTANTS):
        op.drop_column(table, column)
    for column in reversed(ADDED):
        table, _, _, name = column.split(" ", 4)[:4]
        op.drop_column(table, name)
    for table in ("profile", "patient_size", "cover"):
        op.drop_table(table)
