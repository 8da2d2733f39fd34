"""What was done after a stop, requests held for a sign-in, and sign-ins that lock.

Closed lists are written out: a migration says what was true when it was made.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

ANSWERS = {
    "what": "seated lowered fell",
    "head_strike": "yes no unknown",
    "blood_thinner": "yes no unknown",
    "position": "lying sitting standing",
}
BOUNDS = {
    "systolic": (40, 300),
    "diastolic": (20, 200),
    "heart_rate": (20, 300),
    "saturation": (40, 100),
}
SYMPTOMS = (
    "dizzy faint chest_pain breathless pain confused new_weakness knee_gave "
    "lost_balance tired wanted_to_stop"
)


def listed(column: str, words: str) -> str:
    quoted = ", ".join(f"'{word}'" for word in words.split())
    return f"{column} IN ({quoted})"


def check(table: str, name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{table}_{name}"))


def keyed(table: str, *columns: str) -> sa.PrimaryKeyConstraint:
    return sa.PrimaryKeyConstraint(*columns, name=op.f(f"pk_{table}"))


def unique(table: str, *columns: str) -> sa.UniqueConstraint:
    name = op.f(f"uq_{table}_{'_'.join(columns)}")
    return sa.UniqueConstraint(*columns, name=name)


def refers(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name)


def number(name: str, null: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer(), nullable=null)


def text(name: str, null: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.String(), nullable=null)


def instant(name: str, null: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=null)


def upgrade() -> None:
    events()
    symptoms()
    seen()
    held()
    op.add_column("sign_in", instant("locked_at", null=True))
    op.create_index(
        "ix_trial_stopped",
        "trial",
        ["recorded_by"],
        sqlite_where=sa.text("outcome = 'stopped'"),
        postgresql_where=sa.text("outcome = 'stopped'"),
    )


def events() -> None:
    table = "safety_event"
    op.create_table(
        table,
        number("id"),
        keyed(table, "id"),
        number("trial_id"),
        number("replaces_id", null=True),
        *(text(name, null=True) for name in ANSWERS),
        *(number(name, null=True) for name in BOUNDS),
        text("called"),
        instant("called_at", null=True),
        text("note"),
        number("recorded_by"),
        instant("recorded_at"),
        *rules(table),
        refers(table, "trial_id", "trial"),
        refers(table, "replaces_id", "safety_event"),
        refers(table, "recorded_by", "person"),
        unique(table, "replaces_id"),
    )
    op.create_index("ix_safety_event_trial_id", table, ["trial_id"])
    op.create_index(
        "ix_safety_event_first",
        table,
        ["trial_id"],
        unique=True,
        sqlite_where=sa.text("replaces_id IS NULL"),
        postgresql_where=sa.text("replaces_id IS NULL"),
    )


def rules(table: str) -> list[sa.CheckConstraint]:
    whole = {
        name: f"{name} BETWEEN {low} AND {high} AND {name} = CAST({name} AS INTEGER)"
        for name, (low, high) in BOUNDS.items()
    }
    return [
        *(check(table, name, listed(name, ANSWERS[name])) for name in ANSWERS),
        *(check(table, name, rule) for name, rule in whole.items()),
        check(table, "pressures", "diastolic < systolic"),
        check(table, "called", "length(called) BETWEEN 0 AND 200"),
        check(table, "note", "length(note) BETWEEN 0 AND 1000"),
    ]


def symptoms() -> None:
    table = "safety_symptom"
    op.create_table(
        table,
        number("event_id"),
        text("symptom"),
        check(table, "symptom", listed("symptom", SYMPTOMS)),
        refers(table, "event_id", "safety_event"),
        keyed(table, "event_id", "symptom"),
    )


def seen() -> None:
    table = "safety_seen"
    op.create_table(
        table,
        number("id"),
        keyed(table, "id"),
        number("trial_id"),
        number("person_id"),
        text("role"),
        instant("seen_at"),
        check(table, "role", listed("role", "therapist supervisor")),
        refers(table, "trial_id", "trial"),
        refers(table, "person_id", "person"),
        unique(table, "trial_id", "person_id"),
    )


def held() -> None:
    table = "held_request"
    op.create_table(
        table,
        number("id"),
        keyed(table, "id"),
        number("person_id"),
        text("path"),
        text("body"),
        instant("created_at"),
        check(table, "path", "length(path) BETWEEN 1 AND 400 AND path LIKE '/%'"),
        check(table, "body", "length(body) BETWEEN 0 AND 65536"),
        refers(table, "person_id", "person"),
    )
    op.create_index("ix_held_request_person_id", table, ["person_id"])


def downgrade() -> None:
    op.drop_index("ix_trial_stopped", "trial")
    op.drop_column("sign_in", "locked_at")
    for table in ("held_request", "safety_seen", "safety_symptom", "safety_event"):
        op.drop_table(table)
