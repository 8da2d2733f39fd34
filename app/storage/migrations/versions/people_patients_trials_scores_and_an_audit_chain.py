"""People, patients, trials, scores and an audit chain.

Closed lists are written out: a migration says what was true when it was made.
"""

from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

OUTCOMES = "completed unable stopped declined not_done"
CONDITIONS = (
    "parkinson stroke cognitive_impairment ms vestibular sci amputation hip_fracture "
    "lumbar_degenerative lumbar_surgery hip_osteoarthritis knee_osteoarthritis "
    "joint_replacement_waiting knee_replacement copd icu_survivor neurological"
)
SETTINGS = (
    "community home_care outpatient day_hospital sheltered_housing institution acute "
    "inpatient"
)
FACTS = {
    "time_since": "first_week first_months established",
    "amputation_level": "below_knee above_knee",
    "fall_history": "none one two_or_more",
    "fall_risk_scale": "low moderate high",
    "cognition": "early_loss mild_to_moderate alzheimer dementia",
    "severity": "mild moderate severe",
}
PRECAUTIONS = (
    "medical_hold unstable_vitals nwb_le ttwb_le pwb_le wb_unknown nwb_ue hip_post "
    "hip_ant hip_abd sternal spinal abdominal shoulder ortho_hypo dizzy_uncontrolled "
    "low_vision insensate cog_safety neglect seizure freezing lines_tubes oxygen "
    "high_fall_standing bleeding_risk osteoporosis ligature_risk entanglement "
    "skin_fragile infection"
)
UNABLE_REASONS = "physical hands_on_help not_understood pain symptoms"
TABLES = (
    "person sign_in patient patient_condition patient_fact assignment episode "
    "precaution visit round trial score audit_entry audit_head"
)


def number(name: str, null: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=null)


def text(name: str, null: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(), nullable=null)


def yes_no(name: str, null: bool = False) -> sa.Column[bool]:
    return sa.Column(name, sa.Boolean(), nullable=null)


def day(name: str, null: bool = False) -> sa.Column[date]:
    return sa.Column(name, sa.Date(), nullable=null)


def instant(name: str, null: bool = False) -> sa.Column[datetime]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=null)


def json(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.JSON(), nullable=False)


def keyed(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=op.f(f"pk_{table}"))


def unique(table: str, *columns: str) -> sa.UniqueConstraint:
    name = op.f(f"uq_{table}_{'_'.join(columns)}")
    return sa.UniqueConstraint(*columns, name=name)


def refers(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name)


def check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def listed(column: str, words: str, *, first: str = "") -> str:
    quoted = [f"'{word}'" for word in words.split()]
    return f"{column} IN ({first}{', '.join(quoted)})"


def one_of(table: str, column: str, words: str) -> sa.CheckConstraint:
    return check(table, column, listed(column, words))


def between(table: str, column: str, low: int, high: int) -> sa.CheckConstraint:
    whole = f"{column} = CAST({column} AS INTEGER)"
    return check(table, column, f"{column} BETWEEN {low} AND {high} AND {whole}")


def length(table: str, column: str, low: int, high: int) -> sa.CheckConstraint:
    return check(table, column, f"length({column}) BETWEEN {low} AND {high}")


def hexadecimal(table: str, column: str, size: int) -> sa.CheckConstraint:
    only = f"ltrim({column}, '0123456789abcdef') = ''"
    return check(table, column, f"length({column}) = {size} AND {only}")


def word(table: str, column: str) -> sa.CheckConstraint:
    only = f"ltrim({column}, 'abcdefghijklmnopqrstuvwxyz_') = ''"
    return check(table, column, f"length({column}) BETWEEN 1 AND 40 AND {only}")


def decimal(column: str) -> str:
    return (
        f"length({column}) BETWEEN 1 AND 12 AND ltrim({column}, '0123456789.') = '' "
        f"AND length({column}) - length(replace({column}, '.', '')) <= 1 "
        f"AND {column} <> '.'"
    )


def upgrade() -> None:
    people()
    patients()
    known_of_patients()
    episodes()
    visits()
    rounds()
    trials()
    scores()
    audit()


def people() -> None:
    op.create_table(
        "person",
        number("id"),
        text("handle"),
        text("name"),
        text("role"),
        text("passphrase_hash"),
        yes_no("is_demo"),
        yes_no("active"),
        instant("created_at"),
        instant("last_seen_at", null=True),
        number("version"),
        one_of("person", "role", "therapist assistant student supervisor"),
        length("person", "name", 1, 80),
        check(
            "person",
            "handle",
            "length(handle) BETWEEN 1 AND 60 AND handle = lower(handle)",
        ),
        check("person", "version", "version >= 1"),
        keyed("person", "id"),
        unique("person", "handle"),
    )
    op.create_table(
        "sign_in",
        number("id"),
        text("token_hash"),
        number("person_id"),
        instant("started_at"),
        instant("last_seen_at"),
        instant("ended_at", null=True),
        hexadecimal("sign_in", "token_hash", 64),
        refers("sign_in", "person_id", "person"),
        keyed("sign_in", "id"),
        unique("sign_in", "token_hash"),
    )
    op.create_index("ix_sign_in_person_id", "sign_in", ["person_id"])


def patients() -> None:
    op.create_table(
        "patient",
        number("id"),
        text("uid"),
        text("label"),
        number("birth_year", null=True),
        day("birth_date", null=True),
        text("sex", null=True),
        yes_no("is_demo"),
        number("version"),
        instant("created_at"),
        instant("closed_at", null=True),
        hexadecimal("patient", "uid", 32),
        length("patient", "label", 1, 80),
        between("patient", "birth_year", 1900, 2100),
        check(
            "patient",
            "birth_date",
            "birth_date BETWEEN '1900-01-01' AND '2100-12-31'",
        ),
        check("patient", "one_birth", "birth_year IS NULL OR birth_date IS NULL"),
        one_of("patient", "sex", "female male"),
        check("patient", "version", "version >= 1"),
        keyed("patient", "id"),
        unique("patient", "uid"),
    )


def known_of_patients() -> None:
    op.create_table(
        "patient_condition",
        number("patient_id"),
        text("condition"),
        day("since_date", null=True),
        one_of("patient_condition", "condition", CONDITIONS),
        refers("patient_condition", "patient_id", "patient"),
        keyed("patient_condition", "patient_id", "condition"),
    )
    rules = [f"(key = '{key}' AND {listed('value', FACTS[key])})" for key in FACTS]
    op.create_table(
        "patient_fact",
        number("patient_id"),
        text("key"),
        text("value"),
        check("patient_fact", "value", " OR ".join(rules)),
        refers("patient_fact", "patient_id", "patient"),
        keyed("patient_fact", "patient_id", "key"),
    )
    op.create_table(
        "assignment",
        number("id"),
        number("patient_id"),
        number("person_id"),
        instant("since"),
        instant("until", null=True),
        refers("assignment", "patient_id", "patient"),
        refers("assignment", "person_id", "person"),
        keyed("assignment", "id"),
    )
    op.create_index("ix_assignment_patient_id", "assignment", ["patient_id"])
    op.create_index(
        "ix_assignment_open",
        "assignment",
        ["person_id", "patient_id"],
        unique=True,
        sqlite_where=sa.text("until IS NULL"),
        postgresql_where=sa.text("until IS NULL"),
    )


def episodes() -> None:
    op.create_table(
        "episode",
        number("id"),
        number("patient_id"),
        text("reason"),
        text("setting"),
        text("plan"),
        day("opened_on"),
        day("closed_on", null=True),
        length("episode", "reason", 1, 200),
        one_of("episode", "setting", SETTINGS),
        one_of("episode", "plan", "restore maintain"),
        check("episode", "closed_on", "closed_on >= opened_on"),
        refers("episode", "patient_id", "patient"),
        keyed("episode", "id"),
    )
    op.create_index("ix_episode_patient_id", "episode", ["patient_id"])
    op.create_table(
        "precaution",
        number("id"),
        number("episode_id"),
        text("tag"),
        text("note"),
        text("set_by"),
        day("set_on"),
        day("review_on", null=True),
        day("ended_on", null=True),
        one_of("precaution", "tag", PRECAUTIONS),
        length("precaution", "note", 0, 500),
        length("precaution", "set_by", 0, 80),
        check("precaution", "review_on", "review_on >= set_on"),
        check("precaution", "ended_on", "ended_on >= set_on"),
        refers("precaution", "episode_id", "episode"),
        keyed("precaution", "id"),
    )
    op.create_index("ix_precaution_episode_id", "precaution", ["episode_id"])


def visits() -> None:
    op.create_table(
        "visit",
        number("id"),
        text("uid"),
        number("episode_id"),
        number("person_id"),
        day("local_date"),
        text("zone"),
        instant("started_at"),
        hexadecimal("visit", "uid", 32),
        length("visit", "zone", 1, 60),
        refers("visit", "episode_id", "episode"),
        refers("visit", "person_id", "person"),
        keyed("visit", "id"),
        unique("visit", "uid"),
        unique("visit", "episode_id", "person_id", "local_date"),
    )


def rounds() -> None:
    op.create_table(
        "round",
        number("id"),
        text("uid"),
        number("visit_id"),
        number("person_id"),
        text("measure"),
        text("variant"),
        json("facts"),
        instant("created_at"),
        hexadecimal("round", "uid", 32),
        length("round", "measure", 1, 80),
        length("round", "variant", 0, 80),
        refers("round", "visit_id", "visit"),
        refers("round", "person_id", "person"),
        keyed("round", "id"),
        unique("round", "uid"),
    )
    op.create_index("ix_round_visit_id", "round", ["visit_id"])


def trials() -> None:
    op.create_table(
        "trial",
        number("id"),
        text("uid"),
        number("round_id"),
        number("place"),
        yes_no("practice"),
        text("outcome"),
        text("reason"),
        number("raw_ms", null=True),
        text("raw_value", null=True),
        text("raw_unit", null=True),
        text("start_mark", null=True),
        text("end_mark", null=True),
        number("count", null=True),
        json("inputs"),
        json("splits_ms"),
        json("clocks"),
        instant("recorded_at"),
        number("recorded_by"),
        text("body_hash"),
        instant("voided_at", null=True),
        number("voided_by", null=True),
        text("void_reason", null=True),
        refers("trial", "round_id", "round"),
        refers("trial", "recorded_by", "person"),
        refers("trial", "voided_by", "person"),
        keyed("trial", "id"),
        unique("trial", "uid"),
        unique("trial", "round_id", "place"),
        hexadecimal("trial", "uid", 32),
        hexadecimal("trial", "body_hash", 64),
        check("trial", "place", "place >= 1"),
        one_of("trial", "outcome", OUTCOMES),
        *numbers_of_trials(),
        *words_of_trials(),
    )


def numbers_of_trials() -> list[sa.CheckConstraint]:
    value, start, end = (decimal(c) for c in ("raw_value", "start_mark", "end_mark"))
    given = " + ".join(
        f"CASE WHEN {column} IS NULL THEN 0 ELSE 1 END"
        for column in ("raw_ms", "raw_value", "count")
    )
    wanted = "CASE outcome WHEN 'completed' THEN 1 ELSE 0 END"
    rules = {
        "raw_value": f"{value} AND ltrim(raw_value, '0.') <> ''",
        "unit_with_value": "(raw_value IS NULL) = (raw_unit IS NULL)",
        "start_mark": start,
        "end_mark": end,
        "both_marks": "(start_mark IS NULL) = (end_mark IS NULL)",
        "marks_with_value": "start_mark IS NULL OR raw_value IS NOT NULL",
        "number_when_completed": f"({given}) = {wanted}",
    }
    return [
        between("trial", "raw_ms", 1, 36_000_000),
        between("trial", "count", 0, 9999),
        one_of("trial", "raw_unit", "in cm"),
        *(check("trial", name, rule) for name, rule in rules.items()),
    ]


def words_of_trials() -> list[sa.CheckConstraint]:
    unable = listed("reason", UNABLE_REASONS, first="'', ")
    reason = (
        "length(reason) <= 500 AND (outcome <> 'completed' OR reason = '') "
        f"AND (outcome <> 'unable' OR {unable})"
    )
    voided = (
        "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR "
        "(voided_at IS NOT NULL AND voided_by IS NOT NULL "
        "AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 500)"
    )
    return [check("trial", "reason", reason), check("trial", "voided", voided)]


def scores() -> None:
    op.create_table(
        "score",
        number("id"),
        number("round_id"),
        number("patient_id"),
        text("measure"),
        day("on_date"),
        text("outcome"),
        text("value", null=True),
        text("unit"),
        text("variant"),
        text("lead_says"),
        text("lead_source"),
        yes_no("lead_crossed", null=True),
        text("change_verdict", null=True),
        text("edition"),
        instant("computed_at"),
        one_of("score", "outcome", OUTCOMES),
        one_of("score", "unit", "s in cm count %"),
        check(
            "score",
            "value_when_completed",
            "(outcome = 'completed') = (value IS NOT NULL)",
        ),
        refers("score", "round_id", "round"),
        refers("score", "patient_id", "patient"),
        keyed("score", "id"),
        unique("score", "round_id"),
    )
    columns = ["patient_id", "measure", "on_date"]
    op.create_index("ix_score_patient_id_measure_on_date", "score", columns)


def audit() -> None:
    op.create_table(
        "audit_entry",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        instant("at"),
        number("person_id", null=True),
        text("deed"),
        text("subject"),
        number("subject_id"),
        text("previous_hash"),
        text("hash"),
        word("audit_entry", "deed"),
        word("audit_entry", "subject"),
        hexadecimal("audit_entry", "previous_hash", 64),
        hexadecimal("audit_entry", "hash", 64),
        refers("audit_entry", "person_id", "person"),
        keyed("audit_entry", "id"),
    )
    head = op.create_table(
        "audit_head",
        number("id"),
        number("last_id"),
        text("hash"),
        check("audit_head", "one_row", "id = 1"),
        hexadecimal("audit_head", "hash", 64),
        keyed("audit_head", "id"),
    )
    # The chain hangs on this row: every append locks it.
    op.bulk_insert(head, [{"id": 1, "last_id": 0, "hash": "0" * 64}])


def downgrade() -> None:
    for table in reversed(TABLES.split()):
        op.drop_table(table)
