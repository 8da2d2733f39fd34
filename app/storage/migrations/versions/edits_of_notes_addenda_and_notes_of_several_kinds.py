"""Edits of notes, addenda, and notes of several kinds."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None

NOTES = "'visit', 'evaluation', 'progress', 'discharge'"
SECTIONS = "'subjective', 'objective', 'assessment', 'plan'"


def upgrade() -> None:
    op.create_table(
        "note_edit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("line_key", sa.String(), nullable=False),
        sa.Column("section", sa.String(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("made", sa.String(), nullable=False),
        sa.Column("edited_by", sa.Integer(), nullable=False),
        sa.Column("edited_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(_hexadecimal("uid", 32), name=op.f("ck_note_edit_uid")),
        sa.CheckConstraint(f"note IN ({NOTES})", name=op.f("ck_note_edit_note")),
        sa.CheckConstraint(
            f"section IN ({SECTIONS})", name=op.f("ck_note_edit_section")
        ),
        sa.CheckConstraint(
            "length(line_key) BETWEEN 1 AND 120", name=op.f("ck_note_edit_line_key")
        ),
        sa.CheckConstraint(
            "length(text) BETWEEN 0 AND 4000", name=op.f("ck_note_edit_text")
        ),
        sa.ForeignKeyConstraint(
            ["edited_by"], ["person.id"], name=op.f("fk_note_edit_edited_by_person")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_note_edit_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_note_edit")),
        sa.UniqueConstraint("uid", name=op.f("uq_note_edit_uid")),
    )
    op.create_index("ix_note_edit_of", "note_edit", ["visit_id", "note", "id"])
    op.create_table(
        "addendum",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("text_id", sa.Integer(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("author_id", sa.Integer(), nullable=False),
        sa.Column("written_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("previous_hash", sa.String(), nullable=False),
        sa.Column("hash", sa.String(), nullable=False),
        sa.CheckConstraint(_hexadecimal("hash", 64), name=op.f("ck_addendum_hash")),
        sa.CheckConstraint(
            _hexadecimal("previous_hash", 64), name=op.f("ck_addendum_previous_hash")
        ),
        sa.CheckConstraint(
            "length(reason) BETWEEN 1 AND 200", name=op.f("ck_addendum_reason")
        ),
        sa.CheckConstraint(
            "length(words) BETWEEN 1 AND 4000", name=op.f("ck_addendum_words")
        ),
        sa.ForeignKeyConstraint(
            ["author_id"], ["person.id"], name=op.f("fk_addendum_author_id_person")
        ),
        sa.ForeignKeyConstraint(
            ["text_id"], ["visit_text.id"], name=op.f("fk_addendum_text_id_visit_text")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_addendum")),
    )
    op.create_index("ix_addendum_text_id", "addendum", ["text_id"])
    op.execute(
        "ALTER TABLE visit_text ADD COLUMN note VARCHAR "
        f"CONSTRAINT ck_visit_text_note CHECK (note IN ({NOTES}))"
    )
    op.add_column("visit_text", sa.Column("parts", sa.JSON()))
    op.add_column("visit_text", sa.Column("readings", sa.JSON()))


def _hexadecimal(column: str, size: int) -> str:
    letters = f"ltrim({column}, '0123456789abcdef') = ''"
    return f"length({column}) = {size} AND {letters}"


def downgrade() -> None:
    """What was added to signed texts has no place in the older tables."""
    op.drop_column("visit_text", "readings")
    op.drop_column("visit_text", "parts")
    op.drop_column("visit_text", "note")
    op.drop_table("addendum")
    op.drop_table("note_edit")
