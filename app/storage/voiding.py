"""Taking a row out of what counts: it stays as recorded, with why and by whom."""

from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.storage import audit
from app.storage.people import Person


def void(
    session: Session, person: Person, row: Any, deed: str, reason: str, now: datetime
) -> None:
    """Of any row with `voided_at`, `voided_by`, `void_reason`; the first stays."""
    if row.voided_at is not None:
        return
    row.voided_at, row.voided_by, row.void_reason = now, person.id, reason
    session.add(row)
    session.flush()
    audit.deed(session, deed, row, by=person.id, now=now)
