"""A row of any table as one line of JSON, and back: the same on every database.

The columns of a line stand in the order of their names and every value has one way of
being written, so that a hash over the lines of a table is a hash of what it holds.
"""

import base64
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial
from typing import Any, Final, Literal, cast

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    ColumnElement,
    Connection,
    Date,
    DateTime,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Text,
    collate,
    inspect,
    null,
    select,
)
from sqlalchemy import Table as SqlTable
from sqlalchemy import cast as sql_cast
from sqlalchemy.types import TypeEngine
from sqlmodel import UTCDateTime

from app.storage.errors import NotSound

Kind = Literal["yes_no", "integer", "json", "instant", "day", "bytes", "text"]
#: Alembic's own table: the manifest tells its one row.
REVISIONS: Final = "alembic_version"
#: Rows read or written in one go, and so held in memory.
BATCH: Final = 500

#: What a column of a database holds, by the first type that fits.
_KINDS: Final[tuple[tuple[type[TypeEngine[Any]], Kind], ...]] = (
    (Boolean, "yes_no"),
    (Integer, "integer"),
    (JSON, "json"),
    (DateTime, "instant"),
    (Date, "day"),
    (LargeBinary, "bytes"),
    (String, "text"),
)
_TYPES: Final[dict[Kind, TypeEngine[Any]]] = {
    "yes_no": Boolean(),
    "integer": BigInteger(),
    "json": JSON(),
    "instant": UTCDateTime(),
    "day": Date(),
    "bytes": LargeBinary(),
    "text": Text(),
}
#: What would let somebody in at the copy: written as ended when it was last used.
_ENDED: Final = {
    "sign_in": ("ended_at", "last_seen_at"),
    "one_time_link": ("ended_at", "made_at"),
}


@dataclass(frozen=True, slots=True)
class Shape:
    """A table: its columns in the order of their names, and those of its key."""

    name: str
    columns: Mapping[str, Kind]
    key: tuple[str, ...]

    @property
    def is_numbered(self) -> bool:
        return self.key == ("id",) and self.columns["id"] == "integer"

    def table(self) -> SqlTable:
        """The bare columns: the database itself keeps the rules."""
        columns = [Column(name, _TYPES[kind]) for name, kind in self.columns.items()]
        return SqlTable(self.name, MetaData(), *columns)


def shapes_of(connection: Connection) -> tuple[Shape, ...]:
    """Every table that is in the database, each after those it points at.

    Read from the database itself, so that no table can be forgotten.
    """
    seen = inspect(connection)
    columns, keys = seen.get_multi_columns(), seen.get_multi_pk_constraint()
    return tuple(
        Shape(
            name,
            {
                column["name"]: _kind_of(name, column)
                for column in sorted(columns[None, name], key=lambda c: c["name"])
            },
            tuple(keys[None, name]["constrained_columns"]),
        )
        for name, _ in seen.get_sorted_table_and_fkc_names()
        if name is not None and name != REVISIONS
    )


def _kind_of(table: str, column: Mapping[str, Any]) -> Kind:
    for type, kind in _KINDS:
        if isinstance(column["type"], type):
            return kind
    raise NotSound(f"{table}.{column['name']} is of a kind that cannot be copied.")


def lines_of(connection: Connection, shape: Shape) -> Iterator[bytes]:
    """Every row in the order of its key, some at a time."""
    table, by_bytes = shape.table(), connection.dialect.name == "sqlite"
    wanted: list[ColumnElement[Any]] = [
        # As it lies there: an empty column and a JSON null would else look the same.
        sql_cast(table.c[name], Text()) if kind == "json" else table.c[name]
        for name, kind in shape.columns.items()
    ]
    order: list[ColumnElement[Any]] = [
        # PostgreSQL would sort texts by the language of its server.
        table.c[name]
        if by_bytes or shape.columns[name] != "text"
        else collate(table.c[name], "C")
        for name in shape.key
    ]
    asked = select(*wanted).order_by(*order).execution_options(yield_per=BATCH)
    try:
        for row in connection.execute(asked):
            yield line_of(shape, tuple(row))
    except (TypeError, ValueError) as fault:  # raised on fetching a row, or by us
        raise NotSound(
            f"A row of {shape.name} holds something that its column cannot hold, so "
            "nothing was copied. `tapeline doctor` looks the site over."
        ) from fault


def line_of(shape: Shape, row: tuple[Any, ...]) -> bytes:
    """One row, whose values stand in the order of the columns.

    ValueError or TypeError when a value is not of its column's kind.
    """
    told = {
        name: None if value is None else _WRITTEN[kind](value)
        for (name, kind), value in zip(shape.columns.items(), row, strict=True)
    }
    if shape.name in _ENDED:
        ended, last = _ENDED[shape.name]
        told[ended] = told[ended] or told[last]
    return json.dumps(told, separators=(",", ":")).encode() + b"\n"


def row_of(shape: Shape, line: bytes) -> dict[str, Any]:
    """The values of a line, for an insert.

    ValueError or TypeError when it is no row of this table.
    """
    told = json.loads(line)
    if not isinstance(told, dict) or told.keys() != shape.columns.keys():
        raise ValueError("other columns")
    return {
        # For a JSON column None would be its null, and not an empty column.
        name: (null() if kind == "json" else None)
        if told[name] is None
        else _READ[kind](told[name])
        for name, kind in shape.columns.items()
    }


def _only(kind: type, value: object) -> Any:
    """The value itself: of exactly this type, since True is also an int."""
    if type(value) is not kind:
        raise TypeError(f"not {kind.__name__}")
    return value


def _told_instant(value: datetime) -> str:
    return value.astimezone(UTC).isoformat(timespec="microseconds")


def _told_json(value: str) -> list[Any]:
    return [json.loads(value)]


def _told_bytes(value: bytes) -> str:
    return base64.b64encode(value).decode("ascii")


def _read_instant(value: str) -> datetime:
    read = datetime.fromisoformat(value)
    if read.utcoffset() is None:
        raise ValueError("no zone")
    return read


def _read_json(value: list[Any]) -> Any:
    (held,) = _only(list, value)
    return JSON.NULL if held is None else held


def _read_bytes(value: str) -> bytes:
    return base64.b64decode(value, validate=True)


_Change = Callable[[Any], Any]
_SAME: Final[dict[Kind, _Change]] = {
    "yes_no": partial(_only, bool),
    "integer": partial(_only, int),
    "text": partial(_only, str),
}
_WRITTEN: Final[dict[Kind, _Change]] = {
    **_SAME,
    "json": _told_json,
    "instant": _told_instant,
    "day": cast(_Change, date.isoformat),
    "bytes": _told_bytes,
}
_READ: Final[dict[Kind, _Change]] = {
    **_SAME,
    "json": _read_json,
    "instant": _read_instant,
    "day": date.fromisoformat,
    "bytes": _read_bytes,
}
