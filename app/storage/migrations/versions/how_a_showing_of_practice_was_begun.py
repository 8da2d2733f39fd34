"""Whether a showing of practice was begun as a figure or in words: one of them."""

from alembic import op

revision = "0036"
down_revision = "0035"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Of one that was begun before nobody can tell: it stays empty.
    op.execute(
        "ALTER TABLE practice_showing ADD COLUMN way VARCHAR "
        "CONSTRAINT ck_practice_showing_way CHECK (way IN ('watched', 'words'))"
    )


def downgrade() -> None:
    op.execute("ALTER TABLE practice_showing DROP COLUMN way")
