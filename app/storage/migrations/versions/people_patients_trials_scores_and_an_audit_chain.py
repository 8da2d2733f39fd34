"""People, patients, trials, scores and an audit chain.

Closed lists are written out: a migration says what was true when it was made.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

DAYS = ("'1900-01-01'", "'2100-12-31'")
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


def columns(kind: Any, names: str, null: bool = False) -> list[sa.Column[Any]]:
    return [sa.Column(name, kind, nullable=null) for name in names.split()]


def number(names: str, null: bool = False) -> list[sa.Column[Any]]:
    return columns(sa.Integer(), names, null)


def text(names: str, null: bool = False) -> list[sa.Column[Any]]:
    return columns(sa.String(), names, null)


def instant(names: str, null: bool = False) -> list[sa.Column[Any]]:
    return columns(sa.DateTime(timezone=True), names, null)


def keyed(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=op.f(f"pk_{table}"))


def numbered(table: str, *parts: Any) -> sa.Table:
    return op.create_table(table, *number("id"), *parts, keyed(table, "id"))


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
    handle = "length(handle) BETWEEN 1 AND 60"
    numbered(
        "person",
        *number("version"),
        *text("handle name role passphrase_hash"),
        *columns(sa.Boolean(), "is_demo active"),
        *instant("created_at"),
        *instant("last_seen_at", null=True),
        one_of("person", "role", "therapist assistant student supervisor"),
        length("person", "name", 1, 80),
        check("person", "handle", f"{handle} AND handle = lower(handle)"),
        check("person", "version", "version >= 1"),
        unique("person", "handle"),
    )
    numbered(
        "sign_in",
        *number("person_id"),
        *text("token_hash"),
        *instant("started_at last_seen_at"),
        *instant("ended_at", null=True),
        hexadecimal("sign_in", "token_hash", 64),
        refers("sign_in", "person_id", "person"),
        unique("sign_in", "token_hash"),
    )
    op.create_index("ix_sign_in_person_id", "sign_in", ["person_id"])


def patients() -> None:
    numbered(
        "patient",
        *number("version"),
        *text("uid label"),
        *number("birth_year", null=True),
        *columns(sa.Date(), "birth_date", null=True),
        *text("sex", null=True),
        *columns(sa.Boolean(), "is_demo"),
        *instant("created_at"),
        *instant("closed_at", null=True),
        hexadecimal("patient", "uid", 32),
        length("patient", "label", 1, 80),
        between("patient", "birth_year", 1900, 2100),
        check("patient", "birth_date", f"birth_date BETWEEN {' AND '.join(DAYS)}"),
        check("patient", "one_birth", "birth_year IS NULL OR birth_date IS NULL"),
        one_of("patient", "sex", "female male"),
        check("patient", "version", "version >= 1"),
        unique("patient", "uid"),
    )


def known_of_patients() -> None:
    op.create_table(
        "patient_condition",
        *number("patient_id"),
        *text("condition"),
        *columns(sa.Date(), "since_date", null=True),
        one_of("patient_condition", "condition", CONDITIONS),
        refers("patient_condition", "patient_id", "patient"),
        keyed("patient_condition", "patient_id", "condition"),
    )
    rules = [f"(key = '{key}' AND {listed('value', FACTS[key])})" for key in FACTS]
    op.create_table(
        "patient_fact",
        *number("patient_id"),
        *text("key value"),
        check("patient_fact", "value", " OR ".join(rules)),
        refers("patient_fact", "patient_id", "patient"),
        keyed("patient_fact", "patient_id", "key"),
    )
    numbered(
        "assignment",
        *number("patient_id person_id"),
        *instant("since"),
        *instant("until", null=True),
        refers("assignment", "patient_id", "patient"),
        refers("assignment", "person_id", "person"),
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
    numbered(
        "episode",
        *number("patient_id"),
        *text("reason setting plan"),
        *columns(sa.Date(), "opened_on"),
        *columns(sa.Date(), "closed_on", null=True),
        length("episode", "reason", 1, 200),
        one_of("episode", "setting", SETTINGS),
        one_of("episode", "plan", "restore maintain"),
        check("episode", "closed_on", "closed_on >= opened_on"),
        refers("episode", "patient_id", "patient"),
    )
    op.create_index("ix_episode_patient_id", "episode", ["patient_id"])
    numbered(
        "precaution",
        *number("episode_id"),
        *text("tag note set_by"),
        *columns(sa.Date(), "set_on"),
        *columns(sa.Date(), "review_on ended_on", null=True),
        one_of("precaution", "tag", PRECAUTIONS),
        length("precaution", "note", 0, 500),
        length("precaution", "set_by", 0, 80),
        check("precaution", "review_on", "review_on >= set_on"),
        check("precaution", "ended_on", "ended_on >= set_on"),
        refers("precaution", "episode_id", "episode"),
    )
    op.create_index("ix_precaution_episode_id", "precaution", ["episode_id"])


def visits() -> None:
    numbered(
        "visit",
        *number("episode_id person_id"),
        *text("uid zone"),
        *columns(sa.Date(), "local_date"),
        *instant("started_at"),
        hexadecimal("visit", "uid", 32),
        length("visit", "zone", 1, 60),
        refers("visit", "episode_id", "episode"),
        refers("visit", "person_id", "person"),
        unique("visit", "uid"),
        unique("visit", "episode_id", "person_id", "local_date"),
    )


def rounds() -> None:
    numbered(
        "round",
        *number("visit_id person_id"),
        *text("uid measure variant"),
        *columns(sa.JSON(), "facts"),
        *instant("created_at"),
        hexadecimal("round", "uid", 32),
        length("round", "measure", 1, 80),
        length("round", "variant", 0, 80),
        refers("round", "visit_id", "visit"),
        refers("round", "person_id", "person"),
        unique("round", "uid"),
    )
    op.create_index("ix_round_visit_id", "round", ["visit_id"])


def trials() -> None:
    numbered(
        "trial",
        *number("round_id place recorded_by"),
        *text("uid outcome reason body_hash"),
        *columns(sa.Boolean(), "practice"),
        *number("raw_ms count voided_by", null=True),
        *text("raw_value raw_unit start_mark end_mark void_reason", null=True),
        *columns(sa.JSON(), "inputs splits_ms clocks"),
        *instant("recorded_at"),
        *instant("voided_at", null=True),
        refers("trial", "round_id", "round"),
        refers("trial", "recorded_by", "person"),
        refers("trial", "voided_by", "person"),
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
    done = "(outcome = 'completed')"
    numbered(
        "score",
        *number("round_id patient_id"),
        *text("measure outcome unit variant lead_says lead_source edition"),
        *columns(sa.Date(), "on_date"),
        *text("value change_verdict", null=True),
        *columns(sa.Boolean(), "lead_crossed", null=True),
        *instant("computed_at"),
        one_of("score", "outcome", OUTCOMES),
        one_of("score", "unit", "s in cm count %"),
        check("score", "value_when_completed", f"{done} = (value IS NOT NULL)"),
        refers("score", "round_id", "round"),
        refers("score", "patient_id", "patient"),
        unique("score", "round_id"),
    )
    together = ["patient_id", "measure", "on_date"]
    op.create_index("ix_score_patient_id_measure_on_date", "score", together)


def audit() -> None:
    op.create_table(
        "audit_entry",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        keyed("audit_entry", "id"),
        *instant("at"),
        *number("person_id", null=True),
        *text("deed subject previous_hash hash"),
        *number("subject_id"),
        word("audit_entry", "deed"),
        word("audit_entry", "subject"),
        hexadecimal("audit_entry", "previous_hash", 64),
        hexadecimal("audit_entry", "hash", 64),
        refers("audit_entry", "person_id", "person"),
    )
    head = numbered(
        "audit_head",
        *number("last_id"),
        *text("hash"),
        check("audit_head", "one_row", "id = 1"),
        hexadecimal("audit_head", "hash", 64),
    )
    # The chain hangs on this row: every append locks it.
    op.bulk_insert(head, [{"id": 1, "last_id": 0, "hash": "0" * 64}])


def downgrade() -> None:
    for table in reversed(TABLES.split()):
        op.drop_table(table)
