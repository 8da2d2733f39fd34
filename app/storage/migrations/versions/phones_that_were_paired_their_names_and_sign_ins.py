"""Links that pair a phone, the names of phones, and which phone a sign-in is on."""

import sqlalchemy as sa
from alembic import op

revision = "0031"
down_revision = "0030"
branch_labels = None
depends_on = None

BEFORE = "purpose IN ('setup', 'passphrase')"
AFTER = "purpose IN ('setup', 'passphrase', 'pair')"


def upgrade() -> None:
    _exchange(BEFORE, AFTER)
    op.execute(
        "ALTER TABLE device ADD COLUMN name VARCHAR "
        "CONSTRAINT ck_device_name CHECK (length(name) BETWEEN 1 AND 40)"
    )
    op.execute(
        "ALTER TABLE sign_in ADD COLUMN device_id INTEGER "
        "CONSTRAINT fk_sign_in_device_id_device REFERENCES device (id)"
    )
    op.create_index("ix_sign_in_device_id", "sign_in", ["device_id"])


def downgrade() -> None:
    op.drop_index("ix_sign_in_device_id", "sign_in")
    op.drop_column("sign_in", "device_id")
    op.drop_column("device", "name")
    op.execute("DELETE FROM one_time_link WHERE purpose = 'pair'")
    _exchange(AFTER, BEFORE)


def _exchange(old: str, new: str) -> None:
    """Change the rule; SQLite cannot, so the table is made anew and keeps its rows.

    Nothing refers to a link but its number in the audit trail, which it keeps.
    """
    if op.get_bind().dialect.name != "sqlite":
        op.drop_constraint(
            op.f("ck_one_time_link_purpose"), "one_time_link", type_="check"
        )
        op.create_check_constraint(
            op.f("ck_one_time_link_purpose"), "one_time_link", new
        )
        return
    ask = sa.text(
        "SELECT sql FROM sqlite_master WHERE tbl_name = 'one_time_link' "
        "AND sql IS NOT NULL ORDER BY type DESC"
    )
    table, *indexes = op.get_bind().execute(ask).scalars().all()
    assert table.count(old) == 1
    _, columns = table.replace(old, new).split("(", 1)
    for statement in (
        f"CREATE TABLE one_time_link_anew ({columns}",
        "INSERT INTO one_time_link_anew SELECT * FROM one_time_link",
        "DROP TABLE one_time_link",
        "ALTER TABLE one_time_link_anew RENAME TO one_time_link",
        *indexes,
    ):
        op.get_bind().exec_driver_sql(statement)
