"""What a database's own error means: no room, not writable, busy, away or damaged.

SQLite tells it by a number, PostgreSQL by five letters. Whatever else an error says is
a fault of the program and gets no name here.
"""

from typing import Final

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as NoneFree

from app.storage.errors import (
    Away,
    Busy,
    CannotWrite,
    Damaged,
    NoRoom,
    Unavailable,
)

#: SQLite's result codes (https://www.sqlite.org/rescode.html).
_SQLITE: Final[dict[int, type[Unavailable]]] = {
    4874: NoRoom,  # SQLITE_IOERR_SHMSIZE: a full disk, met when the file is opened
    5: Busy,  # SQLITE_BUSY
    6: Busy,  # SQLITE_LOCKED
    8: CannotWrite,  # SQLITE_READONLY
    10: Damaged,  # SQLITE_IOERR
    11: Damaged,  # SQLITE_CORRUPT
    13: NoRoom,  # SQLITE_FULL
    14: CannotWrite,  # SQLITE_CANTOPEN
    26: Damaged,  # SQLITE_NOTADB
}
#: PostgreSQL's codes, or the class they begin with (its manual, appendix A).
_POSTGRESQL: Final[dict[str, type[Unavailable]]] = {
    "53100": NoRoom,  # disk full
    "53": Busy,  # too many connections, out of memory
    "55P03": Busy,  # a lock was waited for too long
    "40": Busy,  # deadlock or serialization: the whole deed may be done again
    "25006": CannotWrite,  # a standby, or set to read only
    "57P": Away,  # shut down, crashed, or still starting
    "08": Away,  # the connection broke
    "58": Damaged,  # the system's own input or output
    "XX": Damaged,  # data corrupted
}
#: The part of an extended code of SQLite that is its primary one.
_PRIMARY: Final = 0xFF


def meant_by(fault: Exception) -> Unavailable | None:
    """The named problem behind an error of the database; None for any other."""
    if isinstance(fault, Unavailable):
        return fault
    if isinstance(fault, NoneFree):
        return Busy()
    if not isinstance(fault, DBAPIError):
        return None
    number = getattr(fault.orig, "sqlite_errorcode", None)
    if isinstance(number, int):
        return _made(_SQLITE.get(number) or _SQLITE.get(number & _PRIMARY))
    letters = getattr(fault.orig, "sqlstate", None)
    if letters:
        found = (_POSTGRESQL.get(letters[:n]) for n in (5, 3, 2))
        return _made(next(filter(None, found), None))
    broken = isinstance(fault, OperationalError | InterfaceError)
    return Away() if broken or fault.connection_invalidated else None


def _made(kind: type[Unavailable] | None) -> Unavailable | None:
    return kind() if kind else None
