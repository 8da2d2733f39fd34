"""The audit trail is read by who, deed, subject and day, and its checks are kept."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

WAYS = (["at", "id"], ["person_id", "at", "id"], ["deed", "at", "id"],
        ["subject", "at", "id"])  # fmt: skip
TABLE = "audit_check"


def check(name: str, rule: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(rule, name=op.f(f"ck_{TABLE}_{name}"))


def upgrade() -> None:
    for columns in WAYS:
        op.create_index(f"ix_audit_entry_{'_'.join(columns)}", "audit_entry", columns)
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("upto_id", sa.Integer(), nullable=False),
        sa.Column("upto_hash", sa.String(), nullable=False),
        sa.Column("broken_id", sa.Integer(), nullable=True),
        sa.Column("checked_at", sa.DateTime(timezone=True), nullable=False),
        check("one_row", "id = 1"),
        check("upto_id", "upto_id >= 0"),
        check("broken_id", "broken_id >= 1"),
        check(
            "upto_hash",
            "length(upto_hash) = 64 AND ltrim(upto_hash, '0123456789abcdef') = ''",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
    )


def downgrade() -> None:
    op.drop_table(TABLE)
    for columns in WAYS:
        op.drop_index(f"ix_audit_entry_{'_'.join(columns)}", "audit_entry")
