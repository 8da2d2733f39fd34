"""Who a restored site still lets in: nobody who was signed in when it was copied."""

from datetime import datetime
from typing import Final

from sqlalchemy import Connection, update

from app.storage.site_lines import Shape, shapes_of

#: A row with one of these, and an end, is something that lets somebody in: a sign-in, a
#: link that works once, a phone with a PIN.
SECRETS: Final = frozenset({"token_hash", "key_hash", "secret_hash"})


def lets_in(shape: Shape) -> bool:
    return "ended_at" in shape.columns and bool(SECRETS & shape.columns.keys())


def end_what_lets_in(connection: Connection, now: datetime) -> int:
    """Everybody is signed out, links and PINs end; passphrases stay. How many ended."""
    ended = 0
    for shape in shapes_of(connection):
        if lets_in(shape):
            table = shape.table()
            still = update(table).where(table.c.ended_at.is_(None))
            ended += connection.execute(still.values(ended_at=now)).rowcount
    return ended
